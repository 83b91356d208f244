"""Commands on songs: read, compare, correct, list."""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from tutor import commands
from tutor.errors import SidecarError, TutorError, plain
from tutor.store.folder import path_of

if TYPE_CHECKING:
    from tutor.music.phrase import Line
    from tutor.studio import Studio
    from tutor.studio.shelf import Shelved


def read_song(options: argparse.Namespace) -> None:
    """Print the reading of a song, or a line for each song of a folder."""
    from tutor.analysis.contract import to_json
    from tutor.analysis.prose import reading_text

    if (folder := path_of(options.song)).is_dir():
        _read_folder(folder, as_json=options.json)
        return
    reading = commands.song(options.song).reading
    if options.json:
        print(json.dumps(to_json(reading), ensure_ascii=False, indent=1))
    else:
        print(reading_text(reading, width=_width(), full=options.full), end="")


def _width() -> int:
    """Columns of a text for a person."""
    return max(60, min(shutil.get_terminal_size((80, 24)).columns, 100))


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
            trouble = _trouble(studio, found)
            if found.song is None or trouble:
                troubled += 1
                print(f"larkstair: {trouble}", file=sys.stderr)
            elif as_json:
                print(json.dumps({"file": name, **to_json(found.song.reading)}, ensure_ascii=False))
            else:
                print(f"{name}: {in_one_line(found.song.reading)}")
    if troubled:
        raise TutorError(
            f"{troubled} of {len(paths)} could not be read", where=folder.name, remedy="The others are in your library"
        )


def _trouble(studio: Studio, found: Shelved) -> str:
    """Why a song of a folder is not told, in one line; empty where it is."""
    if found.song is None:
        return found.trouble
    try:
        commands.corrected(studio, found.song)
    except SidecarError as error:
        return error.line
    return ""


def write_sound(options: argparse.Namespace) -> None:
    """Write a song or some of its bars as sound or MIDI.

    Raises:
        TutorError: there are no such bars, or the file cannot be written.
    """
    from tutor.studio.exports import named, write_passage

    if not -24 <= options.transpose <= 24:
        raise TutorError("two octaves are the limit", where="--transpose", remedy="Give -24 to 24 semitones")
    if not 40 <= options.tempo <= 160:
        raise TutorError("40 to 160 percent is possible", where="--tempo", remedy="Give a figure in between")
    first, _, last = (options.bars or "").partition("-")
    path = named(options.out, ".wav")
    write_passage(
        commands.song(options.song), path, bars=(first.strip(), (last or first).strip()) if first else None,
        semitones=options.transpose, tempo=options.tempo / 100, mute=_LEFT_OUT[options.only],
        sounds=None if path.suffix.lower() == ".mid" else commands.sounds(),
    )  # fmt: skip
    print(f"Written to {path}.")


_LEFT_OUT: dict[str, tuple[Line, ...]] = {"both": (), "voice": ("upper", "lower"), "piano": ("voice",)}


def compare_songs(options: argparse.Namespace) -> None:
    """Print what two melodies share."""
    from tutor.analysis.likeness import compare
    from tutor.analysis.prose import likeness_text

    one, two = commands.song(options.song), commands.song(options.other)
    found = compare(one.table, two.table)
    print(likeness_text(found, one.title, two.title, width=_width()), end="")


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
            mine = correcting.with_analysis(mine, song, path_of(options.analysis))
        for text in options.key:
            mine = correcting.with_key(mine, song, text)
        for text in options.chord:
            mine = correcting.with_chord(mine, song, text)
        for text in options.section:
            mine = correcting.with_section(mine, song, text)
        studio.library.correct(song, mine)
    for line in correcting.told(mine, song.table):
        print(line)


def list_songs(options: argparse.Namespace) -> None:
    """Print the library, a line each."""
    with commands.studio() as studio:
        for card in studio.songs():
            print(f"{card.path:<28} {card.title}" + (f" · {card.blurb}" if card.blurb else ""))
