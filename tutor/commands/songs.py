"""Commands on songs: read, compare, correct, list, warm up."""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from tutor import commands
from tutor.errors import TutorError, plain

if TYPE_CHECKING:
    from tutor.music.voice import SingerProfile


def read_song(options: argparse.Namespace) -> None:
    """Print the reading of a song, or a line for each song of a folder."""
    from tutor.analysis.contract import to_json
    from tutor.analysis.prose import reading_text

    if (folder := Path(options.song).expanduser()).is_dir():
        _read_folder(folder, as_json=options.json)
        return
    reading = commands.song(options.song).reading
    if options.json:
        print(json.dumps(to_json(reading), ensure_ascii=False, indent=1))
    else:
        width = max(60, min(shutil.get_terminal_size((80, 24)).columns, 100))
        print(reading_text(reading, width=width, full=options.full), end="")


def _read_folder(folder: Path, *, as_json: bool) -> None:
    """Read every score of a folder on all cores; the songs on standard output, how far it is on standard error."""
    from tutor.analysis.contract import to_json
    from tutor.analysis.prose import in_one_line
    from tutor.studio.shelf import open_all, scores_in

    paths = scores_in(folder)
    troubled = 0
    with commands.studio() as studio:
        for done, found in enumerate(open_all(studio.library, paths), 1):
            name = plain(str(found.path.relative_to(folder)))
            print(f"{done} of {len(paths)}  {name}", file=sys.stderr)
            if found.song is None:
                troubled += 1
                print(f"larkstair: {found.trouble}", file=sys.stderr)
            elif as_json:
                print(json.dumps({"file": name, **to_json(found.song.reading)}, ensure_ascii=False))
            else:
                print(f"{name}: {in_one_line(found.song.reading)}")
    if troubled:
        raise TutorError(
            f"{troubled} of {len(paths)} could not be read", where=folder.name, remedy="The others are in your library"
        )


def compare_songs(options: argparse.Namespace) -> None:
    """Print what two melodies share."""
    from tutor.analysis.likeness import compare
    from tutor.analysis.prose import likeness_text

    one, two = commands.song(options.song), commands.song(options.other)
    found = compare(one.table, two.table)
    print(likeness_text(found, one.title, two.title), end="")


def correct_song(options: argparse.Namespace) -> None:
    """Change what the engine reads: chords, keys, sections, the sung line; kept beside the song."""
    from tutor.analysis.findings import Corrections
    from tutor.studio import correcting

    with commands.studio() as studio:
        if options.voice:  # before the song is opened: without a sung part it cannot be
            studio.library.name_voice(options.song, options.voice)
        song = studio.open_song(options.song)
        before = studio.library.corrections(song)
        mine = before
        if options.forget:
            mine = Corrections(voice_part=before.voice_part if options.voice else None)
        if options.analysis:
            mine = correcting.with_analysis(mine, song, Path(options.analysis).expanduser())
        for text in options.chord:
            mine = correcting.with_chord(mine, song, text)
        for text in options.key:
            mine = correcting.with_key(mine, song, text)
        for text in options.section:
            mine = correcting.with_section(mine, song, text)
        studio.library.correct(song, mine)
    for line in correcting.told(mine):
        print(line)


def list_songs(options: argparse.Namespace) -> None:
    """Print the library, a line each."""
    with commands.studio() as studio:
        for card in studio.songs():
            print(f"{card.path:<28} {card.title}" + (f" · {card.blurb}" if card.blurb else ""))


def print_warmup(options: argparse.Namespace) -> None:
    """Print a warm-up plan, or write it to a file.

    Raises:
        TutorError: an option is out of bounds.
    """
    from tutor.warmup.model import plan_json
    from tutor.warmup.plan import plan
    from tutor.warmup.text import plan_text

    if not 5 <= options.minutes <= 30:
        raise TutorError("a warm-up takes 5 to 30 minutes", where="--minutes", remedy="Give a figure in between")
    if not -24 <= options.transpose <= 24:
        raise TutorError("two octaves are the limit", where="--transpose", remedy="Give -24 to 24 semitones")
    song = commands.song(options.song)
    given = plan(
        song.table, song.reading, _voice(options), minutes=options.minutes, condition=options.feel,
        until_recording_min=options.recording_in, transpose=options.transpose,
    )  # fmt: skip
    if options.out:
        from tutor.studio import wall_clock
        from tutor.studio.exports import write_plan

        write_plan(given, Path(options.out).expanduser(), now=wall_clock(), until_recording_min=options.recording_in)
        print(f"Written to {options.out}.")
    elif options.json:
        print(json.dumps(plan_json(given), ensure_ascii=False, indent=1))
    else:
        print(plan_text(given).rstrip())


def _voice(options: argparse.Namespace) -> SingerProfile:
    from tutor.music.pitch import Pitch
    from tutor.music.voice import SingerProfile

    with commands.studio() as studio:
        singer = studio.singer
    if options.voice:
        singer = SingerProfile.default(singer.name, options.voice)
    try:
        low = Pitch.parse(options.low).midi if options.low else singer.low_midi
        high = Pitch.parse(options.high).midi if options.high else singer.high_midi
    except ValueError as error:
        raise TutorError(str(error), where="--low, --high", remedy="Write a pitch like G4 or Bb3") from None
    if low + 5 > high:
        raise TutorError("the lowest note lies too close to the highest", remedy="Check --low and --high")
    return replace(singer, low_midi=low, high_midi=high)
