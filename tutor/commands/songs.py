"""Commands on songs: read, compare, correct, list."""

from __future__ import annotations

import argparse
import json
import shutil
from pathlib import Path

from tutor import commands


def read_song(options: argparse.Namespace) -> None:
    """Print the reading of a song."""
    from tutor.analysis.contract import to_json
    from tutor.analysis.prose import reading_text

    reading = commands.song(options.song).reading
    if options.json:
        print(json.dumps(to_json(reading), ensure_ascii=False, indent=1))
    else:
        width = max(60, min(shutil.get_terminal_size((80, 24)).columns, 100))
        print(reading_text(reading, width=width, full=options.full), end="")


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
