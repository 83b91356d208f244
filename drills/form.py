"""Form: following a song, naming its plan, hearing what is the same, varied or new.

Axes of difficulty: short sections, then longer ones; plain rhythms, then lively ones; clear variants, then slight
ones; with piano, then the melody alone. Sections that count as different share at most a third of their notes, begin
with another contour and have another rhythm; a variant keeps rhythm, harmony and most notes.
"""

from __future__ import annotations

from dataclasses import replace

from drills._again import song_again
from drills._chords import ORDINALS
from drills._draw import Draw, Drawn, and_list, capital, number
from drills._sheet import Part, Sheet
from drills._statements import BACK, RELATION, song_relation, song_return
from drills._tune import Piece, agreement, joined, piece, unlike_set, varied
from tutor.analysis.findings import Section
from tutor.music.phrase import Phrase
from tutor.music.pitch import pretty
from tutor.music.scale import Key
from tutor.practice.drill import Choice, Excerpt, Song
from tutor.practice.material import SURE, bar_words, bars_between, cut, source_words

FORMS = {
    "AABA": "AABA: statement, again, contrast, return",
    "ABAB": "ABAB: two ideas in turn",
    "ABAC": "ABAC: the second half begins like the first and ends otherwise",
    "AABB": "AABB: each idea twice",
    "ABCA": "ABCA: back to the first idea at the end only",
    "AAAB": "AAAB: three times the same, then a contrast",
}
OPENING_BARS = 4
"""Bars of a section that are heard to know it by (a choice of ours)."""
_KINDS = {"A": "open", "B": "away", "C": "closed"}


def _bars(draw: Draw) -> int:
    return 2 if draw.level < 0.35 else 4


def _lettered(form: str, pieces: dict[str, Piece], key: Key, bpm: float, accompanied: bool) -> Phrase:
    phrase = joined([pieces[x] for x in form], key, bpm, accompanied=accompanied)
    at, marks = 0.0, []
    for letter in form:
        marks.append((at, letter))
        at += pieces[letter].quarters
    return replace(phrase, figures=tuple(marks))


def _plain(phrase: Phrase) -> Phrase:
    return replace(phrase, figures=())


def _letters(draw: Draw, key: Key, form: str, bars: int, also: str = "") -> dict[str, Piece] | None:
    """Music for the letters of a plan, and for those of others that it is compared with."""
    names = sorted(set(form + also))
    kinds = [("closed" if form.endswith(n) else _KINDS[n]) for n in names]
    made = unlike_set(draw, key, kinds, bars=bars)
    return None if made is None else dict(zip(names, made, strict=True))


def _relation(draw: Draw, by_eye: bool) -> Sheet | None:
    key, bpm = draw.key(), draw.bpm(84, 112)
    right = draw.rng.choice(tuple(RELATION))
    made = unlike_set(draw, key, ("closed", "open") if right == "new" else ("closed",), bars=_bars(draw))
    if made is None:
        return None
    first = made[0]
    places: tuple[int, ...] = ()
    if right == "varied":
        got = varied(draw.rng, key, first, 2 if draw.level < 0.6 else 1)
        if got is None or agreement(first, got[0]) < 0.6:
            return None
        second, places = got
    else:
        second = made[-1]
    full = draw.level < 0.6 and not by_eye
    a, b = joined([first], key, bpm, accompanied=full), joined([second], key, bpm, accompanied=full)
    shown = _changed(b, second, places)
    whys = {
        "same": "Every note of the second agrees with the first.",
        "varied": f"{capital(number(len(places)))} note{'s' if len(places) > 1 else ''} moved; rhythm, harmony and all "
        "the rest agree.",
        "new": "Rhythm, contour and harmony all differ.",
    }
    pair = (Excerpt("First", a), Excerpt("Second", b))
    return Sheet(
        prompt="Two phrases. What is the second, compared with the first?", ask="choice", right=right,
        words=RELATION[right], why=whys[right],
        shown=Excerpt("The second, changes marked" if places else "The second", shown),
        heard=() if by_eye else pair, seen=pair if by_eye else (),
        choices=tuple(Choice(x, t) for x, t in RELATION.items()),
        contrasts={x: Excerpt("The first again", a) for x in RELATION if x != right},
        hint="Sing the first along with the second in your mind.",
    )  # fmt: skip


def _changed(phrase: Phrase, section: Piece, places: tuple[int, ...], offset: float = 0.0) -> Phrase:
    onsets = {round(section.tones[i].onset_quarters + offset, 6) for i in places}
    tones = tuple(
        replace(t, mark="changed") if t.line == "voice" and t.onset_quarters in onsets else t for t in phrase.tones
    )
    return replace(phrase, tones=tones)


def relation_ear(draw: Draw) -> Sheet | None:
    """Same, varied or new, by ear."""
    return _relation(draw, by_eye=False)


def relation_eye(draw: Draw) -> Sheet | None:
    """Same, varied or new, on the staff."""
    return _relation(draw, by_eye=True)


def name_form(draw: Draw) -> Sheet | None:
    """Four sections: their plan."""
    key, bpm = draw.key(), draw.bpm(96, 116)
    right = draw.rng.choice(tuple(FORMS)[: 3 + round(draw.level * 3)])
    full = draw.level < 0.7
    choices = draw.choose(right, FORMS, 3 + round(draw.level * 2))
    pieces = _letters(draw, key, right, 2, also="".join(c.label for c in choices))
    if pieces is None:
        return None
    phrase = _lettered(right, pieces, key, bpm, full)
    contrasts = {}
    for choice in choices:
        if choice.label != right:
            contrasts[choice.label] = Excerpt(
                f"This would be {choice.label}", _lettered(choice.label, pieces, key, bpm, full)
            )
    again = [str(i) for i, x in enumerate(right, 1) if x == right[0]]
    return Sheet(
        prompt="Four sections of two bars each. What is their plan?", ask="choice", right=right, words=FORMS[right],
        why=f"The first idea fills sections {and_list(again)} of four: the plan is {right}.",
        shown=Excerpt(f"The plan {right}", phrase), heard=(Excerpt("The song", _plain(phrase)),), choices=choices,
        contrasts=contrasts, hint="Ask of each section: have I heard this before?",
    )  # fmt: skip


def mark_sections(draw: Draw) -> Sheet | None:
    """Tap as sections pass."""
    key, bpm = draw.key(), draw.bpm(96, 116)
    form = draw.rng.choice(tuple(FORMS)[:4])
    bars = _bars(draw)
    pieces = _letters(draw, key, form, bars)
    if pieces is None:
        return None
    phrase = _lettered(form, pieces, key, bpm, draw.level < 0.7)
    places = [at for at, _ in phrase.figures][1:]
    return Sheet(
        prompt="Follow the song and tap each time a new section begins. The first needs no tap.", ask="marks",
        right=form, words=f"at {_places(places)}, where the plan {form} moves on",
        why=f"Each section lasts {number(bars)} bars of four beats. A tap counts within two quarter notes of the "
        "place.",
        shown=Excerpt("The sections", phrase), heard=(Excerpt("The song", _plain(phrase)),),
        wanted=tuple((0, float(p), 0.0) for p in places), tap_quarters=2.0, bpm=bpm,
        hint="A section ends where the melody comes to rest.",
    )  # fmt: skip


def _places(places: list[float]) -> str:
    bars = [f"{p / 4 + 1:g}" for p in places]
    return "bar " + bars[0] if len(bars) == 1 else f"bars {', '.join(bars[:-1])} and {bars[-1]}"


def which_section(draw: Draw) -> Sheet | None:
    """The song, then an excerpt: from which section."""
    key, bpm = draw.key(), draw.bpm(96, 116)
    form = draw.rng.choice(("AABA", "ABAC", "ABCA") if draw.level > 0.3 else ("AABA", "ABAB"))
    pieces = _letters(draw, key, form, 2)
    if pieces is None:
        return None
    full = draw.level < 0.7
    phrase = _lettered(form, pieces, key, bpm, full)
    right = draw.rng.choice(sorted(pieces))
    excerpts = {x: joined([p], key, bpm, accompanied=full) for x, p in pieces.items()}
    where = [ORDINALS[i] for i, x in enumerate(form) if x == right]
    return Sheet(
        prompt=f"You hear a song with the plan {form}, then one section alone. Which is it?", ask="choice", right=right,
        words=f"section {right}", why=f"Section {right} is heard {and_list(where)} of the four.",
        shown=Excerpt(f"The song: {form}", phrase),
        heard=(Excerpt("The song", _plain(phrase)), Excerpt("One section", excerpts[right])),
        choices=tuple(Choice(x, f"section {x}") for x in sorted(pieces)),
        contrasts={x: Excerpt(f"Section {x}", e) for x, e in excerpts.items() if x != right},
        hint="Listen for the first two bars of each section.",
    )  # fmt: skip


def where_differs(draw: Draw) -> Sheet | None:
    """A statement and its return: which bar differs."""
    key, bpm = draw.key(), draw.bpm(84, 108)
    first = piece(draw, key, "closed")
    if first is None:
        return None
    bar = draw.rng.randrange(4)
    inside = [i for i, t in enumerate(first.tones) if bar * 4 <= t.onset_quarters < bar * 4 + 4]
    got = varied(draw.rng, key, first, 1, [i for i in inside if 0 < i < len(first.tones) - 1])
    if got is None:
        return None
    second, places = got
    full = draw.level < 0.6
    a, b = joined([first], key, bpm, accompanied=full), joined([second], key, bpm, accompanied=full)
    pool = {f"bar {n}": f"bar {n}" for n in range(1, 5)}
    was, now = first.tones[places[0]].pitch, second.tones[places[0]].pitch
    right = f"bar {bar + 1}"
    return Sheet(
        prompt="The phrase comes back with one note changed. In which bar?", ask="choice", right=right, words=right,
        why=f"In {right} {pretty(was.name)} became {pretty(now.name)}; everything else agrees.",
        shown=Excerpt("Second time, the change marked", _changed(b, second, places)),
        heard=(Excerpt("First time", a), Excerpt("Second time", b)), choices=tuple(Choice(x, x) for x in pool),
        contrasts={x: Excerpt("First time", a) for x in pool if x != right}, hint="Count bars of four as you listen.",
    )  # fmt: skip


WITHHELD = {
    "nothing": "nothing: it comes back whole",
    "last bar": "the last bar, where it comes to rest",
    "last two bars": "the last two bars, the whole close",
}


def withheld(draw: Draw) -> Sheet | None:
    """A statement and its return, perhaps cut short: what was withheld."""
    key, bpm = draw.key(), draw.bpm(84, 108)
    first = piece(draw, key, "closed")
    if first is None:
        return None
    right = draw.rng.choice(tuple(WITHHELD))
    kept = {"nothing": 4, "last bar": 3, "last two bars": 2}
    full = draw.level < 0.6
    whole = joined([first], key, bpm, accompanied=full)
    cuts = {x: _until(whole, n * 4.0) for x, n in kept.items()}
    return Sheet(
        prompt="The phrase of four bars comes back. What was withheld the second time?", ask="choice", right=right,
        words=WITHHELD[right],
        why="The second time has all four bars." if right == "nothing" else
        f"The second time has {number(kept[right])} of the four bars: the return to degree 1 is missing, so the ear "
        "goes on waiting for it.",
        shown=Excerpt("First time" + ("" if right == "nothing" else ", the withheld notes marked"),
                      _missing(whole, kept[right] * 4.0)),
        heard=(Excerpt("First time", whole), Excerpt("Second time", cuts[right])),
        choices=tuple(Choice(x, t) for x, t in WITHHELD.items()),
        contrasts={x: Excerpt(f"With {'' if x == 'nothing' else 'the '}{x} withheld", c)
                   for x, c in cuts.items() if x != right},
        hint="Count the bars of each.",
    )  # fmt: skip


def _until(phrase: Phrase, end: float) -> Phrase:
    return replace(phrase, tones=tuple(t for t in phrase.tones if t.onset_quarters < end))


def _missing(phrase: Phrase, end: float) -> Phrase:
    tones = tuple(
        replace(t, mark="changed") if t.onset_quarters >= end and t.line == "voice" else t for t in phrase.tones
    )
    return replace(phrase, tones=tones)


def _sections(song: Song) -> list[Section]:
    return [s for s in song.reading.form.sections if s.label.isupper()]


def _sure_form(song: Song) -> bool:
    sections = _sections(song)
    sure = all(s.confidence >= SURE or s.corrected for s in sections)
    named = song.reading.form.confidence >= SURE or all(s.corrected for s in sections)
    return len(sections) >= 2 and sure and named


def song_name(draw: Draw) -> Sheet | None:
    """The plan of one of the songs."""
    song = draw.song(_sure_form)
    sections = _sections(song)
    right = "".join(s.label for s in sections)
    pool = {right: right} | {f: f for f in _plans_beside(draw, right)}
    start, end = sections[0].start, sections[-1].end
    phrase = cut(song.table, start, end)
    lettered = replace(phrase, figures=tuple((s.start - start, s.name) for s in sections))
    choices = tuple(Choice(f, f) for f in sorted(pool))
    where = "; ".join(f"{s.name} {bar_words(song.table, s.start, s.end)}" for s in sections)
    return Sheet(
        prompt=f"Follow the song; it has {number(len(sections))} sections. What is their plan?", ask="choice",
        right=right, words=right,
        why=f"{capital(where)}.", shown=Excerpt("The sections", lettered), heard=(Excerpt("The song", phrase),),
        choices=choices,
        contrasts={c.label: _parting(song, sections, right, c.label) for c in choices if c.label != right},
        source=source_words(song, start, end), song_id=song.id,
        hint="Ask of each section: have I heard this before?",
    )  # fmt: skip


def _plans_beside(draw: Draw, right: str) -> list[str]:
    """Up to three other plans of as many sections, each with one section another than in the song's plan."""
    found = set()
    for place in range(1, len(right)):
        for letter in "ABCDEFGH"[: len(set(right)) + 1]:
            changed = f"{right[:place]}{letter}{right[place + 1 :]}"
            names = {old: "ABCDEFGHIJ"[i] for i, old in enumerate(dict.fromkeys(changed))}
            found.add("".join(names[x] for x in changed))
    found.discard(right)
    return draw.rng.sample(sorted(found), min(3, len(found)))


def _parting(song: Song, sections: list[Section], right: str, other: str) -> Excerpt:
    """The section at which another plan would part from the song's."""
    place = next((i for i, (a, b) in enumerate(zip(right, other, strict=False)) if a != b), len(sections) - 1)
    section = sections[place]
    words = f"The {ORDINALS[min(place, len(ORDINALS) - 1)]} section, {section.name}"
    return Excerpt(words, cut(song.table, section.start, section.end))


def song_marks(draw: Draw) -> Sheet | None:
    """Tap along with one of the songs."""
    song = draw.song(_sure_form)
    sections = _sections(song)
    start, end = sections[0].start, sections[-1].end
    phrase = cut(song.table, start, end)
    alone = draw.level > 0.6
    lettered = replace(phrase, figures=tuple((s.start - start, s.name) for s in sections))
    where = [f"{s.name} from bar {s.bars[0]}" for s in sections[1:]]
    beat = song.table.bar_at(start).bar_quarters
    wide = max(2.0, beat / 2)
    tolerance = "half a bar" if wide == beat / 2 else f"{number(round(wide))} quarter notes"
    return Sheet(
        prompt="Follow the song and tap each time a new section begins. The first needs no tap.", ask="marks",
        right="".join(s.label for s in sections), words="; ".join(where),
        why=f"A tap counts within {tolerance} of the place.", shown=Excerpt("The sections", lettered),
        heard=(Excerpt("The song", phrase.only("voice") if alone else phrase),),
        wanted=tuple((0, s.start - start, 0.0) for s in sections[1:]), tap_quarters=wide, bpm=phrase.bpm,
        source=source_words(song, start, end), song_id=song.id, hint="A section ends where the melody comes to rest.",
    )  # fmt: skip


def song_section(draw: Draw) -> Sheet | None:
    """An excerpt of one of the songs: from which section."""

    def fits(song: Song) -> bool:
        return _sure_form(song) and 2 <= len({s.label for s in _sections(song)}) <= 8

    song = draw.song(fits)
    sections = _sections(song)
    section = draw.rng.choice(sections)
    labels = sorted({s.label for s in sections})
    first = {x: next(s for s in sections if s.label == x) for x in labels}
    phrase = _opening(song, section)
    where = f"{capital(bar_words(song.table, section.start, section.end))}"
    firsts = {x: Excerpt(f"Section {x}, its beginning", _opening(song, s)) for x, s in first.items()}
    return Sheet(
        prompt="You hear how each section of the song begins, then one of them again. Which is it?", ask="choice",
        right=section.label, words=f"section {section.label}",
        why=f"{where} {'is' if where.startswith('Bar ') else 'are'} section {section.name}.",
        shown=Excerpt(f"{where}, their beginning", phrase),
        heard=(*firsts.values(), Excerpt("One of them", phrase)),
        choices=tuple(Choice(x, f"section {x}") for x in labels),
        contrasts={x: e for x, e in firsts.items() if x != section.label}, song_id=song.id,
        source=f"“{song.title}”", hint="Sing the first two bars of each to yourself.",
    )  # fmt: skip


def _opening(song: Song, section: Section) -> Phrase:
    """The first bars of a section: enough to know it by, and no longer than it is."""
    bars = bars_between(song.table, section.start, section.end)[:OPENING_BARS]
    return cut(song.table, section.start, min(section.end, bars[-1].end_quarters))


LABELS = FORMS | RELATION | WITHHELD | BACK

PARTS = {
    "relation": Part("same, varied or new, by ear", relation_ear),
    "relation-staff": Part("same, varied or new, on the staff", relation_eye),
    "where-differs": Part("the bar in which a return differs", where_differs),
    "mark-sections": Part("tap as sections pass", mark_sections, ask="marks"),
    "name-form": Part("name the plan", name_form),
    "which-section": Part("which section is this", which_section),
    "withheld": Part("what a return withholds", withheld),
    "song-relation": Part("two phrases of your song, by ear", song_relation, song=True),
    "song-return": Part("which later phrase of your song brings one back", song_return, song=True),
    "song-again": Part("tap when a phrase of your song sets off again", song_again, song=True, ask="marks"),
    "song-marks": Part("tap along with your song", song_marks, song=True, ask="marks"),
    "song-section": Part("which section of your song is this", song_section, song=True),
    "song-name": Part("the plan of your song", song_name, song=True),
}


class FormDrill(Drawn):
    """The drill."""

    name = "form"
    title = "Form"
    about = "Follow a song through its sections and hear what returns, what is varied and what is new."
    lesson = "form"
    parts = PARTS
    labels = LABELS


drill = FormDrill()
