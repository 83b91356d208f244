"""The command line: open the screen, or print a reading or a warm-up without it."""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import get_args

from tutor import __version__
from tutor.errors import StoreError, TutorError

_BAD_INPUT = 2


def main(words: Sequence[str] | None = None) -> int:
    """Run the program; gives the exit code: 0, or 2 for something the user can mend."""
    options = _parser().parse_args(words)
    try:
        return int(options.run(options) or 0)
    except TutorError as error:
        print(f"larkstair: {error.line}", file=sys.stderr)
        return _BAD_INPUT
    except BrokenPipeError:
        # The reader of our output went away (`larkstair read … | head`): nothing to tell.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print("larkstair: stopped.", file=sys.stderr)
        return 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="larkstair",
        description="Reads a song for voice and piano and turns it into practice: drills, a warm-up and quizzes.",
        epilog="Without a command it opens the program.",
    )
    parser.add_argument("--version", action="version", version=f"larkstair {__version__}")
    parser.add_argument("--silent", action="store_true", help="never touch a sound or MIDI device")
    parser.set_defaults(run=_open, song=None)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    opening = commands.add_parser("open", help="open the program on a song")
    opening.add_argument("song", metavar="SONG", help="a score, or the name of a bundled song")
    opening.add_argument("--silent", action="store_true", help="never touch a sound or MIDI device")
    opening.set_defaults(run=_open)

    read = commands.add_parser("read", help="print what the engine finds in a song")
    read.add_argument("song", metavar="SONG", help="a score, or the name of a bundled song")
    read.add_argument("--json", action="store_true", help="the whole reading, for a program")
    read.add_argument("--full", action="store_true", help="do not shorten long lists")
    read.set_defaults(run=_read)

    warmup = commands.add_parser("warmup", help="print a warm-up that arrives at the song's high note")
    _warmup_options(warmup)
    warmup.set_defaults(run=_warmup)

    songs = commands.add_parser("songs", help="list the bundled songs and the songs you have opened")
    songs.set_defaults(run=_songs)
    return parser


def _warmup_options(parser: argparse.ArgumentParser) -> None:
    from tutor.music.voice import Condition, VoiceType

    parser.add_argument("song", metavar="SONG", help="a score, or the name of a bundled song")
    parser.add_argument("--minutes", type=float, default=10.0, help="minutes at hand, 5 to 30 (default: 10)")
    parser.add_argument("--voice", choices=get_args(VoiceType), help="voice type, with its usual range")
    parser.add_argument("--low", metavar="PITCH", help="comfortable lowest note, such as B2")
    parser.add_argument("--high", metavar="PITCH", help="comfortable highest note, such as G4")
    parser.add_argument("--feel", choices=get_args(Condition), default="fresh", help="how the voice feels today")
    parser.add_argument("--recording-in", type=float, metavar="MINUTES", help="minutes until the recording")
    parser.add_argument("--transpose", type=int, default=0, metavar="SEMITONES", help="sing the song in another key")
    parser.add_argument("--json", action="store_true", help="the whole plan, for a program")


def _open(options: argparse.Namespace) -> int:
    from tutor.studio import Studio

    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise TutorError("the program needs a terminal", remedy="Run it in one, or try: larkstair read SONG")
    studio = Studio.open(silent_ports=options.silent)
    try:
        from tutor.tui.app import LarkstairApp

        LarkstairApp(studio, song=options.song).run()
    finally:
        studio.close()
    return 0


def _read(options: argparse.Namespace) -> None:
    from tutor.analysis.contract import to_json
    from tutor.analysis.prose import reading_text

    song = _song(options.song)
    if options.json:
        print(json.dumps(to_json(song.reading), ensure_ascii=False, indent=1, sort_keys=False))
    else:
        width = max(60, min(shutil.get_terminal_size((80, 24)).columns, 100))
        print(reading_text(song.reading, width=width, full=options.full), end="")


def _warmup(options: argparse.Namespace) -> None:
    from tutor.warmup.model import plan_json
    from tutor.warmup.plan import plan
    from tutor.warmup.words import plan_text

    if not 5 <= options.minutes <= 30:
        raise TutorError("a warm-up takes 5 to 30 minutes", where="--minutes", remedy="Give a figure in between")
    song = _song(options.song)
    given = plan(
        song.table, song.reading, _voice(options), minutes=options.minutes, condition=options.feel,
        until_recording_min=options.recording_in, transpose=options.transpose,
    )  # fmt: skip
    print(json.dumps(plan_json(given), ensure_ascii=False, indent=1) if options.json else plan_text(given), end="")
    if options.json:
        print()


def _voice(options: argparse.Namespace):  # type: ignore[no-untyped-def]
    from dataclasses import replace

    from tutor.music.pitch import Pitch
    from tutor.music.voice import SingerProfile

    with _studio() as studio:
        singer = studio.singer
    if options.voice:
        singer = SingerProfile.default(singer.name, options.voice)
    for name, field in (("low", "low_midi"), ("high", "high_midi")):
        text = getattr(options, name)
        if text:
            try:
                singer = replace(singer, **{field: Pitch.parse(text).midi})
            except ValueError:
                raise TutorError(f"{text!r} is no pitch", where=f"--{name}", remedy="Write it like G4 or Bb3") from None
    if singer.low_midi + 5 > singer.high_midi:
        raise TutorError("the lowest note lies too close to the highest", remedy="Check --low and --high")
    return singer


def _songs(options: argparse.Namespace) -> None:
    with _studio() as studio:
        for card in studio.songs():
            name = card.path if card.bundled else card.path
            print(f"{name:<28} {card.title}" + (f" · {card.blurb}" if card.blurb else ""))


def _song(source: str):  # type: ignore[no-untyped-def]
    with _studio() as studio:
        return studio.open_song(source)


def _studio():  # type: ignore[no-untyped-def]
    """A studio for one command; where the store cannot be used, the command works without one and says so."""
    import contextlib

    from tutor.studio import Studio

    try:
        studio = Studio.open(silent_ports=True)
    except StoreError as error:
        print(f"larkstair: {error.line} Going on without it.", file=sys.stderr)
        studio = Studio.open(silent_ports=True, in_memory=True)
    return contextlib.closing(studio)


if __name__ == "__main__":
    sys.exit(main())
