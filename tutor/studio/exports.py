"""Things written to files: a warm-up to print or to carry on a phone, and the answers of a singer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tutor import errors
from tutor.practice import stats
from tutor.practice.schedule import Review
from tutor.store.folder import path_of
from tutor.warmup.model import Given, Plan

if TYPE_CHECKING:
    from tutor.music.phrase import Line, Phrase
    from tutor.practice.drill import Song
    from tutor.sound.synth import Sounds


def named(text: str, ending: str) -> Path:
    """The file that was typed, with an ending where it has none.

    Raises:
        TutorError: no file was named, or its folder belongs to nobody here.
    """
    if not text.strip():
        raise errors.TutorError("no file was named", remedy="Type a name")
    try:
        path = path_of(text)
    except RuntimeError:
        raise errors.TutorError("nobody of that name is here", where=text, remedy="Name another folder") from None
    return path if path.suffix or not path.name else path.with_suffix(ending)


def write_plan(
    given: Given,
    path: Path,
    *,
    now: datetime | None = None,
    until_recording_min: float | None = None,
    sounds: Sounds | None = None,
) -> None:
    """Write a warm-up; the ending says what it becomes: .html, .md, .wav, .flac, .ogg or .mid.

    With .ics it becomes a calendar of the hours before the recording, and needs the time.

    Args:
        given: the plan.
        path: file to write.
        now: the present; aware.
        until_recording_min: minutes until the recording.
        sounds: the timbres it is played with; the built-in ones if not given.

    Raises:
        TutorError: there is no plan to write, the ending is not known, or the file cannot be written.
    """
    from tutor.warmup.export import plan_html, plan_markdown

    if path.suffix.lower() == ".ics" and now is not None:
        from tutor.studio.hours import write_calendar

        write_calendar(given, now, until_recording_min, path)
        return

    if not isinstance(given, Plan):
        raise errors.TutorError(
            "there is no warm-up to write for this voice today", remedy="Run the command without --out to read why"
        )
    texts: dict[str, Callable[[Plan], str]] = {".html": plan_html, ".md": plan_markdown}
    kind = path.suffix.lower()
    _new(path)
    if kind in texts:
        try:
            path.write_text(texts[kind](given), encoding="utf-8")
        except OSError as error:
            raise errors.TutorError(
                f"the file cannot be written ({error.strerror})", where=str(path), remedy="Choose another folder"
            ) from None
        return
    from tutor.warmup.whole import whole

    write_phrases([whole(given)], path, sounds=sounds)


def write_passage(
    song: Song,
    path: Path,
    *,
    bars: tuple[str, str] | None = None,
    stretch: tuple[float, float] | None = None,
    semitones: int = 0,
    tempo: float = 1.0,
    mute: Sequence[Line] = (),
    sounds: Sounds | None = None,
) -> None:
    """Write a passage of a song as it is printed: .wav, .flac, .ogg or .mid.

    Args:
        song: the song.
        path: file to write; never over another.
        bars: first and last bar, by their printed numbers; None for the whole song, repeats taken.
        stretch: in place of bars, where the passage begins and ends, quarters from the start of the page.
        semitones: transposition.
        tempo: share of the song's own tempo, 0.4 to 1.6.
        mute: lines left out.
        sounds: the timbres it is played with; the built-in ones if not given.

    Raises:
        TutorError: there are no such bars, nothing sounds there, or the file cannot be written.
    """
    from tutor.music.pitch import Pitch
    from tutor.practice.material import cut
    from tutor.sound.engine import FASTEST, SLOWEST

    phrase = _passage(song, bars) if stretch is None else cut(song.table, *stretch)
    kept = [t for t in phrase.tones if t.line != "click" and t.line not in mute]
    moved = tuple(replace(t, pitch=Pitch.from_midi(t.midi + semitones)) for t in kept) if semitones else tuple(kept)
    heard = replace(phrase, tones=moved, bpm=phrase.bpm * min(max(tempo, SLOWEST), FASTEST))
    write_phrases([heard], path, sounds=sounds)


def write_phrases(phrases: Sequence[Phrase], path: Path, *, sounds: Sounds | None = None) -> None:
    """Write music, one phrase after the other: an exercise, a question; .wav, .flac, .ogg or .mid.

    Args:
        phrases: what to write, in order.
        path: file to write; never over another.
        sounds: the timbres it is played with; the built-in ones if not given.

    Raises:
        TutorError: nothing sounds in it, the ending is not known, or the file cannot be written.
    """
    from tutor.sound.export import export
    from tutor.sound.synth import SOUNDS

    _new(path)
    export(phrases, path, sounds=sounds or SOUNDS)


def _new(path: Path) -> None:
    """Refuse to write over a file."""
    if path.exists():
        raise errors.TutorError("there is a file of that name already", where=str(path), remedy="Choose another name")


def _passage(song: Song, bars: tuple[str, str] | None) -> Phrase:
    """The bars as printed, or the whole song as it sounds."""
    from tutor.practice.material import cut
    from tutor.studio.playback import piece

    if bars is None:
        return piece(song.table).phrase
    rows = song.table.measures
    numbers = [row.number for row in rows]
    if any(bar not in numbers for bar in bars):
        wrong = next(bar for bar in bars if bar not in numbers)
        raise errors.TutorError(
            f"there is no bar {wrong}", where=song.title, remedy=f"It has the bars {numbers[0]} to {numbers[-1]}"
        )
    first, end = rows[numbers.index(bars[0])], numbers.index(bars[1])
    while end + 1 < len(rows) and song.table.printed_start(end + 1) <= end:
        end += 1  # the rest of a split bar
    last = rows[end]
    if last.end_quarters <= first.start_quarters:
        raise errors.TutorError("the last bar comes before the first", where=song.title, remedy="Turn them round")
    return cut(song.table, first.start_quarters, last.end_quarters)


def write_answers(reviews: Sequence[Review], singer: str, folder: Path, now: datetime) -> tuple[Path, Path]:
    """Write every answer as a table (CSV) and as JSON into a folder; never over another file.

    Args:
        reviews: the answers, those set aside among them, marked as such.
        singer: whose they are, for the names of the files.
        folder: where they go.
        now: for the names of the files.

    Returns:
        The two files.

    Raises:
        TutorError: there is no such folder, or it cannot be written.
    """
    if not folder.is_dir():
        raise errors.TutorError("there is no such folder", where=errors.plain(folder.name), remedy="Name another")
    who = "".join(c if c.isalnum() else "-" for c in singer).strip("-") or "singer"
    stem = f"{who}-answers-{now:%Y-%m-%d}"
    for name in (stem, *(f"{stem}-{n}" for n in range(2, 100))):
        table, whole = folder / f"{name}.csv", folder / f"{name}.json"
        if table.exists() or whole.exists():
            continue
        try:
            with table.open("x", encoding="utf-8", newline="") as file:
                file.write(stats.to_csv(reviews))
            with whole.open("x", encoding="utf-8") as file:
                file.write(stats.to_json(reviews))
        except FileExistsError:
            continue
        except OSError as error:
            raise errors.TutorError(
                f"the file cannot be written ({error.strerror})", where=table.name, remedy="Choose another folder"
            ) from None
        return table, whole
    raise errors.TutorError("too many files of that name", where=folder.name, remedy="Choose another folder")
