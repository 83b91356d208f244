"""The command line: what can be typed, and where it goes."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from typing import get_args

from tutor import __version__, commands
from tutor.errors import TutorError

_BAD_INPUT = 2
_SONG = "a score, or the name of a bundled song"


def main(words: Sequence[str] | None = None) -> int:
    """Run the program; gives the exit code: 0, or 2 for something the user can mend."""
    options = _parser().parse_args(words)
    try:
        options.run(options)
    except TutorError as error:
        print(f"larkstair: {error.line}", file=sys.stderr)
        return _BAD_INPUT
    except BrokenPipeError:
        # The reader of our output went away (`larkstair read … | head`): nothing to tell.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        print("larkstair: stopped.", file=sys.stderr)
        return 130
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="larkstair",
        description="Reads a song for voice and piano and turns it into practice: drills, a warm-up and quizzes.",
        epilog="Without a command it opens the program.",
    )
    parser.add_argument("--version", action="version", version=f"larkstair {__version__}")
    parser.add_argument("--silent", action="store_true", help="never touch a sound or MIDI device")
    parser.set_defaults(run=commands.open_program, song=None)
    found = parser.add_subparsers(title="commands", metavar="COMMAND")

    opening = found.add_parser("open", help="open the program on a song")
    opening.add_argument("song", metavar="SONG", help=_SONG)
    opening.add_argument("--silent", action="store_true", help="never touch a sound or MIDI device")
    opening.set_defaults(run=commands.open_program)

    read = found.add_parser("read", help="print what the engine finds in a song")
    read.add_argument("song", metavar="SONG", help=_SONG)
    read.add_argument("--json", action="store_true", help="the whole reading, for a program")
    read.add_argument("--full", action="store_true", help="do not shorten long lists")
    read.set_defaults(run=commands.read_song)

    _warmup_options(found.add_parser("warmup", help="print a warm-up that arrives at the song's high note"))

    songs = found.add_parser("songs", help="list the bundled songs and the songs you have opened")
    songs.set_defaults(run=commands.list_songs)

    out = found.add_parser("export", help="write all that is stored into one file")
    out.add_argument("file", metavar="FILE")
    out.set_defaults(run=commands.export_all)

    back = found.add_parser("import", help="replace all that is stored by an exported file")
    back.add_argument("file", metavar="FILE")
    back.set_defaults(run=commands.import_all)
    return parser


def _warmup_options(parser: argparse.ArgumentParser) -> None:
    from tutor.music.voice import Condition, VoiceType

    parser.add_argument("song", metavar="SONG", help=_SONG)
    parser.add_argument("--minutes", type=float, default=10.0, help="minutes at hand, 5 to 30 (default: 10)")
    parser.add_argument("--voice", choices=get_args(VoiceType), help="voice type, with its usual range")
    parser.add_argument("--low", metavar="PITCH", help="comfortable lowest note, such as B2")
    parser.add_argument("--high", metavar="PITCH", help="comfortable highest note, such as G4")
    parser.add_argument("--feel", choices=get_args(Condition), default="fresh", help="how the voice feels today")
    parser.add_argument("--recording-in", type=float, metavar="MINUTES", help="minutes until the recording")
    parser.add_argument("--transpose", type=int, default=0, metavar="SEMITONES", help="sing the song in another key")
    parser.add_argument("--json", action="store_true", help="the whole plan, for a program")
    parser.set_defaults(run=commands.print_warmup)


if __name__ == "__main__":
    sys.exit(main())
