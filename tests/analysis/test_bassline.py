"""Runs of root position and the smoother bass."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.analysis.invented import chord, table
from tutor.analysis.bassline import (
    HIGH_MIDI,
    LOW_MIDI,
    find_bassline,
    joints_at,
    melody_at,
    parallel,
    smooth_bass,
    smooth_for,
)
from tutor.analysis.columns import members, sung_line
from tutor.analysis.findings import ChordSpan, Quality
from tutor.music.pitch import Pitch

ROOTS = ["C", "D", "E", "F", "G", "A", "Bb", "Eb"]
QUALITIES: list[Quality] = ["major", "minor", "dominant-seventh", "minor-seventh", "diminished"]
SEVENTHS = ("dominant-seventh", "minor-seventh")


def test_share_and_runs() -> None:
    chords = [chord(0, 4, "C"), chord(4, 8, "F"), chord(8, 12, "G"), chord(12, 16, "C", inversion=1)]
    song = table("E4:4 F4:4 D4:4 G4:4")
    found = find_bassline(chords, sung_line(song))
    assert found.root_position_share == 0.75
    assert [(r.start, r.end, r.length) for r in found.runs] == [(0, 12, 3)]
    assert [(s.start, s.end, len(s.bass)) for s in found.smooth] == [(0, 12, 3)]


def test_two_root_position_chords_are_no_run() -> None:
    chords = [chord(0, 4, "C"), chord(4, 8, "C"), chord(8, 12, "G"), chord(12, 16, "C", inversion=1)]
    assert find_bassline(chords, sung_line(table("E4:16"))).runs == ()


def test_a_leaping_bass_becomes_stepwise() -> None:
    chords = [
        chord(0, 4, "C"),
        chord(4, 8, "G"),
        chord(8, 12, "A", "minor"),
        chord(12, 16, "E", "minor"),
        chord(16, 20, "F"),
    ]
    bass = smooth_bass(chords, [None] * 5)
    assert len(bass) == 5
    plain = [12, 7, 9, 4, 5]
    moved = sum(abs(b.midi - a.midi) for a, b in pairwise(bass))
    assert moved < sum(abs(b - a) for a, b in pairwise(plain))
    assert all(abs(b.diatonic - a.diatonic) <= 1 for a, b in pairwise(bass))


def test_a_six_four_passes_between_two_steps() -> None:
    chords = [chord(0, 4, "F"), chord(4, 6, "C"), chord(6, 8, "G"), chord(8, 12, "C")]
    assert [p.step for p in smooth_bass(chords, [None] * 4)] == ["F", "E", "D", "C"]


def test_parallels() -> None:
    c, d = Pitch.parse("C3"), Pitch.parse("D3")
    assert parallel(c, d, Pitch.parse("G4"), Pitch.parse("A4"))
    assert parallel(c, d, Pitch.parse("C5"), Pitch.parse("D5"))
    assert not parallel(c, d, Pitch.parse("E4"), Pitch.parse("F4"))
    assert not parallel(c, c, Pitch.parse("G4"), Pitch.parse("G4"))
    assert not parallel(c, d, None, Pitch.parse("A4"))
    assert parallel(Pitch.parse("B2"), Pitch.parse("Bb2"), Pitch.parse("B4"), Pitch.parse("A#4"))


def test_melody_at_takes_the_note_that_sounds_or_the_first_inside() -> None:
    chords = [chord(0, 4, "C"), chord(4, 8, "F"), chord(8, 12, "G")]
    line = sung_line(table("E4:6 r:3 D4:3"))
    assert [p.name if p else None for p in melody_at(line, chords)] == ["E4", "E4", "D4"]


def test_the_notes_at_a_change_of_chord_make_no_parallels_either() -> None:
    chords = [chord(0, 4, "F"), chord(4, 8, "C"), chord(8, 12, "D", "minor")]
    line = sung_line(table("A4:2 C5:1 B4:1 G4:2 r:2 A4:4"))
    joints = joints_at(line, chords)
    assert [tuple(p.name for p in j) if j else None for j in joints] == [("B4", "G4"), None]
    melody, before, after = melody_at(line, chords), Pitch.parse("F4"), Pitch.parse("E4")
    free, kept = smooth_bass(chords, melody), smooth_bass(chords, melody, [(before, after), None])
    assert parallel(free[0], free[1], before, after)
    assert len(kept) == 3
    assert not parallel(kept[0], kept[1], before, after)


@st.composite
def passages(draw: st.DrawFn) -> tuple[list[ChordSpan], list[Pitch | None]]:
    kinds = draw(st.lists(st.tuples(st.sampled_from(ROOTS), st.sampled_from(QUALITIES)), min_size=2, max_size=8))
    chords = [chord(4.0 * k, 4.0 * k + 4, root, quality) for k, (root, quality) in enumerate(kinds)]
    melody: list[Pitch | None] = []
    for span in chords:
        member = draw(st.sampled_from(members(span.root, span.quality)))
        melody.append(
            draw(st.sampled_from([None, Pitch(member.step, member.alter, 4), Pitch(member.step, member.alter, 5)]))
        )
    return chords, melody


@settings(max_examples=150, deadline=None)
@given(passages())
def test_the_rules_hold_in_any_passage(case: tuple[list[ChordSpan], list[Pitch | None]]) -> None:
    chords, melody = case
    bass = smooth_bass(chords, melody)
    if not bass:
        return
    assert len(bass) == len(chords)
    place = []
    for span, pitch in zip(chords, bass, strict=True):
        inside = list(members(span.root, span.quality))
        assert pitch.pitch_class in inside
        assert LOW_MIDI <= pitch.midi <= HIGH_MIDI
        place.append(inside.index(pitch.pitch_class))
    for k in range(len(bass) - 1):
        assert not parallel(bass[k], bass[k + 1], melody[k], melody[k + 1])
        if place[k] == 3 and chords[k].quality in SEVENTHS:
            assert bass[k].diatonic - bass[k + 1].diatonic in (0, 1)
        if place[k] == 2:
            step_on = bass[k + 1].diatonic - bass[k].diatonic
            stays = bass[k].midi == bass[k + 1].midi
            passing = k > 0 and abs(step_on) == 1 and bass[k].diatonic - bass[k - 1].diatonic == step_on
            assert passing or stays
    assert place[0] in (0, 1)
    assert place[-1] in (0, 1)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(["C", "D", "E", "F", "G", "A"]), min_size=3, max_size=8))
def test_a_bass_is_always_found_without_a_melody(roots: list[str]) -> None:
    chords = [chord(4.0 * k, 4.0 * k + 4, r, "major" if r in "CFG" else "minor") for k, r in enumerate(roots)]
    assert len(smooth_bass(chords, [None] * len(chords))) == len(chords)


def test_a_passage_without_a_run_has_a_smoother_bass_too() -> None:
    inversions = (0, 2, 0, 1)
    chords = [
        chord(4.0 * k, 4.0 * k + 4, r, inversion=n) for k, (r, n) in enumerate(zip("CFGC", inversions, strict=True))
    ]
    line = sung_line(table("E4:4 F4:4 D4:4 C4:4"))
    assert find_bassline(chords, line).smooth == ()
    found = smooth_for(chords, line, 0.0, 16.0)
    assert found is not None
    assert (found.start, found.end, len(found.bass)) == (0.0, 16.0, 4)
    assert smooth_for(chords, line, 1.0, 7.9) is None
