"""Sound and notes to files."""

from __future__ import annotations

import wave
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tutor.errors import PortUnavailable, plain
from tutor.music.phrase import Phrase
from tutor.sound.midi import write_midi
from tutor.sound.ports import Clip
from tutor.sound.synth import SOUNDS, Sounds, render

ALWAYS = (".wav", ".mid")
"""Endings that every installation can write."""
WITH_SOUNDFILE = (".flac", ".ogg")
"""Endings that need the package soundfile."""


_BLOCK = 1 << 16
"""Samples handed to an encoder at once."""


def export(phrases: Sequence[Phrase], path: Path, *, gap_s: float = 0.6, sounds: Sounds = SOUNDS) -> None:
    """Write phrases one after the other: a passage, an exercise or a whole warm-up.

    Args:
        phrases: what to write, in order.
        path: the file; its ending says what it becomes: .wav, .flac, .ogg or .mid.
        gap_s: silence between two phrases, seconds.
        sounds: which timbre plays which line (not for .mid).

    Raises:
        PortUnavailable: nothing to write, an ending that cannot be written here, or a place that cannot be written to.
    """
    kind = path.suffix.lower()
    if kind not in ALWAYS + WITH_SOUNDFILE:
        raise PortUnavailable(
            f"Sound cannot be written as '{kind or path.name}'", remedy="End the name in .wav, .flac, .ogg or .mid"
        )
    if not any(p.tones for p in phrases):
        raise PortUnavailable("There is nothing to write", remedy="Choose a passage with notes")
    if kind == ".mid":
        write_midi(_in_a_row(phrases, gap_s), path)
        return
    parts: list[np.ndarray[tuple[int], np.dtype[np.float32]]] = []
    clip = Clip(np.zeros(0, dtype=np.float32))
    for number, phrase in enumerate(phrases):
        clip = render(phrase, timbre=sounds)
        if number:
            parts.append(np.zeros(round(gap_s * clip.rate), dtype=np.float32))
        parts.append(clip.samples)
    write_clip(Clip(np.concatenate(parts), clip.rate), path)


def write_clip(clip: Clip, path: Path) -> None:
    """Write sound to a .wav, .flac or .ogg file.

    Raises:
        PortUnavailable: soundfile is missing for .flac and .ogg, or the place cannot be written to.
    """
    kind = path.suffix.lower()
    try:
        if kind == ".wav":
            with path.open("wb") as raw, wave.open(raw, "wb") as file:
                file.setnchannels(1)
                file.setsampwidth(2)
                file.setframerate(clip.rate)
                file.writeframes(_sixteen_bits(clip))
            return
        try:
            import soundfile
        except (ImportError, OSError):
            raise PortUnavailable(
                f"Writing {kind} needs the package soundfile",
                remedy="Install it with 'pip install soundfile', or end the name in .wav",
            ) from None
        try:
            with soundfile.SoundFile(str(path), "w", samplerate=clip.rate, channels=1) as file:
                # The Vorbis encoder overruns its stack when it is given minutes of sound in one call.
                for at in range(0, len(clip.samples), _BLOCK):
                    file.write(clip.samples[at : at + _BLOCK])
        except soundfile.LibsndfileError as error:
            raise _unwritable(path, str(error)) from None
    except OSError as error:
        raise _unwritable(path, error.strerror or "") from None


def _sixteen_bits(clip: Clip) -> bytes:
    """Samples as little-endian 16-bit numbers, with triangular dither of one step (the same every time)."""
    dice = np.random.default_rng(0)
    count = len(clip.samples)
    dither = dice.random(count, dtype=np.float32) - dice.random(count, dtype=np.float32)
    dither[clip.samples == 0] = 0.0
    return np.clip(np.round(clip.samples * 32767 + dither), -32768, 32767).astype("<i2").tobytes()


def _in_a_row(phrases: Sequence[Phrase], gap_s: float) -> Phrase:
    row = phrases[0]
    for phrase in phrases[1:]:
        # `after` keeps the first phrase's tempo: lengths are scaled so that each keeps its own
        share = row.bpm / phrase.bpm
        row = _stretched(phrase, share).after(row, gap_quarters=gap_s * row.bpm / 60.0)
    return row


def _stretched(phrase: Phrase, share: float) -> Phrase:
    from dataclasses import replace

    tones = tuple(
        replace(t, onset_quarters=t.onset_quarters * share, duration_quarters=t.duration_quarters * share)
        for t in phrase.tones
    )
    return replace(phrase, tones=tones)


def _unwritable(path: Path, why: str) -> PortUnavailable:
    return PortUnavailable(
        f"The file cannot be written ({plain(why)})" if why else "The file cannot be written",
        where=str(path),
        remedy="Choose another place",
    )
