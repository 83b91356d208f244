"""Hearing a song: from any bar to the end, in a loop, slower, with voice or piano alone; the cursor goes along."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from textual.binding import Binding
from textual.timer import Timer

from tutor.analysis.prose import change_count
from tutor.errors import TutorError
from tutor.practice.material import bar_words, cut
from tutor.tui import songview
from tutor.tui.screens.song_keys import WHILE_PLAYING
from tutor.tui.stage import TICK_S, Stage
from tutor.tui.widgets.score import Score
from tutor.tui.widgets.songmap import SongMap

if TYPE_CHECKING:
    from pathlib import Path

    from tutor.music.phrase import Line, Phrase
    from tutor.practice.drill import Song
    from tutor.sound.synth import Sounds
    from tutor.studio.playback import Playback
    from tutor.tui.screens.sound_file import Part

_PARTS: dict[tuple[Line, ...], tuple[tuple[Line, ...], str]] = {
    (): (("upper", "lower"), "The voice alone."),
    ("upper", "lower"): (("voice",), "The piano alone."),
    ("voice",): ((), "Voice and piano."),
}
"""What is left out, then what is left out next, and what is then heard."""
_COUNTS = ("Begins at once.", "One bar is counted in.", "Two bars are counted in.")


class Hearing(Stage):
    """The part of the song screen that sounds."""

    song: Song
    bars: tuple[songview.BarView, ...]
    at: int

    def __init__(self) -> None:
        super().__init__()
        self.semitones = 0
        self._mute: tuple[Line, ...] = ()
        self._how: dict[str, object] = {"tempo": 1.0, "metronome": False, "count_in": 0}
        self._sounding = False
        self._timer: Timer | None = None
        self._begun_at = 0.0
        self._paused: tuple[int, tuple[int, int] | None] | None = None

    def _light(self, index: int) -> None:
        """Show a bar without moving the music; the screen does it."""
        raise NotImplementedError

    def _page(self) -> tuple[float, float]:
        """The bars on the staff; the screen knows them."""
        raise NotImplementedError

    @property
    def playback(self) -> Playback:
        """The studio's, with this song on it."""
        found = self.studio.playback
        found.load(self.song.table)
        return found

    def load(self) -> None:
        """Have the notes made ready."""
        playback, table = self.studio.playback, self.song.table
        if self.is_current:
            self.work(lambda: playback.load(table), lambda _none: None)

    def key_words(self, binding: Binding, named: tuple[str, str]) -> tuple[str, str] | None:
        """While music plays the foot names what can be done with it."""
        if not self._sounding:
            return named
        if binding.action == "play":
            return (named[0], "pause")
        return named if binding.action in WHILE_PLAYING else None

    # -- starting and stopping

    def _start(self, do: Callable[[Playback], None], loop: tuple[int, int] | None = None) -> None:
        """Begin to play, and follow; where a device has to be opened again, without keeping the screen waiting."""
        self.hush()
        playback = self.playback
        self._begun_at = self.bars[self.at].start

        def make() -> None:
            playback.set(**self._how, mute=self._mute, semitones=self.semitones)
            do(playback)

        def then(_none: None = None) -> None:
            if not self.is_current:
                playback.pause()
                return
            self.query_one(SongMap).loop = loop
            self._sounding, self._paused = True, None
            if self._timer is None:
                self._timer = self.set_interval(TICK_S, self._follow)
            self._timer.resume()
            self.refresh_bindings()

        if playback.problem or self.studio.trouble:
            self.work(make, then)
        elif self._tried(make):
            then()

    def _tried(self, do: Callable[[], object]) -> bool:
        """Do something with a device; trouble becomes one line."""
        try:
            do()
        except TutorError as error:
            self._ended()
            self.say(error.line, bad=True)
            return False
        return True

    def _follow(self) -> None:
        """Keep the cursor and the staff with the sound."""
        playback = self.studio.playback
        if not self._sounding:
            return
        if not playback.running:
            lost = bool(playback.problem)
            if lost:
                self._paused = (self.at, self.query_one(SongMap).loop)
            self._ended()
            if lost:
                self.say(f"{playback.problem} Then Space goes on.", bad=True)
            return
        place = max(playback.place, self._begun_at) if playback.state == "counting in" else playback.place
        index = next((b.index for b in reversed(self.bars) if b.start <= place + 1e-6), 0)
        if index != self.at:
            self._light(index)
        self.query_one(Score).follow(place - self._page()[0])

    def _ended(self) -> None:
        self._sounding = False
        if self._timer is not None:
            self._timer.pause()
        if self.is_mounted:
            self.query_one(Score).follow(None)
            self.query_one(SongMap).loop = None
            self.refresh_bindings()

    def hush(self) -> None:
        """Stop the sound."""
        super().hush()
        if self._sounding:
            self._ended()

    def _pause(self) -> None:
        self._paused = (self.at, self.query_one(SongMap).loop)
        self.hush()

    def _moved(self) -> None:
        """The cursor was moved by hand: the music goes along."""
        self._paused = None
        if self._sounding:
            playback = self.studio.playback
            self._begun_at = self.bars[self.at].start
            if self._tried(lambda: playback.seek(self._begun_at)):
                loop = self.query_one(SongMap).loop
                if loop is not None and not loop[0] <= self.at <= loop[1]:
                    self.query_one(SongMap).loop = None

    def _change(self, **how: object) -> None:
        """Change how it is played; heard at once."""
        self._how.update(how)
        if self._sounding:
            settings = {**self._how, "mute": self._mute, "semitones": self.semitones}
            self._tried(lambda: self.studio.playback.set(**settings))

    # -- actions

    def action_play(self) -> None:
        """Play from the cursor to the end of the song, go on after a pause, or pause."""
        if self._sounding:
            self._pause()
            return
        start, paused = self.bars[self.at].start, self._paused
        if paused is not None and paused[0] == self.at and self.playback.state == "paused":
            self._start(lambda playback: playback.resume(), paused[1])
        else:
            self._start(lambda playback: playback.play(start))

    def action_loop(self) -> None:
        """Play the phrase over and over, or stop."""
        self._loop([b.phrase for b in self.bars], "The phrase goes round; l stops it.")

    def action_loop_section(self) -> None:
        """Play the section over and over, or stop."""
        self._loop([b.section for b in self.bars], "The section goes round; l stops it.")

    def _loop(self, of: list[int], words: str) -> None:
        if self._sounding and self.query_one(SongMap).loop is not None:
            self.hush()
            return
        start, end = self._stretch(of)
        self._start(lambda playback: playback.loop(start, end), self._bars_between(start, end))
        if self._sounding:
            self.say(words)

    def action_tempo(self, steps: int) -> None:
        """Slower or faster."""
        from tutor.studio.playback import tempo_step

        now = self._how["tempo"]
        assert isinstance(now, float)
        tempo = tempo_step(now, steps)
        self._change(tempo=tempo)
        self.say("At the tempo of the page." if tempo == 1.0 else f"At {tempo:.0%} of the tempo of the page.")

    def action_metronome(self) -> None:
        """Clicks on every beat."""
        self._change(metronome=not self._how["metronome"])
        self.say("The metronome clicks on every beat." if self._how["metronome"] else "No metronome.")

    def action_count_in(self) -> None:
        """One bar, two bars, none."""
        now = self._how["count_in"]
        assert isinstance(now, int)
        self._change(count_in=(now + 1) % 3)
        self.say(_COUNTS[(now + 1) % 3])

    def action_repeats(self) -> None:
        """Take the repeats, or not."""
        self.hush()
        self._paused = None
        playback = self.playback
        playback.in_order = not playback.in_order
        self.say("Repeats are taken." if playback.in_order else "Straight through the page, without repeats.")

    def action_voice(self) -> None:
        """The voice alone, the piano alone, both."""
        self._mute, words = _PARTS[self._mute]
        self._change()
        self.say(words)

    def action_transpose(self, by: int) -> None:
        """Hear it in another key."""
        self.semitones = max(-12, min(12, self.semitones + by))
        self._change()
        size, side = abs(self.semitones), "lower" if self.semitones < 0 else "higher"
        where = f"{size} {'semitone' if size == 1 else 'semitones'} {side}" if size else "as printed"
        self.say(f"Sounds {where}. The page stays as printed.")

    def action_compare(self) -> None:
        """The first statement, then the return."""
        back = self.bars[self.at].back
        if back is None:
            return
        self.hush()
        (a, b), (c, d) = back.of, back.again
        first, again = bar_words(self.song.table, a, b), bar_words(self.song.table, c, d)
        self.say(f"First {first}, then {again}: {change_count(back)}.")
        self.hear([self._cut(a, b), self._cut(c, d)])

    def action_bass(self) -> None:
        """Hear the passage with a stepwise bass."""
        self.hush()
        start, end = self._stretch([b.section for b in self.bars])
        phrase = songview.with_smooth_bass(self.song, start, end)
        if phrase is None:
            self.say("No smoother bass was found for this section.")
        else:
            self.say("The same chords over a smoother bass: by step where it can go so.")
            self.hear([phrase])

    def action_write(self) -> None:
        """Write a passage as it sounds now."""
        from tutor.tui.screens.sound_file import SoundFileScreen

        self.hush()
        self.app.push_screen(SoundFileScreen(self._passages(), self.song.title))

    def _passages(self) -> list[Part]:
        """What can be written from the cursor's place."""
        whole = (self.bars[0].start, self.bars[-1].end)
        return [
            self._passage("This phrase", self._stretch([b.phrase for b in self.bars])),
            self._passage("This section", self._stretch([b.section for b in self.bars])),
            self._passage("The whole song", None if self.playback.in_order else whole),
        ]

    def _passage(self, title: str, stretch: tuple[float, float] | None) -> Part:
        """One of them, in the key, the tempo and the parts chosen."""
        from tutor.studio.exports import write_passage
        from tutor.tui.screens.sound_file import Part

        song, semitones, mute, tempo = self.song, self.semitones, self._mute, self._how["tempo"]
        assert isinstance(tempo, float)

        def write(path: Path, sounds: Sounds | None) -> None:
            write_passage(song, path, stretch=stretch, semitones=semitones, tempo=tempo, mute=mute, sounds=sounds)

        words = bar_words(song.table, *(stretch or (self.bars[0].start, self.bars[-1].end)))
        return Part(title, words, song.title if title == "The whole song" else f"{song.title} {words}", write)

    # -- passages

    def _cut(self, start: float, end: float) -> Phrase:
        from tutor.tui.transpose import transposed

        return transposed(cut(self.song.table, start, end), self.semitones)

    def _bars_between(self, start: float, end: float) -> tuple[int, int]:
        inside = [b.index for b in self.bars if b.end > start + 1e-6 and b.start < end - 1e-6]
        return inside[0], inside[-1]

    def _stretch(self, of: list[int]) -> tuple[float, float]:
        """From the first to behind the last bar that belongs with the cursor's."""
        first = last = self.at
        while first > 0 and of[first - 1] == of[self.at]:
            first -= 1
        while last < len(of) - 1 and of[last + 1] == of[self.at]:
            last += 1
        return self.bars[first].start, self.bars[last].end
