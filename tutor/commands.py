"""What each command does; they print, and none of them loads the screen but `open`."""

from __future__ import annotations

import argparse
import contextlib
import json
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from tutor.errors import StoreError, TutorError

if TYPE_CHECKING:
    from tutor.music.voice import SingerProfile
    from tutor.practice.drill import Song
    from tutor.studio import Studio


def open_program(options: argparse.Namespace) -> None:
    """Open the screen.

    Raises:
        TutorError: there is no terminal, or the store cannot be opened.
    """
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise TutorError("the program needs a terminal", remedy="Run it in one, or try: larkstair read SONG")
    from tutor.studio import Studio

    with contextlib.closing(Studio.open(silent_ports=options.silent)) as studio:
        from tutor.tui.app import LarkstairApp

        LarkstairApp(studio, song=options.song).run()


def read_song(options: argparse.Namespace) -> None:
    """Print the reading of a song."""
    from tutor.analysis.contract import to_json
    from tutor.analysis.prose import reading_text

    reading = _song(options.song).reading
    if options.json:
        print(json.dumps(to_json(reading), ensure_ascii=False, indent=1))
    else:
        width = max(60, min(shutil.get_terminal_size((80, 24)).columns, 100))
        print(reading_text(reading, width=width, full=options.full), end="")


def print_warmup(options: argparse.Namespace) -> None:
    """Print a warm-up plan.

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
    song = _song(options.song)
    given = plan(
        song.table, song.reading, _voice(options), minutes=options.minutes, condition=options.feel,
        until_recording_min=options.recording_in, transpose=options.transpose,
    )  # fmt: skip
    print(json.dumps(plan_json(given), ensure_ascii=False, indent=1) if options.json else plan_text(given).rstrip())


def list_songs(options: argparse.Namespace) -> None:
    """Print the library, a line each."""
    with _studio() as studio:
        for card in studio.songs():
            print(f"{card.path:<28} {card.title}" + (f" · {card.blurb}" if card.blurb else ""))


def export_all(options: argparse.Namespace) -> None:
    """Write all that is stored into one file."""
    from tutor.studio import Studio

    target = Path(options.file).expanduser()
    with contextlib.closing(Studio.open(silent_ports=True)) as studio:
        studio.store.export(target)
    print(f"Everything is in {target}. On the other machine: larkstair import {target.name}")


def import_all(options: argparse.Namespace) -> None:
    """Replace all that is stored by an exported file; what was there is kept aside."""
    from tutor.store.moving import bring_in
    from tutor.studio import data_folder, wall_clock

    kept = bring_in(data_folder(), Path(options.file).expanduser(), wall_clock())
    print("Everything was brought in." + (f" What was here before is kept as {kept.name}." if kept else ""))


def _voice(options: argparse.Namespace) -> SingerProfile:
    from tutor.music.pitch import Pitch
    from tutor.music.voice import SingerProfile

    with _studio() as studio:
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


def _song(source: str) -> Song:
    with _studio() as studio:
        return studio.open_song(source)


def _studio() -> contextlib.closing[Studio]:
    """A studio for one command; where the store cannot be used the command goes on without one and says so."""
    from tutor.studio import Studio

    try:
        studio = Studio.open(silent_ports=True)
    except StoreError as error:
        print(f"larkstair: {error.line} Going on without it.", file=sys.stderr)
        studio = Studio.open(silent_ports=True, in_memory=True)
    return contextlib.closing(studio)
