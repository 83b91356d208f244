"""Sections, letters, primes and names."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.analysis.invented import table
from tutor.analysis.columns import below, sung_line
from tutor.analysis.echoes import find_echoes
from tutor.analysis.findings import Form, Section
from tutor.analysis.form import (
    correct_form,
    find_form,
    posterior,
    split_strains,
)
from tutor.analysis.formfeatures import SECTION_COLUMNS, section_features, section_scores
from tutor.analysis.formnames import name_form
from tutor.analysis.grid import bar_grid
from tutor.analysis.grouping import join_groups
from tutor.analysis.layouts import agreement, best_layout, consensus, forward_backward, likely_layouts, same_letter
from tutor.analysis.phrases import find_phrases
from tutor.music.pitch import Pitch
from tutor.music.table import NoteRow, NoteTable

ROOTS = {"C": "C3+E3+G3", "F": "F2+A2+C3", "G": "G2+B2+D3", "Am": "A2+C3+E3", "Dm": "D3+F3+A3", "E": "E3+G#3+B3"}


def strain(seed: int, bars: int = 8, *, shift: int = 0) -> tuple[str, str]:
    """A tune of its own of some bars with chords, ending on a long note and a rest; (voice, accompaniment)."""
    dice = random.Random(seed)
    scale = [60, 62, 64, 65, 67, 69, 71, 72]
    rhythms: list[list[float]] = [[1, 1, 1, 1], [2, 1, 1], [1.5, 0.5, 2], [1, 1, 2], [0.5, 0.5, 1, 1, 1]]
    voice, under = [], []
    at = dice.randrange(8)
    for bar in range(bars):
        rhythm: list[float] = [2.0, -2.0] if bar % 4 == 3 else dice.choice(rhythms)
        for length in rhythm:
            at = max(0, min(7, at + dice.choice([-2, -1, -1, 0, 1, 1, 2])))
            name = Pitch.from_midi(scale[at] + shift).name
            voice.append(f"{name}:{length:g}" if length > 0 else f"r:{-length:g}")
        chord = ROOTS[dice.choice(list(ROOTS))]
        parts = [Pitch.parse(p).midi + shift for p in chord.split("+")]
        under.append("+".join(Pitch.from_midi(m).name for m in parts) + ":4")
    return " ".join(voice), " ".join(under)


def song(plan: str, *, shifts: dict[int, int] | None = None) -> NoteTable:
    """A song from letters, each a strain of eight bars; '-' is four bars without voice."""
    voice, under = [], []
    for k, letter in enumerate(plan):
        if letter == "-":
            voice.append("r:16")
            under.append("C3+E3+G3:4 G2+B2+D3:4 C3+E3+G3:4 G2+B2+D3:4")
            continue
        v, u = strain(ord(letter), shift=(shifts or {}).get(k, 0))
        voice.append(v)
        under.append(u)
    return table(" ".join(voice), " ".join(under))


def form_of(one: NoteTable) -> Form:
    line = sung_line(one)
    return find_form(one, line, below(one), find_phrases(one, line))


def letters_by_strain(form: Form, plan: str) -> str:
    """The letter most of each planned strain has got."""
    out, at = "", 0.0
    for letter in plan:
        length = 16.0 if letter == "-" else 32.0
        share: dict[str, float] = {}
        for s in form.sections:
            overlap = min(s.end, at + length) - max(s.start, at)
            if overlap > 0:
                share[s.label] = share.get(s.label, 0.0) + overlap
        out += max(share, key=lambda k: share[k])
        at += length
    return out


@pytest.mark.parametrize("plan", ["AABA", "ABAC", "ABA", "ABCABC", "ABACA"])
def test_planned_songs_get_their_letters(plan: str) -> None:
    found = letters_by_strain(form_of(song(plan)), plan)
    assert [found[i] == found[j] for i in range(len(plan)) for j in range(i)] == [
        plan[i] == plan[j] for i in range(len(plan)) for j in range(i)
    ]


def test_words_do_not_hide_the_letters() -> None:
    one, dice = song("AABA"), random.Random(3)
    spoken = ["lan-", "tern", "down", "the", "har-", "bour", "stair", "and", "who", "will", "row", "us", "there", "now"]
    rows = [
        replace(n, syllable=dice.choice(spoken).rstrip("-"), syllabic="single") if n.part == 0 else n for n in one.notes
    ]
    assert letters_by_strain(form_of(replace(one, notes=tuple(rows))), "AABA") == "AABA"


def test_strains_of_four_bars_are_found_in_a_short_song() -> None:
    (va, ua), (vb, ub) = strain(65, 4), strain(66, 4)
    found = form_of(table(" ".join([va, va, vb, va]), " ".join([ua, ua, ub, ua])))
    assert "".join(s.label for s in found.sections) == "AABA"
    assert found.name == "AABA"


@pytest.mark.parametrize("said", ["", "well."])
def test_scores_are_what_is_measured_times_the_weights(said: str) -> None:
    one, weights = song("-ABA"), np.random.default_rng(4).normal(size=len(SECTION_COLUMNS))
    rows = tuple(replace(n, syllable=said if n.part == 0 else "") for n in one.notes)
    line = sung_line(replace(one, notes=rows))
    echoes = find_echoes(one, bar_grid(one, line, below(one)), line, find_phrases(one, line))
    values, fit = section_features(echoes)
    score = section_scores(echoes, weights)
    assert bool(values[:, :, -8:].any()) == (said != "")
    assert ((score > -np.inf) == (fit > 0)).all()
    assert np.allclose(score[fit > 0], (values @ weights)[fit > 0], rtol=0, atol=1e-9)


def test_a_section_that_is_one_strain_twice_is_divided() -> None:
    one = song("AABA")
    line = sung_line(one)
    echoes = find_echoes(one, bar_grid(one, line, below(one)), line, ())
    assert split_strains(echoes, [0, 16]) == [0, 8, 16, 24]
    assert split_strains(echoes, [0, 8, 24]) == [0, 8, 16, 24]
    assert split_strains(echoes, [0, 8, 16, 24]) == [0, 8, 16, 24]


def test_introduction_interlude_and_coda_are_told_apart() -> None:
    found = form_of(song("-AA-BA-"))
    lower = [(s.label, s.start, s.end) for s in found.sections if s.label.islower()]
    assert lower == [("i", 0.0, 16.0), ("b", 80.0, 96.0), ("o", 160.0, 176.0)]


def test_an_introduction_that_comes_back_is_told_by_its_place() -> None:
    plain = song("-AA-BA-")
    voice = plain.voice_part
    last = {n.measure: k for k, n in enumerate(plain.notes) if n.part == voice}

    def worded(k: int, n: NoteRow) -> NoteRow:
        ends = n.measure % 4 == 3 and last.get(n.measure) == k
        return replace(n, syllable="light." if ends else "la", syllabic="single") if n.part == voice else n

    notes = tuple(worded(k, n) for k, n in enumerate(plain.notes))
    found = form_of(replace(plain, notes=notes))
    lower = [(s.label, s.start, s.end) for s in found.sections if s.label.islower()]
    assert lower == [("i", 0.0, 16.0), ("i", 80.0, 96.0), ("i", 160.0, 176.0)]
    roles = {s.told: s.role for s in found.sections if s.label.islower()}
    assert roles == {
        "introduction": "introduction",
        "interlude (the introduction again)": "interlude",
        "coda (the introduction again)": "coda",
    }


def test_a_corrected_section_gives_its_neighbours_another_role() -> None:
    one = song("-AA-BA-")
    last = Section("B", 0, 160.0, 176.0, ("41", "44"), 1.0, corrected=True)
    again = Section("i", 0, 80.0, 96.0, ("21", "24"), 1.0, corrected=True)
    found = correct_form(one, sung_line(one), form_of(one), [again, last])
    assert [(s.label, s.role) for s in found.sections if s.start in (0.0, 80.0, 160.0)] == [
        ("i", "introduction"), ("i", "interlude"), ("B", ""),
    ]  # fmt: skip


def test_a_last_word_over_the_bar_line_stays_with_its_section() -> None:
    strains = [strain(ord(letter)) for letter in "AB"]
    bare = " ".join(f"{v.removesuffix(' r:2')} E4:2 C4:2 r:14" for v, _ in strains)
    words = " ".join(w if w[0] == "r" else f"{w}=la" for w in bare.split()).replace("=la r", "=light. r")
    under = " ".join(f"{u} C3+E3+G3:4 G2+B2+D3:4 C3+E3+G3:4 G2+B2+D3:4" for _, u in strains)
    found = form_of(table(words, under)).sections
    assert [(s.start, s.bars) for s in found] == [
        (0.0, ("1", "9")), (34.0, ("9", "12")), (48.0, ("13", "21")), (82.0, ("21", "24")),
    ]  # fmt: skip
    assert [s.start for s in form_of(table(bare, under)).sections] == [0.0, 32.0, 48.0, 80.0]


def test_a_bar_before_the_voice_is_no_part_of_a_sung_section_with_words() -> None:
    voice, under = strain(ord("A"))
    words = " ".join(w if w[0] == "r" else f"{w}=la" for w in voice.split())
    found = form_of(table(f"r:4 {words} {words}", f"C3+E3+G3:4 {under} {under}")).sections
    assert (found[0].label, found[0].start, found[0].end) == ("i", 0.0, 4.0)
    assert all(s.label.isupper() for s in found[1:])


def test_a_last_note_held_alone_makes_no_sung_section() -> None:
    voice, under = strain(ord("A"))
    held = voice.removesuffix(" r:2").removesuffix(":2")
    found = form_of(table(f"{voice} {held}:34", f"{under} {under} {strain(ord('B'))[1]}")).sections
    assert [(s.label, s.start) for s in found] == [("A", 0.0), ("A", 32.0), ("o", 64.0)]


def test_sections_tile_the_song() -> None:
    one = song("-AAB-A")
    found = form_of(one).sections
    assert found[0].start == 0.0
    assert found[-1].end == one.length_quarters
    assert all(a.end == b.start for a, b in pairwise(found))


def test_a_return_in_another_key_keeps_its_letter_and_gets_a_prime() -> None:
    plan = "ABA"
    found = form_of(song(plan, shifts={2: 2}))
    assert letters_by_strain(found, plan) == "ABA"
    last = [s for s in found.sections if s.label == "A"][-1]
    assert last.variant > 0


def test_exact_returns_have_no_prime() -> None:
    assert {s.variant for s in form_of(song("ABAB")).sections} == {0}


def test_the_same_song_gives_the_same_form() -> None:
    assert form_of(song("AABA")) == form_of(song("AABA"))


def sections(letters: str) -> list[Section]:
    return [Section(c, 0, 32.0 * k, 32.0 * k + 32, ("1", "8"), 1.0) for k, c in enumerate(letters)]


@pytest.mark.parametrize(
    ("letters", "name"),
    [
        ("AABA", ("AABA", "")),
        ("iAABAo", ("AABA", "")),
        ("AABABA", ("AABA", "BA")),
        ("ABAC", ("ABAC", "")),
        ("ABA", ("ternary", "")),
        ("AB", ("binary", "")),
        ("AABB", ("binary", "")),
        ("ABACA", ("rondo", "")),
        ("ABACABA", ("rondo", "")),
        ("ABCDE", ("through-composed", "")),
        ("ABBCB", ("verse and refrain", "AABA")),
        ("AAA", ("strophic", "")),
        ("A", ("one section", "")),
        ("i", ("instrumental", "")),
        ("ABAB", ("verse and chorus", "")),
        ("ABABCB", ("verse and chorus", "")),
        ("ABCAD", ("ABCAD", "")),
    ],
)
def test_names(letters: str, name: tuple[str, str]) -> None:
    one = table("C4:4 " * 60)
    assert name_form(one, sung_line(one), sections(letters)) == name


def test_repeat_signs_and_verses_make_a_strophic_song() -> None:
    repeated = table("C4:4 " * 8, order=[(0, 32, 1), (0, 32, 2)])
    assert name_form(repeated, sung_line(repeated), sections("A")) == ("strophic", "")
    plain = table("C4:4=la " * 8)
    verses = replace(plain, notes=tuple(replace(n, verses=("lo",)) for n in plain.notes))
    assert name_form(verses, sung_line(verses), sections("A")) == ("strophic", "")


def test_two_sections_repeated_as_one_are_a_strophe_and_each_repeated_alone_are_binary() -> None:
    def named(*order: tuple[float, float, int]) -> str:
        one = table("C4:4=la " * 16, order=order)
        return name_form(one, sung_line(one), sections("AB"))[0]

    assert named((0, 64, 1), (0, 64, 2)) == "strophic"
    assert named((0, 32, 1), (0, 32, 2), (32, 64, 1), (32, 64, 2)) == "binary"
    assert named((0, 64, 1), (0, 32, 2)) == "binary"


def test_a_repeated_strophe_whose_end_has_one_text_is_verse_and_chorus() -> None:
    one = table("C4:4=la " * 16, order=[(0, 64, 1), (0, 64, 2)])
    notes = tuple(replace(n, verses=("lo",)) if n.onset_quarters < 32 else n for n in one.notes)
    two = replace(one, notes=notes)
    assert name_form(two, sung_line(two), sections("AB")) == ("verse and chorus", "")


def test_words_tell_a_chorus_from_a_verse_and_a_refrain_from_a_strophe() -> None:
    def words(text: str) -> str:
        return " ".join(f"C4:4={w}" for w in text.split())

    chorus = "o ring the bell o ring it"
    one = table(f"{words('we went by ways of night and stone')} {words(chorus + ' well')} "
                f"{words('they came with bread and salt at noon')} {words(chorus + ' well')}")  # fmt: skip
    assert name_form(one, sung_line(one), sections("ABAB")) == ("verse and chorus", "")
    two = table(f"{words('a b c d still the tide turns')} {words('e f g h still the tide turns')}")
    assert name_form(two, sung_line(two), sections("AA")) == ("verse and refrain", "")


def test_the_users_sections_are_laid_over_and_marked() -> None:
    one = song("AABA")
    found = form_of(one)
    mine = Section("C", 0, 64.0, 96.0, ("17", "24"), 1.0)
    corrected = correct_form(one, sung_line(one), found, [mine])
    inside = [s for s in corrected.sections if 64.0 <= s.start < 96.0]
    assert [(s.label, s.corrected) for s in inside] == [("C", True)]
    assert all(a.end == b.start for a, b in pairwise(corrected.sections))
    assert correct_form(one, sung_line(one), found, []) is found


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 12), st.integers(0, 10_000))
def test_the_best_layout_beats_every_other(n: int, seed: int) -> None:
    dice = np.random.default_rng(seed)
    score = np.full((n, 24), -np.inf)
    for s in range(n):
        score[s, : n - s] = dice.normal(size=min(24, n - s))
    cuts = best_layout(score)

    def total(path: list[int]) -> float:
        return float(sum(score[s, e - s - 1] for s, e in zip(path, [*path[1:], n], strict=True)))

    others = [[0, *[k for k in range(1, n) if mask >> (k - 1) & 1]] for mask in range(2 ** (n - 1))]
    assert total(cuts) == pytest.approx(max(total(o) for o in others))
    before, after = forward_backward(score)
    assert before[-1] == pytest.approx(after[0])
    assert before[-1] == pytest.approx(float(np.logaddexp.reduce([total(o) for o in others])))
    assert all(0.0 <= p <= 1.0 for p in posterior(score, cuts))


def test_groups_join_by_average_odds() -> None:
    odds = [[], [3.0], [-2.0, -1.0], [-2.0, -2.0, 2.0]]
    assert join_groups(odds, [1, 1, 1, 1], 0.0) == [0, 0, 1, 1]
    assert join_groups(odds, [1, 1, 1, 1], 5.0) == [0, 1, 2, 3]
    assert join_groups(odds, [1, 1, 1, 1], -2.0) == [0, 0, 0, 0]
    assert join_groups([[], [1.0], [1.0, -3.0]], [1, 1, 3], 0.0) == [0, 0, 1]
    assert join_groups([[], [1.0], [1.5, -1.0]], [1, 5, 1], 0.0) == [0, 1, 0]
    assert join_groups([], [], 0.0) == []


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 10), st.integers(0, 10_000))
def test_likely_layouts_are_layouts_and_always_the_same(n: int, seed: int) -> None:
    dice = np.random.default_rng(seed)
    score = np.full((n, 24), -np.inf)
    for s in range(n):
        score[s, : n - s] = 3 * dice.normal(size=min(24, n - s))
    drawn = likely_layouts(score)
    assert drawn == likely_layouts(score)
    assert all(cuts[0] == 0 and cuts == sorted(set(cuts)) and cuts[-1] < n for cuts in drawn)


def test_likely_layouts_come_as_often_as_they_are_likely() -> None:
    score = np.full((2, 24), -np.inf)
    score[0, :2] = [0.0, np.log(3.0) / 1.5]
    score[1, 0] = 0.0
    drawn = likely_layouts(score, 40)
    assert drawn.count([0]) == 30
    assert drawn.count([0, 1]) == 10


def test_the_labelling_most_like_the_others_is_chosen() -> None:
    one, two = np.array([0, 0, 1, 1]), np.array([0, 1, 1, 1])
    assert agreement(one, one) == 1.0
    assert agreement(one, two) == pytest.approx(2 * 1 / (2 + 3))
    assert consensus([one, two, two, one, two]) == 1
    assert same_letter(one, two, 0, 2) == pytest.approx((1 / 2 + 1 / 4) / 2)
