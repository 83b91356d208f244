"""Shared judgements: played notes, taps and singing against what was wanted.

Cents: P. Larrouy-Maestri, Music & Science (2018), found listeners' border between in and out of tune in sung melodies
at 25 cents; 50 cents is merely half a semitone, the border to the next note. Both are told; the right note is judged
at 50 unless a drill says that it asks for 25.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from tutor.music.take import SungNote, Take

HEARD_CENTS = 25.0
"""Beyond this, listeners begin to call a sung note out of tune."""
NEAREST_CENTS = 50.0
"""Beyond this, another note is nearer."""
NEAR_CENTS = 80.0
"""Up to this a note earns half: it lay between the right note and its neighbour (a choice of ours)."""
RHYTHM_QUARTERS = 0.25
"""How far an onset may lie from its place and count as right: a sixteenth note (a choice of ours)."""
SLIDE_S = 0.18
"""Shorter sounds between notes are slides and catches, not notes (a choice of ours)."""
SAME_SEMITONES = 0.6
"""Neighbouring sounds closer than this are one tone cut in two (a choice of ours)."""
TAP_QUARTERS = 2.0
"""How far a tap may lie from the start of a section, unless a drill says otherwise (a choice of ours)."""

_PROBLEMS = {
    "too quiet": "Nothing could be judged: the take was too quiet. Come closer or raise the input.",
    "clipping": "Nothing could be judged: the input was overdriven. Lower it or step back.",
    "no input": "Nothing could be judged: no sound arrived from the microphone.",
}


@dataclass(frozen=True, slots=True)
class Judged:
    """Notes judged one by one."""

    credit: float
    """0 to 1."""
    hits: tuple[bool, ...]
    """For each wanted note, whether it counts as right."""
    words: str
    """What happened, in plain words."""


def played(given: Sequence[int], wanted: Sequence[int], *, in_order: bool, any_octave: bool) -> Judged:
    """Judge notes played on a keyboard.

    In order: the wanted notes are found in what was played, in their order, and extra notes cost their share.
    Without order: a chord; doublings count once where octaves are free.

    Args:
        given: MIDI numbers played.
        wanted: MIDI numbers wanted.
        in_order: whether the order matters.
        any_octave: whether the octave is free.
    """
    if not given or not wanted:
        return Judged(0.0, (False,) * len(wanted), "No note was played.")
    a, b = list(given), list(wanted)
    if in_order:
        # Another octave is one octave for the whole line, so that the direction of every move still counts.
        shifts = range(-48, 49, 12) if any_octave else (0,)
        hits = max((_common([x + s for x in a], b) for s in shifts), key=sum)
    else:
        if any_octave:
            a, b = list(dict.fromkeys(g % 12 for g in a)), [w % 12 for w in b]
        left = Counter(a)
        hits = []
        for note in b:
            hits.append(left[note] > 0)
            left[note] -= 1
    credit = sum(hits) / max(len(a), len(b))
    return Judged(round(credit, 4), tuple(hits), _count_words(hits, len(given) - len(wanted)))


def tapped(marks: Sequence[float], wanted: Sequence[float], tolerance: float = TAP_QUARTERS) -> Judged:
    """Judge taps against the places where sections begin, in quarters.

    Each place takes the nearest free tap within the tolerance. Missed places and stray taps weigh alike: credit is
    2 x hits / (places + taps), the F measure.
    """
    free = sorted(marks)
    hits = []
    for place in wanted:
        near = min(free, key=lambda m: abs(m - place), default=None)
        hit = near is not None and abs(near - place) <= tolerance
        if hit and near is not None:
            free.remove(near)
        hits.append(hit)
    if not marks:
        return Judged(0.0, tuple(hits), "No place was marked.")
    credit = 2 * sum(hits) / (len(wanted) + len(marks))
    if len(wanted) == 1:
        words = f"The place was {'' if hits[0] else 'not '}marked in time"
    else:
        words = f"{sum(hits) or 'None'} of {len(wanted)} places {'was' if sum(hits) < 2 else 'were'} marked in time"
    words += f"; {len(free)} taps fell elsewhere." if len(free) > 1 else "; one tap fell elsewhere." if free else "."
    return Judged(round(credit, 4), tuple(hits), words)


def sung(
    take: Take,
    wanted: Sequence[tuple[int, float, float]],
    *,
    bpm: float,
    rhythm: bool = False,
    any_octave: bool = False,
    cents: float = NEAREST_CENTS,
) -> Judged:
    """Judge a take against written notes.

    The notes are matched in order; the singer's own steady tempo is accepted, from half to double that asked
    (S. Dalla Bella et al., JASA 121, 2007: at a slow tempo occasional singers sing nearly as well as professionals).
    A note within ``cents`` earns full credit, within `NEAR_CENTS` half. With rhythm, pitch counts two thirds and the
    onset one third. Where octaves are free, the whole take may lie in another octave.

    Args:
        take: what was sung.
        wanted: (MIDI number, onset in quarters, length in quarters) of each note.
        bpm: tempo asked for, quarters a minute.
        rhythm: whether onsets count.
        any_octave: whether another octave is accepted.
        cents: largest error of a right note.
    """
    if take.problem:
        return Judged(0.0, (False,) * len(wanted), _PROBLEMS.get(take.problem, "Nothing could be judged."))
    notes = [n for n in take.notes if n.duration_s > 0.05]
    if not notes:
        return Judged(0.0, (False,) * len(wanted), "No sung note was heard.")
    shifts = range(-36, 37, 12) if any_octave else (0,)
    targets = [w[0] for w in wanted]
    matched = min((_align(notes, targets, s) for s in shifts), key=lambda m: m[0])
    _, pairs, shift = matched
    errors = [None if n is None else (n.midi + shift - t) * 100 for n, t in zip(pairs, targets, strict=True)]
    late = _timing(pairs, wanted, bpm) if rhythm else [0.0] * len(wanted)
    hits, total = [], 0.0
    for error, off in zip(errors, late, strict=True):
        size = NEAR_CENTS + 1 if error is None else abs(error)
        pitch = 1.0 if size <= cents + 1e-6 else 0.5 if size <= NEAR_CENTS else 0.0
        timed = off is not None and abs(off) <= RHYTHM_QUARTERS + 1e-6
        total += pitch if not rhythm else pitch * (2 / 3 + timed / 3)
        hits.append(pitch == 1.0 and timed)
    stray = max(0, _strays(notes, pairs) - len(wanted) // 4)
    credit = min(1.0, total / (len(wanted) + stray))
    return Judged(round(credit, 4), tuple(hits), _sung_words(errors, late if rhythm else None, cents, stray))


def _strays(notes: Sequence[SungNote], pairs: Sequence[SungNote | None]) -> int:
    """Notes sung besides: not slides and catches, nor a tone that the ear of the machine cut in two."""
    kept = {id(n) for n in pairs if n is not None}
    count = 0
    for i, note in enumerate(notes):
        if id(note) in kept or note.duration_s < SLIDE_S:
            continue
        beside = [n for n in notes[max(0, i - 1) : i + 2] if id(n) in kept]
        count += not any(abs(n.midi - note.midi) < SAME_SEMITONES for n in beside)
    return count


def _align(notes: Sequence[SungNote], targets: Sequence[int], shift: int) -> tuple[float, list[SungNote | None], int]:
    """Cheapest matching in order: a miss costs 1, an extra note 0.4, a match its error in semitones up to 2."""
    rows, cols = len(targets), len(notes)
    cost = [[0.4 * j for j in range(cols + 1)]] + [[float(i + 1)] + [0.0] * cols for i in range(rows)]
    for i in range(1, rows + 1):
        for j in range(1, cols + 1):
            match = cost[i - 1][j - 1] + _pair_cost(notes[j - 1], targets[i - 1], shift)
            cost[i][j] = min(match, cost[i - 1][j] + 1.0, cost[i][j - 1] + 0.4)
    pairs: list[SungNote | None] = [None] * rows
    i, j = rows, cols
    while i and j:
        if abs(cost[i][j] - cost[i - 1][j - 1] - _pair_cost(notes[j - 1], targets[i - 1], shift)) < 1e-9:
            pairs[i - 1] = notes[j - 1]
            i, j = i - 1, j - 1
        elif abs(cost[i][j] - cost[i - 1][j] - 1.0) < 1e-9:
            i -= 1
        else:
            j -= 1
    return cost[rows][cols], pairs, shift


def _pair_cost(note: SungNote, target: int, shift: int) -> float:
    return min(abs(note.midi + shift - target), 2.0) * 0.65


def _timing(
    pairs: Sequence[SungNote | None], wanted: Sequence[tuple[int, float, float]], bpm: float
) -> list[float | None]:
    """Deviation of each onset, in quarters, from a straight line through the onsets (the singer's own tempo)."""
    points = [(w[1], n.onset_s) for n, w in zip(pairs, wanted, strict=True) if n is not None]
    asked = 60.0 / bpm
    if len(points) < 2:
        return [None if n is None else 0.0 for n in pairs]
    mean_q = sum(q for q, _ in points) / len(points)
    mean_s = sum(s for _, s in points) / len(points)
    spread = sum((q - mean_q) ** 2 for q, _ in points)
    slope = sum((q - mean_q) * (s - mean_s) for q, s in points) / spread if spread else asked
    slope = min(2 * asked, max(asked / 2, slope))
    at = {id(n): (n.onset_s - mean_s) / slope - (w[1] - mean_q) for n, w in zip(pairs, wanted, strict=True) if n}
    return [None if n is None else at[id(n)] for n in pairs]


def _common(given: Sequence[int], wanted: Sequence[int]) -> list[bool]:
    """Which wanted notes belong to the longest common sequence."""
    rows, cols = len(wanted), len(given)
    best = [[0] * (cols + 1) for _ in range(rows + 1)]
    for i in range(rows - 1, -1, -1):
        for j in range(cols - 1, -1, -1):
            same = wanted[i] == given[j]
            best[i][j] = best[i + 1][j + 1] + 1 if same else max(best[i + 1][j], best[i][j + 1])
    hits = [False] * rows
    i = j = 0
    while i < rows and j < cols:
        if wanted[i] == given[j]:
            hits[i] = True
            i, j = i + 1, j + 1
        elif best[i + 1][j] >= best[i][j + 1]:
            i += 1
        else:
            j += 1
    return hits


def _count_words(hits: Sequence[bool], extra: int) -> str:
    right, size = sum(hits), len(hits)
    if size == 1:
        words = "The note is right" if right else "The note is not right"
    elif right == size:
        words = f"All {size} notes are right"
    else:
        words = f"{right or 'None'} of {size} notes {'is' if right < 2 else 'are'} right"
    if extra > 0:
        words += ", with one note too many" if extra == 1 else f", with {extra} notes too many"
    return words + "."


def _sung_words(errors: Sequence[float | None], late: Sequence[float | None] | None, cents: float, stray: int) -> str:
    sung_ = [e for e in errors if e is not None]
    if len(errors) == 1 and sung_:
        size = round(abs(sung_[0]))
        side = "high" if sung_[0] > 0 else "low"
        words = f"You sang {size} cents too {side}" if size else "You sang it dead in tune"
        words += " (100 cents are a semitone; listeners begin to mind at about 25)."
        return words
    right = sum(abs(e) <= cents + 1e-6 for e in sung_)
    fine = sum(abs(e) <= HEARD_CENTS + 1e-6 for e in sung_)
    words = f"{right} of {len(errors)} notes lay within {cents:.0f} cents of the written pitch"
    words += "." if cents <= HEARD_CENTS else f", {fine} of them within 25; beyond that listeners begin to mind."
    if late is not None:
        timed = sum(o is not None and abs(o) <= RHYTHM_QUARTERS + 1e-6 for o in late)
        words += f" {timed} of {len(late)} began in time, within a sixteenth note of their place."
    if len(sung_) < len(errors):
        missed = len(errors) - len(sung_)
        words += f" {missed} {'was' if missed == 1 else 'were'} not heard."
    if stray:
        words += " One note was sung besides." if stray == 1 else f" {stray} notes were sung besides."
    return words
