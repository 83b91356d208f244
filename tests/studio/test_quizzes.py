"""Quizzes written, taken and handed in through the studio."""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import soundfile

from tests.quiz.packs import pack
from tutor.commands import quiz as commands
from tutor.errors import PackError
from tutor.music.phrase import Phrase
from tutor.quiz.gather import gather
from tutor.quiz.taking import Taking
from tutor.sound.loudness import loudness
from tutor.studio import Studio, quizdesk, quizzes


@pytest.fixture
def studio() -> Iterator[Studio]:
    opened = Studio.open(silent_ports=True, in_memory=True, seed=3)
    yield opened
    opened.close()


def test_everything_is_written_once_and_told_step_by_step(tmp_path: Path) -> None:
    steps: list[tuple[int, int]] = []
    paths = quizzes.write_quiz(pack(3), tmp_path / "out", step=lambda done, of: steps.append((done, of)))
    assert [p.name for p in paths] == [f"tide-chords{kind}" for kind in quizzes.TOLD]
    assert sorted(tmp_path.joinpath("out").iterdir()) == sorted(paths)
    # Two chords, each rendered once and drawn once, whatever the number of files that show them.
    assert steps == [(n, 4) for n in range(4)]
    assert quizzes.load_quiz(paths[0]) == pack(3)
    with pytest.raises(PackError, match="already"):
        quizzes.write_quiz(pack(3), tmp_path / "out")


def test_what_is_given_up_leaves_nothing(tmp_path: Path) -> None:
    stop = threading.Event()
    with pytest.raises(PackError, match="given up"):
        quizzes.write_quiz(pack(3), tmp_path / "out", step=lambda done, of: stop.set(), stop=stop)
    assert not (tmp_path / "out").exists()


def test_a_quiz_left_in_the_middle_waits(studio: Studio) -> None:
    assert quizdesk.left(studio) is None
    seat = quizdesk.sit_down(studio, pack())
    seat = quizdesk.keep(studio, seat, seat.taking.give(2).go(1))
    assert quizdesk.left(studio) == seat
    quizdesk.keep(studio, seat, seat.taking.finish())
    assert quizdesk.left(studio) is None


def test_a_damaged_taking_is_dropped_quietly(studio: Studio) -> None:
    seat = quizdesk.sit_down(studio, pack())
    studio.store.keep_session(seat.number, seat.taking.to_json() | {"answers": [9, 9, 9, 9]})
    assert quizdesk.left(studio) is None


def test_two_viewers_never_share_their_mark() -> None:
    """The studio's dice are seeded alike here; the marks come from elsewhere."""
    marks = set()
    for _ in range(20):
        studio = Studio.open(silent_ports=True, in_memory=True, seed=3)
        marks.add(quizdesk.sit_down(studio, pack()).taking.mark)
        studio.close()
    assert len(marks) == 20


def test_handed_in_files_gather(tmp_path: Path) -> None:
    taking = Taking.begin(pack(), "0a0b0c0d").give(2).go(1).give(2)
    first, second = (quizdesk.hand_in(taking, "Wren\x1b[2J", tmp_path / "in") for _ in range(2))
    assert first != second
    found = gather(pack(), [first, second])
    assert (found.figures.sheets, found.refused_count) == (1, 1)
    assert found.figures.mean == 1


def test_drills_that_ask_for_notes_or_the_voice_cannot_be_chosen() -> None:
    found = {drill: {s for _, s, _ in skills} for _, skills in quizzes.choosable() for drill, _, _ in skills}
    assert {"triads-close", "song"} <= found["inversions"]
    assert not {"sing-at-sight", "melody-by-ear"} & found.keys()
    assert "song" not in found["bass-line"]
    assert "song-marks" not in found["form"]
    assert "song-sing" not in found["high-note"]


def test_a_draft_waits_with_its_songs(studio: Studio) -> None:
    draft = quizdesk.begin_draft(studio, pack(), [])
    draft = quizdesk.keep_draft(studio, draft, pack().without(0))
    assert quizdesk.left_draft(studio) == draft
    assert quizdesk.songs_of(studio, draft) == []
    quizdesk.keep_draft(studio, draft, draft.pack, finished=True)
    assert quizdesk.left_draft(studio) is None


def test_clips_are_equally_loud_and_none_clips() -> None:
    """A chord that dies away, a sung line and a low note; MP3 itself moves the level by a little."""
    for text in ("C4+E4+G4:2", "C5:1 D5:1 E5:2", "C2:4"):
        samples, rate = soundfile.read(io.BytesIO(quizzes.mp3(Phrase.parse(text))), dtype="float32")
        assert loudness(samples, rate) == pytest.approx(-19, abs=1)
        assert float(abs(samples).max()) < 0.95


def test_only_what_is_answered_by_a_choice_is_taken_on_the_command_line() -> None:
    assert ("form", "song-section") in commands._skills(["form"])
    assert ("form", "song-marks") not in commands._skills(["form"])
    with pytest.raises(PackError, match="form:song-marks is answered with notes, taps or the voice"):
        commands._skills(["form:song-marks"])


@pytest.mark.parametrize(
    ("title", "stem"),
    [
        ("Tide chords", "tide-chords"), ("Über Tränen: was hörst du?", "uber-tranen-was-horst-du"),
        ("Groß & klein", "gross-klein"), ("../../etc", "etc"), ("音", "quiz"), ("x" * 90, "x" * 40),
        ("II. Aus meinen Tränen sprießen: what do you hear?", "ii-aus-meinen-tranen-spriessen-what-do"),
    ],
)  # fmt: skip
def test_file_names_are_whole_words_of_the_title(title: str, stem: str) -> None:
    assert quizzes.stem_of(title) == stem
