"""Rendered sound: in tune, without clicks, within limits, quick."""

from __future__ import annotations

import subprocess
import sys
import time
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch
from tutor.sound import piano
from tutor.sound.ports import RATE, Samples
from tutor.sound.synth import ALL_PIANO, CEILING, CLICK, PIANO, SINGER, Timbre, length, render


def cents_off(note: Samples, midi: int) -> float:
    """The first partial against the tempered pitch, from the middle two seconds."""
    wanted = 440 * 2 ** ((midi - 69) / 12)
    part = note[RATE // 10 : RATE // 10 + 2 * RATE]
    size = 1 << 20
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), size))
    low, high = (int(wanted * 2 ** (c / 1200) * size / RATE) for c in (-45, 45))
    k = low + int(spectrum[low:high].argmax())
    a, b, c = np.log(spectrum[k - 1 : k + 2])
    return float(1200 * np.log2((k + 0.5 * (a - c) / (a - 2 * b + c)) * RATE / size / wanted))


@pytest.mark.parametrize("timbre", [PIANO, SINGER], ids=["piano", "voice"])
@pytest.mark.parametrize("midi", range(28, 104, 5))
def test_every_note_is_in_tune_within_half_a_cent(timbre: Timbre, midi: int) -> None:
    assert abs(cents_off(timbre.note(midi, 3.0, 0.7), midi)) < 0.5


@pytest.mark.parametrize("timbre", [PIANO, SINGER, CLICK], ids=["piano", "voice", "click"])
@pytest.mark.parametrize("midi", [21, 40, 60, 84, 108])
@pytest.mark.parametrize("held_s", [0.02, 0.3, 2.0])
def test_a_note_begins_and_ends_without_a_click(timbre: Timbre, midi: int, held_s: float) -> None:
    note = timbre.note(midi, held_s, 1.0)
    top = float(np.max(np.abs(note)))
    assert np.max(np.abs(note[:3])) < 0.04 * top
    assert np.max(np.abs(note[-8:])) < 0.002 * top
    if midi <= 60:
        # no jump anywhere is steeper than the partials themselves make it
        assert np.max(np.abs(np.diff(np.concatenate(([0.0], note, [0.0]))))) < 0.5 * top


@pytest.mark.parametrize("sung", ["C4:2", "A4:2", "E5:2"])
def test_a_sung_note_is_as_loud_as_a_triad_of_the_piano(sung: str) -> None:
    voice = render(Phrase.parse(sung, bpm=60, line="voice")).samples
    for chord in ("C3+G3+E4:2", "G3+C4+E4:2", "E3+G3+C4:2"):
        piano = render(Phrase.parse(chord, bpm=60, line="upper")).samples
        assert abs(20 * np.log10(np.std(voice) / np.std(piano))) < 2.0


def test_the_damper_falls_without_a_click() -> None:
    note = PIANO.note(48, 1.0, 0.8)
    around = note[RATE - 2000 : RATE + 2000]
    steps = np.abs(np.diff(around))
    assert steps[1990:2010].max() <= 1.5 * steps[:1500].max()


def test_the_piano_decays_in_two_stages() -> None:
    note = PIANO.note(60, 6.0, 0.7)
    level = [
        20 * np.log10(float(np.std(note[round(t * RATE) : round((t + 0.2) * RATE)]))) for t in (0.1, 0.6, 3.0, 4.0)
    ]
    early, late = (level[0] - level[1]) / 0.5, level[2] - level[3]
    assert early > 1.5 * late > 0


def test_the_bass_of_a_chord_stands_out_enough_to_be_named() -> None:
    for names in ("C3+E4+G4+C5", "E3+C4+G4+C5", "G2+C4+E4+C5"):
        clip = render(Phrase.parse(f"{names}:2", bpm=60, line="lower"))
        bass = Pitch.parse(names.split("+")[0]).hz
        part = clip.samples[4800 : 4800 + RATE]
        spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)))) ** 2
        at = round(bass * len(part) / RATE)
        assert spectrum[at - 3 : at + 4].sum() > 0.03 * spectrum.sum()


def test_louder_is_brighter_and_not_only_louder() -> None:
    def centre(note: Samples) -> float:
        spectrum = np.abs(np.fft.rfft(note[2400:26400] * np.hanning(24000))) ** 2
        return float((np.arange(len(spectrum)) * spectrum).sum() / spectrum.sum())

    soft, middle, loud = (PIANO.note(55, 1.0, v) for v in (0.1, 0.5, 0.95))
    assert centre(soft) < centre(middle) < centre(loud)
    assert np.std(soft) < np.std(middle) < np.std(loud)


def test_neighbouring_keys_are_about_equally_loud() -> None:
    loud = [20 * np.log10(float(np.std(PIANO.note(m, 1.0, 0.7)[:24000]))) for m in range(30, 97)]
    assert max(abs(a - b) for a, b in pairwise(loud)) < 1.5


@given(
    st.lists(st.tuples(st.integers(24, 100), st.floats(0, 2), st.floats(0.05, 3), st.floats(0, 1)), max_size=14),
    st.sampled_from(["upper", "voice", "click"]),
)
@settings(max_examples=15, deadline=None)
def test_nothing_passes_the_ceiling(notes: list[tuple[int, float, float, float]], line: str) -> None:
    tones = tuple(Tone(at, long, Pitch.from_midi(midi), line, v) for midi, at, long, v in notes)  # type: ignore[arg-type]
    phrase = Phrase(tones, bpm=120)
    clip = render(phrase)
    assert len(clip.samples) == length(phrase)
    assert clip.samples.dtype == np.float32
    assert not len(clip.samples) or float(np.max(np.abs(clip.samples))) <= CEILING + 1e-6
    assert np.isfinite(clip.samples).all()


def test_ten_loud_notes_are_turned_down_and_not_cut_off() -> None:
    phrase = Phrase.parse("C2+G2+C3+E3+G3+C4+E4+G4+C5+E5:3", bpm=60, line="upper")
    loud = replace(phrase, tones=tuple(replace(t, velocity=1.0) for t in phrase.tones))
    samples = render(loud).samples
    assert float(np.max(np.abs(samples))) <= CEILING
    flat = np.mean(np.abs(samples) > 0.999 * CEILING)
    assert flat < 0.0005, "samples would sit at the ceiling if it were cut off"


def test_a_usual_chord_needs_no_limiting() -> None:
    samples = render(Phrase.parse("C3+G3+E4+C5:2", bpm=60, line="upper")).samples
    assert 0.1 < float(np.max(np.abs(samples))) < 0.5 * CEILING + 0.1


def test_muting_leaves_the_length() -> None:
    both = Phrase((*Phrase.parse("C4:1 D4:1").tones, *Phrase.parse("C3:4", line="lower").tones), bpm=60)
    assert len(render(both, mute={"lower"}).samples) == len(render(both).samples)
    assert np.array_equal(render(both, mute={"lower", "voice"}).samples, np.zeros(length(both), dtype=np.float32))


def test_the_voice_can_be_given_to_the_piano() -> None:
    phrase = Phrase.parse("A4:1", bpm=60)
    assert not np.array_equal(render(phrase).samples, render(phrase, timbre=ALL_PIANO).samples)
    assert np.array_equal(
        render(phrase, timbre=ALL_PIANO).samples, render(Phrase.parse("A4:1", bpm=60, line="upper")).samples
    )


def test_rendering_is_repeatable_and_leaves_the_kept_strings_alone() -> None:
    phrase = Phrase.parse("C4+E4:0.5 G4:1", line="upper")
    first = render(phrase).samples.copy()
    render(replace(phrase, bpm=200))
    assert np.array_equal(render(phrase).samples, first)
    with pytest.raises(ValueError, match="read-only"):
        piano.struck(60, 5, 0.75, RATE)[0] = 1.0


def test_gain_turns_down() -> None:
    phrase = Phrase.parse("C4:1", line="upper")
    assert np.allclose(render(phrase, gain=0.5).samples, 0.5 * render(phrase).samples, atol=1e-6)


def test_an_empty_phrase_is_silence() -> None:
    assert render(Phrase(())).length_s == 0.0


def test_a_chord_is_made_in_moments() -> None:
    phrase = Phrase.parse("C3+G3+E4+C5:4", bpm=60, line="upper")
    took = []
    for _ in range(3):
        piano.struck.cache_clear()
        start = time.process_time()
        render(phrase)
        took.append(time.process_time() - start)
    assert min(took) < 0.25
    start = time.process_time()
    render(phrase)
    assert time.process_time() - start < 0.05


def test_importing_the_room_loads_no_device_library() -> None:
    code = (
        "import sys, pkgutil, importlib, tutor.sound as room\n"
        "for m in pkgutil.iter_modules(room.__path__): importlib.import_module('tutor.sound.' + m.name)\n"
        "bad = {'sounddevice', 'miniaudio', 'rtmidi', 'mido', 'scipy', 'soundfile', 'textual', 'music21'}\n"
        "print(sorted(bad & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
