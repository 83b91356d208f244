"""Playing a phrase: start, pause, seek, loop, tempo, transposition, lines on and off, count-in, metronome.

The clock is the stream's own: `Engine.position_quarters` says what is heard at this moment, so a cursor that follows
it stays with the sound. Every change while playing starts a new stream of samples at the place that is heard.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal, Protocol, runtime_checkable

from tutor.errors import PortUnavailable
from tutor.music.phrase import Line, Phrase
from tutor.sound.ahead import AheadSource, Loop, Maker
from tutor.sound.mixer import Source
from tutor.sound.ports import RATE, Clip, Player, Playing
from tutor.sound.synth import SOUNDS, TAIL_S, Sounds, Timeline
from tutor.sound.timeline import LINES, NO_NOTES, Notes

SLOWEST, FASTEST = 0.4, 1.6
"""Tempo as a share of the phrase's own."""

CLICK_LINE: Line = "click"

State = Literal["stopped", "counting in", "playing", "paused"]


@dataclass(frozen=True, slots=True)
class Settings:
    """How a phrase is played."""

    tempo: float = 1.0
    """Share of the phrase's own tempo, 0.4 to 1.6. Notes are made anew at each tempo, never stretched."""
    semitones: int = 0
    """Transposition of what is heard."""
    mute: frozenset[Line] = frozenset()
    """Lines left out."""
    solo: frozenset[Line] = frozenset()
    """Lines heard alone; empty for all."""
    loop: tuple[float, float] | None = None
    """Passage played again and again, in quarters; None plays on to the end."""
    count_in: int = 0
    """Bars of clicks before the music."""
    metronome: bool = False
    """Clicks on every beat."""
    volume: float = 1.0
    """0 to 1."""
    sounds: Sounds = SOUNDS
    """Which timbre plays which line."""

    def heard(self, line: Line) -> bool:
        """Whether a line of the phrase sounds."""
        return line not in self.mute and (not self.solo or line in self.solo)


@runtime_checkable
class SourcePlayer(Protocol):
    """A player that can play sound while it is being made."""

    def play_from(self, source: Source) -> Playing:
        """Start a source at once, ending what was played before."""


@runtime_checkable
class EventPlayer(Protocol):
    """A player that is told notes instead of samples: an external instrument."""

    def play_events(self, music: Timeline | Loop, length_s: float | None, offset_s: float) -> Playing:
        """Start notes at once, ending what was played before."""


class Engine:
    """Plays one phrase at a time on a player.

    Args:
        player: where it is heard.
        settings: how.
    """

    def __init__(self, player: Player, settings: Settings | None = None) -> None:
        self._player = player
        self._phrase = Phrase(())
        self._notes = NO_NOTES
        self._length = 0.0
        self._settings = settings or Settings()
        self._playing: Playing | None = None
        self._maker = Maker()
        self._from = 0.0
        self._lead_s = 0.0
        self.problem = ""
        """One line about the device when playing broke off; empty when all is well."""

    @property
    def player(self) -> Player:
        """Where it is heard."""
        return self._player

    @player.setter
    def player(self, player: Player) -> None:
        self.pause()
        self._player = player
        self.problem = ""

    @property
    def playing(self) -> Playing | None:
        """What the player gave for the music that runs now; None when nothing runs."""
        return self._playing

    @property
    def phrase(self) -> Phrase:
        """What is loaded."""
        return self._phrase

    @property
    def settings(self) -> Settings:
        """How it is played."""
        return self._settings

    @property
    def bpm(self) -> float:
        """Quarter notes a minute as heard."""
        return self._phrase.bpm * self._settings.tempo

    @property
    def state(self) -> State:
        """What is going on; also notices a device that has gone and a phrase that has ended."""
        if self._playing is None:
            return "paused" if self._from > 0 else "stopped"
        gone = str(getattr(self._player, "problem", "") or getattr(self._playing, "problem", ""))
        if gone:
            self.pause()
            self.problem = gone
            return "paused"
        if self._playing.finished:
            self.stop()
            return "stopped"
        return "counting in" if self._playing.position_s < self._lead_s else "playing"

    @property
    def position_quarters(self) -> float:
        """Place in the phrase that is heard now, in quarters; below the starting place while counting in."""
        if self._playing is None:
            return self._from
        quarters = self._from + (self._playing.position_s - self._lead_s) * self.bpm / 60.0
        loop = self._loop()
        if loop and quarters >= loop[1]:
            quarters = loop[0] + (quarters - loop[0]) % (loop[1] - loop[0])
        return min(quarters, self._length)

    def load(self, phrase: Phrase) -> None:
        """Take another phrase; stops what is playing and goes to its beginning. The loop is lifted."""
        self.stop()
        self._phrase = phrase
        self._notes = Notes.of_phrase(phrase)
        self._length = phrase.length_quarters
        self._settings = replace(self._settings, loop=None)
        self._prepare()

    def _prepare(self) -> None:
        """Have the beginnings of all notes made while nothing is played yet."""
        moved = self._notes.higher(self._settings.semitones)
        seen = dict.fromkeys(zip(moved.line.tolist(), moved.midi.tolist(), moved.velocity.tolist(), strict=True))
        sounds = self._settings.sounds
        self._maker.prepare([(sounds.of(LINES[line]), midi, velocity) for line, midi, velocity in seen][:160])

    def set(self, **changes: Any) -> None:
        """Change settings by name (see `Settings`); heard at once while playing.

        Raises:
            PortUnavailable: the device is gone.
        """
        if "tempo" in changes:
            changes["tempo"] = min(max(float(changes["tempo"]), SLOWEST), FASTEST)
        place, running = self.position_quarters, self._playing is not None and not self._playing.finished
        self._settings = replace(self._settings, **changes)
        if running:
            self._start(max(place, self._from), count_in=False)

    def play(self, from_quarters: float | None = None) -> None:
        """Start, or go on after a pause.

        Args:
            from_quarters: where to start; None goes on from where it was, and changes nothing while playing.

        Raises:
            PortUnavailable: the device is gone and does not come back.
        """
        if from_quarters is None and self.state in ("playing", "counting in"):
            return
        start = self._from if from_quarters is None else from_quarters
        if start >= self._length - 1e-6:
            start = 0.0
        self._start(start, count_in=True)

    def pause(self) -> None:
        """Stop and keep the place."""
        if self._playing is not None:
            place = max(self.position_quarters, self._from)
            self._end()
            self._from = place

    def stop(self) -> None:
        """Stop and go back to the beginning."""
        self._end()
        self._from = 0.0

    def seek(self, quarters: float) -> None:
        """Go to a place; goes on playing if it was.

        Raises:
            PortUnavailable: the device is gone.
        """
        running = self._playing is not None and not self._playing.finished
        self._end()
        self._from = min(max(quarters, 0.0), self._length)
        if running:
            self._start(self._from, count_in=False)

    def close(self) -> None:
        """Stop for good; the player stays open, for it belongs to whoever opened it."""
        self._end()
        self._maker.close()

    def _end(self) -> None:
        playing, self._playing = self._playing, None
        if playing is not None:
            playing.stop()

    def _loop(self) -> tuple[float, float] | None:
        """The loop, when the place lies before its end and it has a length."""
        loop = self._settings.loop
        return loop if loop and loop[1] - loop[0] > 0.05 and self._from < loop[1] else None

    def _start(self, start: float, *, count_in: bool) -> None:
        self._end()
        loop = self._settings.loop
        if loop and not loop[0] <= start < loop[1]:
            start = loop[0]
        self._from, self.problem = start, ""
        lead = self._count_in() if count_in else NO_NOTES
        self._lead_s = self._settings.count_in * self._bar() * 60.0 / self.bpm if count_in else 0.0
        music, frames, offset = self._music(lead)
        try:
            self._playing = self._hand_over(music, frames, offset)
        except PortUnavailable as error:
            self.problem = error.line
            raise

    def _hand_over(self, music: Timeline | Loop, frames: int | None, offset: int) -> Playing:
        player: object = self._player
        if isinstance(player, EventPlayer):
            return player.play_events(music, None if frames is None else frames / RATE, offset / RATE)
        source = AheadSource(music, frames, self._maker, gain=self._settings.volume, offset=offset)
        if isinstance(player, SourcePlayer):
            playing = player.play_from(source)
            self._maker.serve(source)
            return playing
        return self._player.play(Clip(source.all()))

    def _music(self, lead: Notes) -> tuple[Timeline | Loop, int | None, int]:
        """What is heard from now on, its length, and the sample of it that is heard first."""
        beat = 60.0 / self.bpm * RATE
        lead_in = round(self._lead_s * RATE)
        loop, sounds, counted = self._loop(), self._settings.sounds, len(lead.at) > 0
        if loop is None:
            end = self._length
            frames = round((end - self._from) * beat + TAIL_S * RATE) + lead_in
            if not counted:
                # time runs from the phrase's beginning, so that notes already sounding are heard on
                skip = round(self._from * beat)
                return Timeline(self._passage(0.0, end), RATE, sounds), frames + skip, skip
            music = lead.plus(self._passage(self._from, end).later(lead_in))
            return Timeline(music, RATE, sounds), frames, 0
        first, last = loop
        period = max(1, round((last - first) * beat))
        turn = Timeline(self._passage(first, last), RATE, sounds)
        if counted:
            head = Timeline(lead.plus(self._passage(self._from, last).later(lead_in)), RATE, sounds)
            return Loop(head, lead_in + round((last - self._from) * beat), turn, period), None, 0
        return Loop(Timeline(NO_NOTES, RATE, sounds), 0, turn, period), None, round((self._from - first) * beat)

    def _passage(self, first: float, last: float) -> Notes:
        """Notes (and clicks) of a passage, counted from its start; notes that reach in or out are cut."""
        settings = self._settings
        silent = [line for line in LINES if not settings.heard(line)]
        notes = self._notes.without(silent).between(first, last).higher(settings.semitones)
        if settings.metronome:
            beats = [(at - first, 0.1, midi, 0.7, CLICK_LINE) for at, midi in self._beats(first, last)]
            notes = notes.plus(Notes.of(beats))
        return notes.timed(60.0 / self.bpm)

    def _bar(self) -> float:
        """Length of a bar in quarters."""
        return 4.0 * self._phrase.numerator / self._phrase.denominator

    def _beat(self) -> float:
        """Length of a beat in quarters: a dotted value in 6/8, 9/8, 12/8."""
        unit = 4.0 / self._phrase.denominator
        compound = self._phrase.denominator >= 8 and self._phrase.numerator % 3 == 0 and self._phrase.numerator > 3
        return 3 * unit if compound else unit

    def _beats(self, first: float, last: float) -> list[tuple[float, int]]:
        """Clicks from ``first`` to ``last``: place in quarters, and C6 on the bar's first beat, else C5."""
        bar, beat = self._bar(), self._beat()
        start = self._phrase.pickup_quarters - bar if self._phrase.pickup_quarters else 0.0
        count = int((last - start) / beat) + 1
        places = [(start + n * beat, 84 if (n * beat) % bar < 1e-6 else 72) for n in range(count)]
        return [(at, midi) for at, midi in places if first - 1e-6 <= at < last - 1e-6]

    def _count_in(self) -> Notes:
        """Clicks before the music, from sample 0."""
        bar, beat = self._bar(), self._beat()
        each = round(bar / beat)
        clicks = [
            (n * beat, 0.1, 84 if n % each == 0 else 72, 0.7, CLICK_LINE) for n in range(self._settings.count_in * each)
        ]
        return Notes.of(clicks).timed(60.0 / self.bpm)
