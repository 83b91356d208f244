"""An independent route to every answer: from the notes that sound or stand on the staff, by music21 or by hand.

Keys are taken from the cadence that is heard, chords are named by music21, and everything else is counted from MIDI
numbers and spelled names. `faults` returns what is wrong with an item.
"""

from __future__ import annotations

from collections.abc import Callable

from tests.drills.by_chord import (
    against,
    applied_to,
    bent_degree,
    bright_dark,
    cadence,
    chord_kind,
    figures_read,
    figures_write,
    find_chord,
    firmness,
    interval_ear,
    interval_melody,
    inversion,
    lent_chord,
    lent_or_applied,
    mode,
    outside,
    positions,
    progression,
    resolves,
    rests,
    sung_degree,
    sung_interval,
    tone_degree,
    two_basses,
    two_basses_where,
    wanted_bass,
    wider,
)
from tests.drills.by_line import (
    bass_degrees,
    bass_move,
    change_kind,
    chord_changed,
    comes_back,
    direction,
    high_leap,
    how_far,
    mark_sections,
    name_form,
    new_note,
    relation,
    section,
    sets_off_again,
    wanted_basses,
    wanted_melody,
    where_differs,
    which_note,
    withheld,
)
from tutor.practice.drill import Drill, Item

Route = Callable[..., str | None]
LABELS: dict[str, Route] = {
    "inversions: triads-close": inversion, "inversions: triads-staff": inversion,
    "inversions: triads-broken": inversion,
    "inversions: triads-open": inversion, "inversions: sevenths-close": inversion,
    "inversions: sevenths-staff": inversion, "inversions: sevenths-broken": inversion,
    "inversions: sevenths-open": inversion, "inversions: bass-member": inversion,
    "inversions: progression": progression,
    "inversions: figures-write": figures_write, "inversions: two-basses": two_basses,
    "inversions: two-basses-where": two_basses_where,
    "borrowed: bright-dark": bright_dark, "borrowed: degree": bent_degree, "borrowed: degree-staff": bent_degree,
    "borrowed: mode": mode, "borrowed: find-chord": find_chord, "borrowed: lent-or-applied": lent_or_applied,
    "borrowed: lent-chord": lent_chord, "borrowed: applied-to": applied_to,
    "form: relation": relation, "form: relation-staff": relation, "form: name-form": name_form,
    "form: which-section": section, "form: where-differs": where_differs, "form: withheld": withheld,
    "form: song-relation": relation, "form: song-return": comes_back,
    "what-changed: direction": direction, "what-changed: which-note": which_note,
    "what-changed: which-note-staff": which_note, "what-changed: how-far": how_far, "what-changed: kind": change_kind,
    "what-changed: chord": chord_changed,
    "rub-or-rest: belongs": rests, "rub-or-rest: belongs-staff": rests, "rub-or-rest: against": against,
    "rub-or-rest: resolves": resolves,
    "rub-or-rest: outside": outside,
    "cadences: two": cadence, "cadences: three": cadence, "cadences: four": cadence, "cadences: staff": cadence,
    "cadences: firmness": firmness, "cadences: positions": positions,
    "intervals: wider": wider, "intervals: tonic": interval_ear, "intervals: staff": interval_ear,
    "intervals: together": interval_ear, "intervals: melody": interval_melody, "intervals: song": interval_ear,
    "chord-quality: major-minor": chord_kind, "chord-quality: triads": chord_kind,
    "chord-quality: triads-staff": chord_kind, "chord-quality: inverted": chord_kind,
    "chord-quality: sevenths": chord_kind, "chord-quality: sevenths-staff": chord_kind,
    "degrees: restful": tone_degree, "degrees: major": tone_degree, "degrees: staff": tone_degree,
    "degrees: melody": tone_degree, "degrees: minor": tone_degree, "degrees: chromatic": tone_degree,
    "bass-line: last-move": bass_move, "bass-line: which-line": bass_degrees,
    "high-note: hear-leap": high_leap,
}  # fmt: skip
"""Routes to a label: (question, item) to the label that must be right."""

WANTED: dict[str, Route] = {
    "inversions: sing-bass": wanted_bass,
    "borrowed: sing-bent": sung_degree,
    "form: mark-sections": mark_sections,
    "form: song-again": sets_off_again,
    "what-changed: play-change": new_note,
    "intervals: sing": sung_interval,
    "degrees: sing": sung_degree,
    "bass-line: play": wanted_basses,
    "bass-line: sing": wanted_basses,
    **{f"melody-by-ear: {s}": wanted_melody for s in ("steps", "leaps", "sing-back", "minor", "bent")},
    **{f"sing-at-sight: {s}": wanted_melody for s in ("steps", "rhythms", "leaps", "minor", "mixed")},
    **{f"high-note: {s}": wanted_melody for s in ("scale", "arpeggio", "leap")},
}
"""Routes to notes or places: (question, item, right answer) to a fault or None."""


def checked(drill: Drill, skill: str) -> bool:
    """True when there is an independent route to the answers of a skill."""
    name = f"{drill.name}: {skill}"
    return name in LABELS or name in WANTED or name == "inversions: figures-read"


def faults(drill: Drill, item: Item) -> list[str]:
    """What is wrong with an item, by the independent route and the contract."""
    name = f"{item.drill}: {item.skill}"
    question, right = drill.question(item), drill.right(item)
    found: list[str] = []
    try:
        if name == "inversions: figures-read":
            label: str | None = figures_read(question, item, drill)
        elif name in LABELS:
            label = LABELS[name](question, item)
        else:
            label = right.choice
            fault = WANTED[name](question, item, right)
            if fault:
                found.append(f"{name}: {fault}")
        if label != right.choice:
            found.append(f"{name}: the notes say {label!r}, the item {right.choice!r}")
    except (AssertionError, KeyError, StopIteration, IndexError, ValueError) as error:
        found.append(f"{name}: no independent answer ({type(error).__name__}: {error})")
    if not drill.mark(item, right).correct:
        found.append(f"{name}: the right answer earns less than all")
    if question.ask == "choice" and [c.label for c in question.choices].count(right.choice or "") != 1:
        found.append(f"{name}: the right answer is not offered once")
    return found
