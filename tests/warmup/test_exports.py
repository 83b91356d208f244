"""What is printed, drawn and taken along."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from tests.warmup.songs import LANTERN, reading_of, table_of
from tutor.music.phrase import Phrase
from tutor.music.voice import SingerProfile
from tutor.warmup.draw import ascent_svg, staff_svg
from tutor.warmup.export import plan_html, plan_markdown
from tutor.warmup.model import CAUTION, BeyondVoice, Given, Plan
from tutor.warmup.plan import plan
from tutor.warmup.rest import rest_advice
from tutor.warmup.run import ascent, start
from tutor.warmup.text import plan_text
from tutor.warmup.whole import whole

NASTY = 'The <script>alert("x")</script> & *Lantern*'
TABLE = table_of(LANTERN, fifths=1, title=NASTY)
READING = reading_of(TABLE)
TENOR = SingerProfile.default("Robin", "tenor")


def given(singer: SingerProfile = TENOR, minutes: float = 12) -> Given:
    return plan(TABLE, READING, singer, minutes=minutes)


def made(minutes: float = 12) -> Plan:
    found = given(minutes=minutes)
    assert isinstance(found, Plan)
    return found


BARITONE = SingerProfile.default("Kim", "baritone")


@pytest.mark.parametrize("what", ["plan", "rest", "beyond"])
def test_text_fits_eighty_columns_and_carries_the_caution(what: str) -> None:
    shown: dict[str, Given] = {"plan": given(), "rest": rest_advice("pain"), "beyond": given(BARITONE)}
    text = plan_text(shown[what])
    assert max(len(line) for line in text.splitlines()) <= 80
    assert CAUTION in " ".join(text.split())
    assert "injury is not shown" in " ".join(text.split())


def test_text_names_every_step_in_order() -> None:
    found = made()
    text = " ".join(plan_text(found).split())
    places = [text.index(" ".join(s.because.split())) for s in found.steps]
    assert len(places) == len(found.steps)
    assert f"{len(found.steps)}." in text
    assert all(s.source in text for s in found.steps)


def test_beyond_the_voice_ranks_keys_in_words() -> None:
    found = given(BARITONE)
    assert isinstance(found, BeyondVoice)
    text = plan_text(found)
    assert "A4 in bar 5 lies 4 semitones above" in " ".join(text.split())
    assert found.keys[0].interval in text


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_page_is_escaped_closed_and_without_script() -> None:
    found = made()
    page = plan_html(found)
    parser = _Tags()
    parser.feed(page)
    assert not {"script", "link", "img", "iframe", "form", "a"} & set(parser.tags)
    assert not any(name.startswith("on") or name in ("href", "src") for name, _ in parser.attributes)
    assert parser.tags.count("svg") == 1 + sum(bool(s.phrases) for s in found.steps)
    assert 'alert("x")' in parser.text
    assert CAUTION in parser.text
    assert "default-src 'none'" in page
    for step in found.steps:
        assert all(t in parser.text for t in (step.title, step.instruction, step.because, step.source))


def test_markdown_escapes_what_comes_from_files() -> None:
    text = plan_markdown(made())
    assert "<script>" not in text
    assert "\\*Lantern\\*" in text
    assert "not a diagnosis" in text
    assert text.count("\n### ") == len(made().steps)
    plain = text.replace("\\", "")
    for step in made().steps:
        assert all(t in plain for t in (step.title, step.instruction, step.because, step.source))


@pytest.mark.parametrize("minutes", [5, 12, 25])
def test_the_whole_warm_up_is_one_phrase_of_the_plans_length(minutes: float) -> None:
    found = made(minutes)
    phrase = whole(found)
    assert phrase.length_s == pytest.approx(found.seconds, abs=0.01)
    assert len(phrase.figures) == len(found.steps)
    sung = [t.midi for t in phrase.tones if t.line == "voice"]
    expected = [t.midi for s in found.steps for p in s.phrases for t in p.tones if t.line == "voice"]
    assert sorted(sung) == sorted(expected)
    at = 0.0
    for (figure_at, title), step in zip(phrase.figures, found.steps, strict=True):
        assert figure_at == pytest.approx(at, abs=1e-3)
        assert title == step.title
        at += step.seconds
    assert Phrase.from_json(phrase.to_json()) == phrase


def heads(svg: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r'<ellipse cx="([\d.]+)" cy="([\d.]+)"', svg)]


def test_a_drawn_line_rises_where_the_music_rises() -> None:
    phrase = Phrase.parse("C4:1 D4:1 E4:1 G4:2 E4:1", fifths=0)
    points = heads(staff_svg(phrase, "test"))
    assert len(points) == 5
    ys = [y for _, y in points]
    assert ys[0] > ys[1] > ys[2] > ys[3] < ys[4]
    assert ys[2] == ys[4]
    assert ys[0] - ys[1] == pytest.approx(4.0)  # a step is half a staff space
    assert [x for x, _ in points] == sorted(x for x, _ in points)


def test_drawn_accidentals_are_those_that_the_signature_does_not_give() -> None:
    assert staff_svg(Phrase.parse("F#4:1", fifths=1), "x").count("♯") == 1  # the signature alone
    assert staff_svg(Phrase.parse("F4:1", fifths=1), "x").count("♮") == 1
    assert staff_svg(Phrase.parse("Bb4:1", fifths=0), "x").count("♭") == 1
    assert staff_svg(Phrase.parse("Bb2:1", fifths=-3), "x").count("♭") == 3


def test_words_under_short_notes_do_not_run_into_each_other() -> None:
    phrase = Phrase.parse("C4:0.5 D4:0.5 E4:0.5 F4:2")
    words = ("strength", "through", "strangest", "straights")
    long = replace(phrase, tones=tuple(replace(t, syllable=w) for t, w in zip(phrase.tones, words, strict=True)))
    xs = [x for x, _ in heads(staff_svg(long, "x"))]
    for k in range(3):
        assert xs[k + 1] - xs[k] >= 5 * (len(words[k]) + len(words[k + 1])) / 2


def test_drawings_escape_their_text() -> None:
    phrase = Phrase.parse("C4:1")
    nasty = replace(phrase, tones=(replace(phrase.tones[0], syllable="<b>"),))
    assert "<b>" not in staff_svg(nasty, "<i>")
    assert "<i>" not in staff_svg(nasty, "<i>")


def test_the_picture_has_a_point_for_every_key() -> None:
    found = made()
    svg = ascent_svg(ascent(start(found)))
    assert svg.count("<circle") == sum(len(s.keys) for s in found.steps)
    assert "song's top" in svg.replace("&#x27;", "'")
    assert "upper change" in svg
