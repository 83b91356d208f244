"""Two melodies side by side."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.analysis.invented import table
from tests.bench.likeness import families, ranks, siblings
from tutor.analysis.likeness import MEASURE, compare
from tutor.analysis.prose import likeness_text
from tutor.errors import ScoreError
from tutor.music.pitch import Pitch

ONE = "G4:1 E4:1 F4:1 G4:1 C5:2 A4:2 G4:1 F4:1 E4:1 D4:1 E4:3 r:1"
TWO = "C4:1.5 D4:0.5 E4:1 C4:1 F4:1 F4:1 E4:2 D4:1 D4:1 C4:1 B3:1 C4:3 r:1"


def moved(text: str, semitones: int) -> str:
    words = [w.split(":") for w in text.split()]
    return " ".join(
        f"r:{d}" if p == "r" else f"{Pitch.from_midi(Pitch.parse(p).midi + semitones, fifths=0)}:{d}" for p, d in words
    )


def test_a_melody_is_wholly_like_itself_in_any_key() -> None:
    found = compare(table(ONE + " " + TWO), table(moved(ONE + " " + TWO, 4)))
    assert found.similarity == 1.0
    assert found.similarity_any_order == 1.0
    assert found.transposed == 4
    assert found.measure == MEASURE


def test_phrases_in_another_order_are_found_with_their_bars() -> None:
    found = compare(table(f"{ONE} {TWO}"), table(f"{TWO} {ONE}"))
    assert found.similarity_any_order > 0.95
    assert found.similarity < 0.9
    cells = {(t.a_bars, t.b_bars) for t in found.turns if t.kind == "cell"}
    assert (("1", "4"), ("5", "8")) in cells
    assert (("5", "8"), ("1", "4")) in cells
    assert [(p.a_bars[0], p.b_bars[0]) for p in found.phrases] == [("1", "5"), ("5", "1")]


def test_a_contour_with_another_rhythm_is_a_contour_and_not_a_cell() -> None:
    other = "G4:2 E4:0.5 F4:1.5 G4:1 C5:1 A4:3 G4:0.5 F4:1.5 E4:2 D4:1 E4:2"
    found = compare(table(ONE), table(other))
    assert any(t.kind == "contour" and t.notes == 11 for t in found.turns)
    assert all(t.notes < 11 for t in found.turns if t.kind == "cell")


def test_the_same_steps_and_rhythm_in_another_mode_are_told_as_such() -> None:
    minor = ONE.replace("E4", "Eb4").replace("A4", "Ab4")
    found = compare(table(ONE), table(minor))
    (turn,) = [t for t in found.turns if t.kind == "contour"]
    assert (turn.notes, turn.in_rhythm) == (11, True)
    assert "same steps and rhythm, other intervals" in likeness_text(found, "Major", "Minor")


def test_a_turn_does_not_go_on_over_a_long_rest() -> None:
    parted = ONE.replace("C5:2 A4:2", "C5:2 r:4 A4:2")
    assert max(t.notes for t in compare(table(parted), table(parted)).turns) < 8
    assert max(t.notes for t in compare(table(ONE), table(ONE)).turns) == 11


def test_small_changes_cost_little_and_other_tunes_much() -> None:
    near = compare(table(ONE), table(ONE.replace("A4:2", "A4:1 A4:1").replace("D4:1", "D4:1.5"))).similarity
    far = compare(table(ONE), table(TWO)).similarity
    assert 0.85 < near < 1.0
    assert far < near - 0.2


def test_the_text_says_what_the_figure_means_and_names_each_turn_once() -> None:
    same = likeness_text(compare(table(ONE + " " + TWO), table(moved(ONE + " " + TWO, 4))), "One", "Other")
    assert "as alike as variants of one tune" in same
    assert "the first moved up by 4 semitones" in " ".join(same.split())
    assert "other rhythm" not in same.partition("TURNS THEY SHARE")[2], "it is the same rhythm"
    lines = same.splitlines()
    assert len(lines) == len(set(lines))
    assert max(map(len, lines)) <= 80
    apart = likeness_text(compare(table(ONE), table(TWO)), "One", "Two")
    assert "no more alike than chance" in apart
    assert "both as written" in apart or "moved" in apart


def test_a_song_without_a_voice_cannot_be_compared() -> None:
    with pytest.raises(ScoreError, match="no singable line"):
        compare(table(ONE), table(TWO, role="other"))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 1000), st.integers(0, 1000))
def test_likeness_is_between_none_and_all_and_the_same_both_ways(a: int, b: int) -> None:
    def tune(seed: int) -> str:
        dice = random.Random(seed)
        return " ".join(f"{Pitch.from_midi(dice.randrange(60, 73))}:{dice.choice([0.5, 1, 2])}" for _ in range(12))

    one, two = compare(table(tune(a)), table(tune(b))), compare(table(tune(b)), table(tune(a)))
    assert 0.0 <= one.similarity <= 1.0
    assert one.similarity == pytest.approx(two.similarity, abs=1e-3)


FAMILIES = ("Geese in the Bog", "Hull's Victory", "Fife Hunt", "Boyne Hunt", "Durang's")


def test_a_tune_finds_its_sibling_in_another_collection() -> None:
    # Tunes that stand under one title in two old collections; music21 carries both.
    pairs = [(a.table(), b.table()) for a, b in families() if b.title.removeprefix("The ").startswith(FAMILIES)]
    assert len(pairs) >= 5
    rows = [siblings(pairs, k) for k in range(len(pairs))]
    assert ranks([[any_order for _, any_order in row] for row in rows]).tolist() == [1] * len(pairs)
