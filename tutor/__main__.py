"""The command line: what can be typed, and where it goes."""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, get_args

from tutor import __version__
from tutor.commands import house, quiz, songs, warmup
from tutor.errors import TutorError

if TYPE_CHECKING:
    _Commands = argparse._SubParsersAction[argparse.ArgumentParser]

_BAD_INPUT = 2
_SONG = "a score, or the name of a bundled song"


def main(words: Sequence[str] | None = None) -> int:
    """Run the program; gives the exit code: 0, or 2 for something the user can mend."""
    options = _parser().parse_args(words)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a redirected output may know no musical signs, on Windows above all
            stream.reconfigure(errors="replace")
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
    parser.set_defaults(run=house.open_program, song=None)
    found = parser.add_subparsers(title="commands", metavar="COMMAND")
    opening = found.add_parser("open", help="open the program on a song")
    opening.add_argument("song", metavar="SONG", help=_SONG)
    opening.add_argument(
        "--silent", action="store_true", default=argparse.SUPPRESS, help="never touch a sound or MIDI device"
    )
    opening.set_defaults(run=house.open_program)
    given = found.add_parser("assignment", help="open the program on an assignment that your teacher gave you")
    given.add_argument("assignment", metavar="FILE", help="the assignment, a .toml or .json file")
    given.add_argument(
        "--silent", action="store_true", default=argparse.SUPPRESS, help="never touch a sound or MIDI device"
    )
    given.set_defaults(run=house.open_assignment)
    _song_commands(found)
    _warmup_options(found.add_parser("warmup", help="print a warm-up that arrives at the song's high note"))
    _quiz_commands(found.add_parser("quiz", help="make a quiz for viewers, and gather their answers"))
    _house_commands(found)
    return parser


def _song_commands(found: _Commands) -> None:
    read = found.add_parser("read", help="print what the engine finds in a song")
    read.add_argument("song", metavar="SONG", help=f"{_SONG}, or a folder of scores: a line for each")
    read.add_argument("--json", action="store_true", help="the whole reading, for a program")
    read.add_argument("--full", action="store_true", help="do not shorten long lists")
    read.set_defaults(run=songs.read_song)

    listed = found.add_parser("songs", help="list the bundled songs and the songs you have opened")
    listed.set_defaults(run=songs.list_songs)

    sound = found.add_parser("sound", help="write a song, or some of its bars, as sound or MIDI")
    sound.add_argument("song", metavar="SONG", help=_SONG)
    sound.add_argument("--out", required=True, metavar="FILE", help="ends in .wav, .flac, .ogg or .mid")
    sound.add_argument("--bars", metavar="9-16", help="as printed; the whole song without it")
    sound.add_argument("--only", choices=("both", "voice", "piano"), default="both", help="what is heard")
    sound.add_argument("--tempo", type=int, default=100, metavar="PERCENT", help="of the song's own, 40 to 160")
    sound.add_argument("--transpose", type=int, default=0, metavar="SEMITONES", help="higher, or lower with a minus")
    sound.set_defaults(run=songs.write_sound)

    compare = found.add_parser("compare", help="print what two melodies share")
    compare.add_argument("song", metavar="SONG", help=_SONG)
    compare.add_argument("other", metavar="OTHER", help=_SONG)
    compare.set_defaults(run=songs.compare_songs)

    correct = found.add_parser("correct", help="correct what the engine reads; kept beside the song")
    correct.add_argument("song", metavar="SONG", help=_SONG)
    correct.add_argument("--chord", action="append", default=[], metavar="BAR.BEAT=FIGURE", help="such as 12.3=V65/V")
    correct.add_argument("--key", action="append", default=[], metavar="BARS=KEY", help="such as '9-16=F minor'")
    correct.add_argument("--section", action="append", default=[], metavar="BARS=LETTER", help="such as 17-24=B")
    correct.add_argument("--voice", metavar="PART", help="the part that is sung, by id or name")
    correct.add_argument("--analysis", metavar="FILE", help="take an analysis in RomanText for the harmony")
    correct.add_argument("--forget", action="store_true", help="drop the corrections made before")
    correct.set_defaults(run=songs.correct_song)


def _warmup_options(parser: argparse.ArgumentParser) -> None:
    from tutor.music.voice import Condition, VoiceType

    parser.add_argument("song", metavar="SONG", help=_SONG)
    parser.add_argument("--minutes", type=float, default=10.0, help="minutes at hand, 5 to 30 (default: 10)")
    parser.add_argument("--voice", choices=get_args(VoiceType), help="voice type, with its usual range and changes")
    parser.add_argument("--low", metavar="PITCH", help="comfortable lowest note, such as B2")
    parser.add_argument("--high", metavar="PITCH", help="comfortable highest note, such as G4")
    parser.add_argument(
        "--passaggi", nargs=2, metavar=("LOWER", "UPPER"), help="where the register changes, such as D4 G4"
    )
    parser.add_argument("--feel", choices=get_args(Condition), default="fresh", help="how the voice feels today")
    parser.add_argument(
        "--last-sang", type=int, metavar="DAYS", help="days since you last sang (default: from your diary)"
    )
    parser.add_argument("--recording-in", type=float, metavar="MINUTES", help="minutes until the recording")
    parser.add_argument(
        "--above", type=int, default=0, metavar="SEMITONES", help="how far above the highest note, 0 to 2 (default: 0)"
    )
    parser.add_argument("--transpose", type=int, default=0, metavar="SEMITONES", help="sing the song in another key")
    parser.add_argument(
        "--out",
        metavar="FILE",
        help="write it: .html or .md to read, .mid, .wav, .flac or .ogg to hear, "
        ".ics for the hours before the recording",
    )
    parser.add_argument("--json", action="store_true", help="the whole plan, for a program")
    parser.set_defaults(run=warmup.print_warmup)


def _quiz_commands(parser: argparse.ArgumentParser) -> None:
    found = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    make = found.add_parser("make", help="make a quiz: a page, a sheet, a school package and the quiz itself")
    make.add_argument("songs", nargs="*", metavar="SONG", help=_SONG + "; none: fresh material alone")
    make.add_argument("--out", required=True, metavar="FOLDER", help="where everything is written")
    make.add_argument("--title", default="Quiz", help="shown at the top")
    make.add_argument("--intro", default="", help="shown under the title")
    make.add_argument(
        "--skills", nargs="*", default=[], metavar="DRILL[:SKILL]", help="such as inversions:triads-close"
    )
    make.add_argument("--number", type=int, default=10, help="how many questions, up to 100 (default: 10)")
    make.add_argument("--mix", type=int, nargs=3, default=[5, 3, 2], metavar="N", help="shares of easy, middling, hard")
    make.add_argument("--at-the-end", action="store_true", help="show explanations when the viewer finishes")
    make.add_argument("--seed", type=int, default=1, help="another seed, another quiz (default: 1)")
    make.set_defaults(run=quiz.make_quiz)

    page = found.add_parser("page", help="write the page, sheet and package of a quiz file again")
    page.add_argument("quiz", metavar="QUIZ")
    page.add_argument("--out", required=True, metavar="FOLDER")
    page.set_defaults(run=quiz.write_page)

    gather = found.add_parser("gather", help="figures from the answer files and codes that came back")
    gather.add_argument("quiz", metavar="QUIZ", help="the quiz file that was made")
    gather.add_argument("answers", nargs="+", metavar="FILE", help="answer files, or text files with codes, one a line")
    gather.add_argument("--json", action="store_true", help="for a program")
    gather.add_argument("--csv", action="store_true", help="for a spreadsheet")
    gather.set_defaults(run=quiz.gather_answers)


def _house_commands(found: _Commands) -> None:
    setup = found.add_parser("setup", help="print what sounds, listens and answers on this machine")
    setup.add_argument("--check", action="store_true", help="the same; for scripts that want to say it")
    setup.set_defaults(run=house.check_setup)

    out = found.add_parser("export", help="write all that is stored into one file")
    out.add_argument("file", metavar="FILE")
    out.set_defaults(run=house.export_all)

    back = found.add_parser("import", help="replace all that is stored by an exported file")
    back.add_argument("file", metavar="FILE")
    back.set_defaults(run=house.import_all)


if __name__ == "__main__":
    sys.exit(main())
