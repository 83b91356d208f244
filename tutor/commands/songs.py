"""Commands on songs: read, compare, correct, list."""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from pathlib import Path

from tutor import commands
from tutor.errors import TutorError, plain


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
