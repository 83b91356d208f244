"""Fresh material obeys the rules of its style; the rules are counted here anew, from MIDI numbers and letters."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from drills._draw import MAJOR, MINOR, Draw, cue
from drills._foreign import APPLIED, LENT
from drills._melody import melody, rhythm
from drills._modal import bent_scale, line
from drills._tune import AWAY, CLOSED, OPEN, piece
from drills._voicing import ALTO, BASS, SOPRANO, TENOR, lead
from tutor.music.pitch import Pitch
from tutor.music.progression import figures, harmonies
from tutor.music.scale import MODES, Key
from tutor.practice.drill import Material

KEYS = [Key.parse(f"{t} major") for t in MAJOR] + [Key.parse(f"{t} minor") for t in MINOR]
MAJOR_SIZES = {0: 0, 1: 2, 2: 4, 3: 5, 4: 7, 5: 9, 6: 11, 7: 12}


def progressions() -> list[tuple[Key, tuple[str, ...]]]:
    rng = random.Random(11)
    out = []
    for _ in range(260):
        key = rng.choice(KEYS)
        out.append((key, figures(rng, key.mode, rng.randint(4, 8), rich=rng.random() < 0.7)))
    for names in [f for table in (LENT, APPLIED) for group in table.values() for f in group]:
        out.append((rng.choice(KEYS[:8]), names))
    for table in (OPEN, CLOSED, AWAY):
        for mode, plans in table.items():
            out += [(rng.choice([k for k in KEYS if k.mode == mode]), p) for p in plans]
    return out


ALL = [(k, n, lead(harmonies(n, k), random.Random(i))) for i, (k, n) in enumerate(progressions())]


def test_a_way_is_found_nearly_always() -> None:
    assert sum(v is None for _, _, v in ALL) <= len(ALL) * 0.01


def test_ranges_spacing_and_order() -> None:
    for _, _, voicings in ALL:
        for voicing in voicings or ():
            midis = [p.midi for p in voicing]
            for midi, (low, high) in zip(midis, (BASS, TENOR, ALTO, SOPRANO), strict=True):
                assert low <= midi <= high
            assert midis == sorted(set(midis))
            assert midis[3] - midis[2] <= 12
            assert midis[2] - midis[1] <= 12


def test_no_parallel_fifths_or_octaves() -> None:
    for key, names, voicings in ALL:
        for a, b in pairwise(voicings or ()):
            for i in range(4):
                for j in range(i + 1, 4):
                    before, after = (a[j].midi - a[i].midi) % 12, (b[j].midi - b[i].midi) % 12
                    moved = a[i].midi != b[i].midi and a[j].midi != b[j].midi
                    assert not (moved and before == after and after in (0, 7)), (key.name, names)


def test_leading_tones_rise_and_sevenths_fall() -> None:
    for key, names, voicings in ALL:
        chords = harmonies(names, key)
        for (h, a), (h2, b) in pairwise(list(zip(chords, voicings or (), strict=False))):
            for x, y in zip(a, b, strict=True):
                goes_home = h.target in h2.chord.tones and h.leading not in h2.chord.tones
                if x.pitch_class == h.leading and goes_home:
                    assert y.midi - x.midi == 1, (key.name, names)
                if h.chord.is_seventh and x.pitch_class == h.chord.tones[3]:
                    held = y.midi == x.midi
                    falls = y.diatonic - x.diatonic == -1 and 1 <= x.midi - y.midi <= 2
                    assert held or falls, (key.name, names)


def test_no_doubled_leading_tone_or_seventh() -> None:
    for key, names, voicings in ALL:
        for h, voicing in zip(harmonies(names, key), voicings or (), strict=False):
            tones = [p.pitch_class for p in voicing]
            if h.leading is not None:
                assert tones.count(h.leading) == 1, (key.name, names)
            if h.chord.is_seventh:
                assert tones.count(h.chord.tones[3]) == 1
            assert voicing[0].pitch_class == h.chord.bass
            assert set(tones) <= set(h.chord.tones)
            assert h.chord.tones[1] in tones


def test_no_voice_makes_an_augmented_step_or_leaps_a_seventh() -> None:
    for key, names, voicings in ALL:
        for a, b in pairwise(voicings or ()):
            for x, y in zip(a, b, strict=True):
                size, letters = abs(y.midi - x.midi), abs(y.diatonic - x.diatonic)
                assert size not in (10, 11)
                assert letters == 0 or size <= MAJOR_SIZES[min(letters, 7)], (key.name, names, x, y)


def test_a_progression_begins_and_ends_at_home() -> None:
    for seed in range(300):
        rng = random.Random(seed)
        mode = rng.choice(("major", "minor"))
        names = figures(rng, mode, rng.randint(4, 8), rich=seed % 2 == 0)
        home = "I" if mode == "major" else "i"
        assert names[0] == names[-1] == home
        assert names[-2] in ("V", "V7")
        assert all(a != b for a, b in pairwise(names))


def tunes() -> list[tuple[Key, tuple[Pitch, ...], list[tuple[float, float]], list[set[int]]]]:
    """Melodies: key, pitches, (onset, length), and the pitch classes of the chord of each bar."""
    out = []
    for seed in range(400):
        rng = random.Random(seed)
        draw = Draw("x", Material(), rng, (seed % 11) / 10)
        key = draw.key()
        made = piece(draw, key, rng.choice(("open", "closed", "away")))
        if made is None:
            continue
        pitches = tuple(t.pitch for t in made.tones)
        times = [(t.onset_quarters, t.duration_quarters) for t in made.tones]
        out.append((key, pitches, times, [{t.chroma for t in h.chord.tones} for h in made.chords]))
    return out


TUNES = tunes()


def test_melodies_are_found() -> None:
    assert len(TUNES) >= 390


def test_melodies_are_singable() -> None:
    for key, pitches, _, _ in TUNES:
        midis = [p.midi for p in pitches]
        assert max(midis) - min(midis) <= 16
        for a, b in pairwise(pitches):
            size, letters = abs(a.midi - b.midi), abs(a.diatonic - b.diatonic)
            assert size <= 12
            assert size not in (6, 10, 11), key.name
            assert letters > 0 or size == 0
            assert not (letters == 1 and size == 3), "an augmented second"


def test_wide_leaps_turn_back() -> None:
    for _, pitches, _, _ in TUNES:
        for a, b, c in zip(pitches, pitches[1:], pitches[2:], strict=False):
            leap, after = b.diatonic - a.diatonic, c.diatonic - b.diatonic
            if abs(leap) >= 3:
                assert after == 0 or (abs(after) == 1 and (after > 0) != (leap > 0))


def test_strong_places_hold_chord_tones_and_others_come_and_go_by_step() -> None:
    for _, pitches, times, chords in TUNES:
        inside = [p.midi % 12 in chords[int(o // 4)] for p, (o, _) in zip(pitches, times, strict=True)]
        for i, (member, (onset, length)) in enumerate(zip(inside, times, strict=True)):
            if onset % 4 == 0 or onset % 4 == 2 or length >= 1.5:
                assert member
            if not member:
                assert 0 < i < len(pitches) - 1
                assert abs(pitches[i].diatonic - pitches[i - 1].diatonic) == 1
                assert abs(pitches[i + 1].diatonic - pitches[i].diatonic) == 1


def test_melodies_do_not_rock_and_close_gently() -> None:
    for _, pitches, _, _ in TUNES:
        for a, b, c, d in zip(pitches, pitches[1:], pitches[2:], pitches[3:], strict=False):
            assert not (a == c and b == d and a != b)
        assert abs(pitches[-1].diatonic - pitches[-2].diatonic) <= 2


def test_bars_are_full() -> None:
    for beats in (3, 4):
        for seed in range(100):
            bars = rhythm(random.Random(seed), 4, seed / 100, beats)
            assert all(sum(b) == beats for b in bars)


@pytest.mark.parametrize("limits", [(55, 72), (48, 62), (62, 81)])
def test_melodies_stay_in_the_singers_range(limits: tuple[int, int]) -> None:
    low, high = limits
    for seed in range(120):
        rng = random.Random(seed)
        key = rng.choice(KEYS)
        tonic, dominant = ("I", "V") if key.mode == "major" else ("i", "V")
        tones = melody(rng, key, harmonies((tonic, dominant, tonic), key), rhythm(rng, 3, 0.5), low=low, high=high,
                       level=0.7)  # fmt: skip
        assert tones is None or all(low <= t.midi <= high for t in tones)


def test_modal_lines_hold_their_scale_and_end_at_home() -> None:
    found = 0
    for seed in range(300):
        rng = random.Random(seed)
        key = Key.parse(f"{rng.choice(MAJOR[:8])} major")
        name = rng.choice([m for m in MODES if m != "locrian"])
        pitches = line(rng, key, MODES[name], 12, MODES[name], low=57, high=79)
        if pitches is None:
            continue
        found += 1
        assert {key.degree_of(p.pitch_class) for p in pitches} == set(MODES[name])
        assert pitches[-1].pitch_class == key.tonic
        assert all(abs(a.midi - b.midi) <= 4 and a.midi != b.midi for a, b in pairwise(pitches))
    assert found >= 280


def test_bent_degrees_go_their_own_way() -> None:
    for seed in range(200):
        rng = random.Random(seed)
        key = Key.parse(f"{rng.choice(MAJOR[:8])} major")
        degree = rng.choice(("b7", "#4", "b3", "b6", "b2"))
        pitches = line(rng, key, bent_scale(degree), 9, (degree,), low=57, high=79)
        for a, b in pairwise(pitches or ()):
            if key.degree_of(a.pitch_class) == degree:
                move = b.diatonic - a.diatonic
                if abs(move) == 1:
                    assert (move > 0) == degree.startswith("#")


def test_the_key_is_set_by_a_close() -> None:
    for key in KEYS:
        for number in range(8):
            phrase = cue(key, number)
            last = max(t.onset_quarters for t in phrase.tones)
            assert {t.midi % 12 for t in phrase.tones if t.onset_quarters == last} <= {
                key.pitch_class(d).chroma for d in ("1", "3" if key.mode == "major" else "b3", "5")
            }
            assert phrase.fifths == key.fifths


def test_thousands_of_progressions() -> None:
    rng = random.Random(1)
    seen = set()
    for _ in range(4000):
        key = rng.choice(KEYS)
        names = figures(rng, key.mode, rng.randint(4, 7), rich=True)
        seen.add((key.name, names))
    assert len(seen) > 1500
