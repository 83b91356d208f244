"""A whole song to be heard from any bar: laid out once, then played, looped, slowed and moved by the engine.

The song is laid out as it sounds (repeats taken) or as it is printed, with its own changes of tempo and metre, so that
the engine's clock runs evenly; `Piece` leads from what is heard back to the page.
"""

from __future__ import annotations

import threading
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from tutor.errors import PortUnavailable
from tutor.music.phrase import Line, Phrase, Tone
from tutor.music.pitch import Pitch
from tutor.music.table import MeasureRow, NoteTable
from tutor.practice.material import cut, tempo_at
from tutor.sound.engine import FASTEST, SLOWEST, Engine, Settings, State
from tutor.sound.ports import Player
from tutor.sound.synth import Sounds
from tutor.sound.tape import TapePlayer

STEP = 0.1
"""Tempo moves by a tenth of the printed one."""
_ACCENT, _PLAIN = Pitch.parse("C6"), Pitch.parse("C5")
_EPS = 1e-6


@dataclass(frozen=True, slots=True)
class Stretch:
    """Printed music that is heard in one go at one tempo."""

    heard: float
    """Where it is heard, in quarters of the piece's tempo."""
    written: float
    """Where it stands, in quarters as written."""
    length: float
    """Its length in quarters as written."""
    ratio: float
    """Quarters heard for a quarter written: above 1 where the song is slower than the piece's tempo."""

    def at(self, written: float) -> float:
        """Where a printed place of this stretch is heard."""
        return self.heard + (written - self.written) * self.ratio


@dataclass(frozen=True, slots=True)
class Piece:
    """A song laid out for hearing."""

    phrase: Phrase
    """Everything, clicks included, at one tempo."""
    stretches: tuple[Stretch, ...]
    """In the order heard; never empty."""

    def written(self, heard: float) -> float:
        """The printed place, in quarters, of a moment of the piece."""
        index = bisect_right(self.stretches, heard + _EPS, key=lambda s: s.heard) - 1
        found = self.stretches[max(0, index)]
        return min(found.written + max(0.0, heard - found.heard) / found.ratio, found.written + found.length)

    def heard(self, written: float, near: float = 0.0) -> float:
        """When a printed place is heard: of several times the one nearest to ``near``.

        A place that is never heard gives the next printed place that is.
        """
        inside = [s for s in self.stretches if s.written - _EPS <= written < s.written + s.length - _EPS]
        if inside:
            return min((s.at(written) for s in inside), key=lambda at: abs(at - near))
        after = [s for s in self.stretches if s.written > written]
        return min(after, key=lambda s: s.written).heard if after else self.stretches[-1].at(written)

    def heard_end(self, written: float) -> float:
        """When the music before a printed place has been heard."""
        just = written - 1e-3
        found = next((s for s in self.stretches if s.written <= just < s.written + s.length), self.stretches[-1])
        return found.at(min(written, found.written + found.length))


def spans(table: NoteTable, *, in_order: bool) -> list[tuple[float, float]]:
    """The printed stretches in the order in which they sound; one that runs on into the next is not cut."""
    rows = [(o.start_quarters, o.end_quarters) for o in table.order] if in_order else []
    out: list[tuple[float, float]] = []
    for start, end in rows or [(0.0, table.length_quarters)]:
        if out and abs(out[-1][1] - start) < _EPS:
            out[-1] = (out[-1][0], end)
        else:
            out.append((start, end))
    return out


def piece(table: NoteTable, *, in_order: bool = True, at: float = 0.0) -> Piece:
    """Lay a song out.

    Args:
        table: the song.
        in_order: repeats, endings and jumps taken; else straight through the page.
        at: printed place whose tempo and metre the piece takes, so that it is counted in rightly.
    """
    base, bar = tempo_at(table, at), table.bar_at(at)
    tones: list[Tone] = []
    stretches: list[Stretch] = []
    heard = 0.0
    for start, end in spans(table, in_order=in_order):
        here = _stretches(table, start, end, heard, base)
        marks = [s.written for s in here]

        def place(written: float, here: list[Stretch] = here, marks: list[float] = marks) -> float:
            return here[max(0, bisect_right(marks, written + _EPS) - 1)].at(written)

        for tone in (*cut(table, start, end).tones, *_clicks(table, start, end)):
            first, last = place(start + tone.onset_quarters), place(start + tone.end_quarters)
            tones.append(replace(tone, onset_quarters=round(first, 6), duration_quarters=round(last - first, 6)))
        stretches += here
        heard = here[-1].at(end)
    laid = Phrase(tuple(tones), bpm=base, numerator=bar.numerator, denominator=bar.denominator, fifths=bar.fifths)
    return Piece(laid, tuple(stretches))


def _stretches(table: NoteTable, start: float, end: float, heard: float, base: float) -> list[Stretch]:
    """A printed stretch divided where its tempo changes."""
    inside = sorted({t.onset_quarters for t in table.tempos if start + _EPS < t.onset_quarters < end - _EPS})
    edges = [start, *inside, end]
    out = []
    for first, last in pairwise(edges):
        ratio = base / tempo_at(table, first)
        out.append(Stretch(heard, first, last - first, ratio))
        heard += (last - first) * ratio
    return out


def _clicks(table: NoteTable, start: float, end: float) -> list[Tone]:
    """The metronome's beats of a printed stretch, counted from its start; each in its own bar's metre."""
    out = []
    for index, bar in enumerate(table.measures):
        if bar.end_quarters <= start + _EPS or bar.start_quarters >= end - _EPS:
            continue
        for at, accent in _beats(bar, table.lacking(index)):
            if start - _EPS <= at < end - _EPS:
                length = min(bar.end_quarters, end) - at
                tone = Tone(at - start, min(bar.beat_quarters, length), _ACCENT if accent else _PLAIN, "click")
                out.append(tone)
    return out


def _beats(bar: MeasureRow, missing: float) -> list[tuple[float, bool]]:
    """Beats of a bar as printed places, and whether each is its first; ``missing``: quarters before it in its bar."""
    count = int(max(bar.bar_quarters, bar.duration_quarters) / bar.beat_quarters - _EPS) + 1
    places = [(bar.start_quarters - missing + n * bar.beat_quarters, n == 0) for n in range(count)]
    return [(at, first) for at, first in places if bar.start_quarters - _EPS <= at < bar.end_quarters - _EPS]


class Playback:
    """One song at a time, from any bar.

    Args:
        player: gives what it is heard through now, opened again where it had gone. Raises PortUnavailable.
        sounds: gives the timbres.
        hush: stops whatever else sounds.
    """

    def __init__(self, player: Callable[[], Player], sounds: Callable[[], Sounds], hush: Callable[[], None]) -> None:
        self._player, self._sounds, self._hush = player, sounds, hush
        self._lock = threading.RLock()
        self._engine = Engine(TapePlayer(), Settings(mute=frozenset({"click"})))
        self._table: NoteTable | None = None
        self._piece: Piece | None = None
        self._laid: tuple[bool, tuple[float, ...]] | None = None
        self._mute: frozenset[Line] = frozenset()
        self._metronome = False
        self._problem = ""
        self.in_order = True
        """Whether repeats are taken."""

    # -- what is going on

    @property
    def state(self) -> State:
        """What is going on; notices a device that has gone and a song that has ended."""
        with self._lock:
            return self._engine.state

    @property
    def running(self) -> bool:
        """Whether it sounds, or counts in."""
        return self.state in ("playing", "counting in")

    @property
    def problem(self) -> str:
        """One line about the device when playing broke off or could not begin; empty when all is well."""
        with self._lock:
            return self._problem or self._engine.problem

    @property
    def place(self) -> float:
        """The printed place heard now, in quarters."""
        with self._lock:
            return self._piece.written(max(0.0, self._engine.position_quarters)) if self._piece else 0.0

    @property
    def settings(self) -> Settings:
        """How it is played; `mute` holds the clicks unless the metronome is on."""
        return self._engine.settings

    # -- playing

    def load(self, table: NoteTable) -> None:
        """Take a song, unless it is the one already there; the notes are made ready in idle moments."""
        with self._lock:
            if self._table is table:
                return
            self.pause()
            self._table, self._laid, self._problem = table, None, ""
            self._lay(0.0, in_order=self.in_order)

    def play(self, at: float) -> None:
        """Play from a printed place to the end of the song.

        Args:
            at: quarters as written.

        Raises:
            PortUnavailable: the device is gone and does not come back.
        """
        self._start(at, in_order=self.in_order)

    def loop(self, start: float, end: float) -> None:
        """Play a printed passage again and again; see `play`."""
        self._start(start, in_order=False, until=end)

    def resume(self) -> None:
        """Go on where it was paused; see `play`."""
        with self._lock:
            self._make_ready()
            self._engine.play()

    def seek(self, at: float) -> None:
        """Go on from another printed place, leaving a loop that does not hold it; see `play`."""
        with self._lock:
            if self._piece is None or not self.running:
                return
            engine = self._engine
            there, loop = self._piece.heard(at, engine.position_quarters), engine.settings.loop
            if loop is None or loop[0] - _EPS <= there < loop[1] - _EPS:
                engine.seek(there)
                return
            engine.pause()
            counted = engine.settings.count_in
            engine.set(loop=None, count_in=0)
            self._lay(at, in_order=self.in_order)
            engine.play(self._piece.heard(at))
            engine.set(count_in=counted)

    def pause(self) -> None:
        """Silence, keeping the place."""
        with self._lock:
            self._engine.pause()

    def close(self) -> None:
        """Stop for good; safe to call twice."""
        with self._lock:
            self._engine.close()

    # -- how

    def set(self, **changes: Any) -> None:
        """Change how it is played, heard at once: `tempo`, `semitones`, `mute`, `metronome`, `count_in`, `volume`.

        Raises:
            PortUnavailable: the device is gone.
        """
        with self._lock:
            self._mute = frozenset(changes.pop("mute", self._mute))
            self._metronome = bool(changes.pop("metronome", self._metronome))
            # The clicks are notes of the piece: they follow its changes of metre and tempo.
            changes["mute"] = self._mute if self._metronome else self._mute | {"click"}
            different = {k: v for k, v in changes.items() if getattr(self.settings, k) != v}
            if different:
                self._engine.set(**different)

    # -- inside

    def _start(self, at: float, *, in_order: bool, until: float | None = None) -> None:
        with self._lock:
            self.pause()
            self._make_ready()
            self._lay(at, in_order=in_order)
            if self._piece is None:
                return
            start = self._piece.heard(at)
            self._engine.set(loop=None if until is None else (start, self._piece.heard_end(until)))
            self._engine.play(start)

    def _make_ready(self) -> None:
        """Silence everything else, and take the player and the timbres of the moment."""
        self._hush()
        try:
            player = self._player()
        except PortUnavailable as error:
            self._problem = error.line
            raise
        self._problem = ""
        if self._engine.player is not player:
            self._engine.player = player
        if self.settings.sounds is not self._sounds():
            self._engine.set(sounds=self._sounds())

    def _lay(self, at: float, *, in_order: bool) -> None:
        """Lay the song out, unless it already lies so. Only counting in asks for the tempo and metre of a place."""
        table = self._table
        if table is None:
            return
        bar = table.bar_at(at)
        counted = (tempo_at(table, at), bar.numerator, bar.denominator) if self.settings.count_in else ()
        if self._laid is not None and self._laid[0] == in_order and counted in ((), self._laid[1]):
            return
        self._piece = piece(table, in_order=in_order, at=at if counted else 0.0)
        self._laid = (in_order, counted)
        self._engine.load(self._piece.phrase)


def tempo_step(now: float, steps: int) -> float:
    """The tempo some steps of a tenth away, within what the engine plays."""
    return min(max(round(now + steps * STEP, 2), SLOWEST), FASTEST)
