"""What a passage of a song has changed when it comes back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from drills._draw import Draw, capital
from drills._sheet import Sheet
from drills._songs import per_song
from tutor.analysis.findings import Change, Return
from tutor.analysis.prose import split_or_joined
from tutor.music.pitch import pretty
from tutor.practice.changing import change_sides
from tutor.practice.drill import Excerpt, Song
from tutor.practice.material import SURE, and_list, bar_words, beat_words, cut, source_words, sung_notes, whole_bars

SONG_KINDS = {
    "pitch": "another pitch", "rhythm": "another rhythm", "harmony": "another chord or bass",
    "cut short": "it is cut short", "extended": "it is extended", "octave": "another octave",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of a return in which one bar alone differs."""

    of: tuple[float, float]
    """The stretch the first time."""
    again: tuple[float, float]
    """The stretch the second time."""
    bars: tuple[str, ...]
    """Its bars, the second time."""
    changes: tuple[Change, ...]
    """What changed, all in one bar."""
    fitted: tuple[Change, ...] = ()
    """What there only follows the words, in the same bar: heard, but never asked about."""


def _sure(song: Song, change: Change, shift: float) -> bool:
    """False where a chord is claimed of which the reading is not sure, or a rhythm changes over a bar line."""
    several = max(change.before, change.after, key=len)
    if change.what in ("pitch", "octave") and len(several) > 1:
        return False  # another ending: notes and lengths both differ
    if change.what == "rhythm":
        return all(n.bar == change.bar for n in (*change.before, *change.after) if n.struck)
    if change.what != "harmony":
        return True
    places = (change.at, change.at - shift)
    spans = [next((c for c in song.reading.chords if c.start - 1e-6 <= p < c.end - 1e-6), None) for p in places]
    return all(c is not None and c.confidence >= SURE for c in spans)


def _at_its_end(song: Song, change: Change, shift: float, end: float) -> bool:
    """True where all that was added or left out lies in one bar, and nothing else is sung there or after it.

    A section that merely goes on is read as extended by all its further notes: that is no change to be heard in a bar.

    Args:
        song: the song.
        change: what was added or left out.
        shift: quarters from the first time to the second.
        end: where the stretch that is heard ends, the second time.
    """
    longer, shorter = (0.0, shift) if change.what == "extended" else (shift, 0.0)
    more = sung_notes(song.table, change.at - longer, end - longer)
    bar = song.table.bar_at(change.at).end_quarters - longer
    return (
        len(more) == len(change.after or change.before)
        and more[-1].onset_quarters < bar - 1e-6
        and not sung_notes(song.table, change.at - shorter, end - shorter)
    )


def _at_the_beginning(found: Return, change: Change) -> bool:
    """True where notes are left out or added before the passage begins alike: the kinds here speak of its end."""
    alike = max(found.again[0], found.of[0] + found.apart)
    return change.what in ("cut short", "extended") and change.at <= alike + 1e-6


def _reaches_in(change: Change, start: float, end: float) -> bool:
    """True where a change stands outside a stretch, but some of its notes are struck inside, either time."""
    inside = any(n.struck and start - 1e-6 <= n.at < end - 1e-6 for n in (*change.before, *change.after))
    return inside and not start - 1e-6 <= change.at < end - 1e-6


@per_song
def _windows(song: Song) -> list[Window]:
    """Stretches of two to four whole bars of returns at the same pitch, of which exactly one bar differs."""
    out = []
    for found in song.reading.returns:
        if found.transposed:
            continue
        shift = found.apart
        low, high = max(found.again[0], found.of[0] + shift), min(found.again[1], found.of[1] + shift)
        bars = [m for m in song.table.measures
                if m.start_quarters >= low - 1e-6 and m.end_quarters <= high + 1e-6]  # fmt: skip
        for size in (2, 3, 4):
            for i in range(len(bars) - size + 1):
                run = bars[i : i + size]
                start, end = run[0].start_quarters, run[-1].end_quarters
                every = [c for c in found.changes if start - 1e-6 <= c.at < end - 1e-6]
                inside = tuple(c for c in every if not c.follows_words)
                known = inside and all(
                    c.what in SONG_KINDS and _sure(song, c, shift) and not _at_the_beginning(found, c) for c in every
                )
                if any(c.what in ("cut short", "extended") and not _at_its_end(song, c, shift, end) for c in inside):
                    continue
                if any(_reaches_in(c, start, end) for c in found.changes):
                    continue
                if known and len({c.bar for c in every}) == 1 and inside[0].bar in {m.number for m in run}:
                    of = (start - shift, end - shift)
                    if len({m.number for m in run}) == size and whole_bars(song.table, *of) == of:
                        fitted = tuple(c for c in every if c.follows_words)
                        out.append(Window(of, (start, end), tuple(m.number for m in run), inside, fitted))
    return out


def _song(draw: Draw, ask_bar: bool) -> Sheet | None:
    def fits(window: Window) -> bool:
        kinds = {c.what for c in window.changes}
        return ask_bar or (len(kinds) == 1 and (not window.fitted or kinds == {"rhythm"}))

    song = draw.song(lambda s: any(fits(w) for w in _windows(s)))
    window = draw.rng.choice([w for w in _windows(song) if fits(w)])
    change = window.changes[0]
    a, b = cut(song.table, *window.of), cut(song.table, *window.again)
    places = {round(c.at - window.again[0], 6) for c in window.changes}
    marked = replace(b, tones=tuple(
        replace(t, mark="changed") if any(t.onset_quarters <= p + 1e-6 < t.end_quarters for p in places)
        and (t.line != "voice") == (change.what == "harmony") else t for t in b.tones
    ))  # fmt: skip
    first = Excerpt(f"First time, {bar_words(song.table, *window.of)}", a)
    second = Excerpt(f"Second time, {bar_words(song.table, *window.again)}", b)
    pool = {x: f"bar {x}" for x in window.bars} if ask_bar else SONG_KINDS
    right = change.bar if ask_bar else change.what
    choices = draw.choose(right, pool, 4)
    return Sheet(
        prompt="The passage comes back changed. " + ("In which bar of the second time?" if ask_bar else "In what way?"),
        ask="choice", right=right, words=pool[right], why=_told([*window.changes[:3], *window.fitted]),
        shown=Excerpt(capital(second.caption), marked), heard=(first, second), choices=choices,
        contrasts={c.label: first for c in choices if c.label != right},
        source=source_words(song, *window.again), song_id=song.id, hint="Follow the words as well as the notes.",
    )  # fmt: skip


def _told(changes: Sequence[Change]) -> str:
    """What changed, beat by beat, in words."""
    beats: dict[str, list[str]] = {}
    for c in changes:
        was, now = change_sides(c)
        if c.what == "cut short":
            words = f"{was} left out at the end"
        elif c.what == "extended":
            words = f"{now} added at the end"
        else:
            kind = f"{split_or_joined(c)} to fit the words" if c.follows_words else SONG_KINDS[c.what]
            words = f"{_turned(c, was, now)} ({kind})"
        beats.setdefault(f"bar {c.bar}, {beat_words(c.beat)}", []).append(words)
    return capital("; ".join(f"{where}: {and_list(words)}" for where, words in beats.items())) + "."


def _turned(change: Change, was: str, now: str) -> str:
    """What became of a note or chord, in words."""
    before, after = change.before, change.after
    if change.what == "harmony" or (before and after and before[0].struck and after[0].struck):
        return f"{was} became {now}"
    if not after:
        return f"a rest takes the place of {was}"
    if not before:
        return f"{now} is sung where there was a rest"
    if before[0].pitch == after[0].pitch:
        where = "struck anew where it was held on" if after[0].struck else "held on where it was struck anew"
        return f"{pretty(after[0].pitch)} is {where}"
    if not before[0].struck:
        return f"{now} {'is' if len(after) == 1 else 'are'} sung where {pretty(before[0].pitch)} was held"
    return f"{pretty(after[0].pitch)} is held where {was} {'was' if len(before) == 1 else 'were'} sung"


def song_bar(draw: Draw) -> Sheet | None:
    """The bar in which a passage of a song differs when it returns."""
    return _song(draw, ask_bar=True)


def song_kind(draw: Draw) -> Sheet | None:
    """What sort of change a passage of a song has when it returns."""
    return _song(draw, ask_bar=False)
