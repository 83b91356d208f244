"""The command that prints a warm-up, or writes it."""

from __future__ import annotations

import argparse
import json
import math
from dataclasses import replace
from typing import TYPE_CHECKING

from tutor import commands
from tutor.errors import TutorError

if TYPE_CHECKING:
    from tutor.music.voice import SingerProfile

_LEAST_RANGE = 5
"""Semitones between lowest and highest note below which they were surely mistyped; the planner asks for more."""


def print_warmup(options: argparse.Namespace) -> None:
    """Print a warm-up plan, or write it to a file.

    Raises:
        TutorError: an option is out of bounds.
    """
    from tutor.studio import wall_clock
    from tutor.warmup.model import plan_json
    from tutor.warmup.plan import plan
    from tutor.warmup.text import plan_text

    _check(options)
    singer, days = _singer(options)
    song, now = commands.song(options.song), wall_clock()
    given = plan(
        song.table, song.reading, singer, minutes=options.minutes, condition=options.feel,
        until_recording_min=options.recording_in, days_since_singing=days, margin_semitones=options.above,
        transpose=options.transpose, on=now.astimezone().date(),
    )  # fmt: skip
    if options.out:
        from tutor.studio.exports import named, write_plan

        path = named(options.out, "")
        sounds = commands.sounds() if path.suffix.lower() in (".wav", ".flac", ".ogg") else None
        write_plan(given, path, now=now, until_recording_min=options.recording_in, sounds=sounds)
        print(f"Written to {options.out}.")
    elif options.json:
        print(json.dumps(plan_json(given), ensure_ascii=False, indent=1))
    else:
        print(plan_text(given).rstrip())


def _check(options: argparse.Namespace) -> None:
    """Refuse what makes no sense, before a song is read.

    Raises:
        TutorError: an option is out of bounds.
    """
    if not 5 <= options.minutes <= 30:
        raise TutorError("a warm-up takes 5 to 30 minutes", where="--minutes", remedy="Give a figure in between")
    if not -24 <= options.transpose <= 24:
        raise TutorError("two octaves are the limit", where="--transpose", remedy="Give -24 to 24 semitones")
    if not 0 <= options.above <= 2:
        raise TutorError("a tone above the comfortable top is the limit", where="--above", remedy="Give 0, 1 or 2")
    if options.last_sang is not None and not 0 <= options.last_sang <= 36_500:
        raise TutorError("that is no number of days", where="--last-sang", remedy="Give 0 or more days")
    soon = options.recording_in
    if soon is not None and (not math.isfinite(soon) or not 0 <= soon <= 7 * 24 * 60):
        raise TutorError("a recording lies within the week", where="--recording-in", remedy="Give the minutes until it")


def _singer(options: argparse.Namespace) -> tuple[SingerProfile, int]:
    """Whose voice, and the days since the last singing."""
    from tutor.music.voice import SingerProfile
    from tutor.studio import diary

    with commands.studio() as studio:
        singer, kept = studio.singer, diary.days_since(studio)
    days = options.last_sang if options.last_sang is not None else 0 if options.voice else kept or 0
    if options.voice:
        usual = SingerProfile.default(singer.name, options.voice)
        mine = options.voice == singer.voice
        singer = replace(usual, strained_at=singer.strained_at, strained_on=singer.strained_on) if mine else usual
    low = _pitch(options.low, "--low", singer.low_midi)
    high = _pitch(options.high, "--high", singer.high_midi)
    if low + _LEAST_RANGE > high:
        raise TutorError("the lowest note lies too close to the highest", remedy="Check --low and --high")
    one, two = options.passaggi or (None, None)
    first = _pitch(one, "--passaggi", singer.first_transition)
    second = _pitch(two, "--passaggi", singer.second_transition)
    if first >= second or (options.passaggi and not (low < first and second < high + 12)):
        raise TutorError(
            "the register changes lie within the range, the lower one first", where="--passaggi",
            remedy="Write them like D4 G4",
        )  # fmt: skip
    made = replace(singer, low_midi=low, high_midi=high, first_transition=first, second_transition=second)
    return made, days


def _pitch(text: str | None, where: str, usual: int) -> int:
    from tutor.music.pitch import Pitch

    if not text:
        return usual
    try:
        return Pitch.parse(text).midi
    except ValueError as error:
        raise TutorError(str(error), where=where, remedy="Write a pitch like G4 or Bb3") from None
