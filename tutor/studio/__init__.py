"""The composition root: clock, dice, store, devices and songs, wired together for the screens and the command line."""

from __future__ import annotations

import random
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tutor.errors import PortUnavailable
from tutor.music.phrase import Line, Phrase
from tutor.music.voice import Condition, SingerProfile, VoiceType
from tutor.practice.drill import Song
from tutor.practice.schedule import Card, Review
from tutor.sound.ports import Clip, Player, Playing
from tutor.store.folder import data_folder, path_of
from tutor.store.records import SongCard
from tutor.store.store import Store
from tutor.studio import hearing
from tutor.studio.library import Library
from tutor.studio.outlets import Outlets, open_instrument, open_outlets, renew, silent
from tutor.studio.rehearsal import Rehearsal
from tutor.warmup.model import Given

if TYPE_CHECKING:
    from tutor.sound.synth import Sounds
    from tutor.studio.playback import Playback

FIRST_SINGER = "Singer"
"""Name of the singer until one is given."""
BUILT_IN = "built-in"
"""Setting of the SoundFont that asks for the program's own piano even where a SoundFont is found."""


def wall_clock() -> datetime:
    """The time now, aware UTC."""
    return datetime.now(UTC)


class Studio:
    """Everything a screen or a command needs, in one place.

    Args:
        store: the user's data.
        clock: gives aware UTC.
        dice: the only source of chance.
        outlets: the devices; tape until `open_devices` is called.
    """

    def __init__(
        self, store: Store, clock: Callable[[], datetime], dice: random.Random, outlets: Outlets | None = None
    ) -> None:
        self.store = store
        self.clock = clock
        self.outlets = outlets or silent()
        self.library = Library(store, clock, store.folder)
        self.rehearsal = Rehearsal(store, self.library, clock, dice)
        self._silent = outlets is not None
        self._playing: Playing | None = None
        self._playback: Playback | None = None
        self._sounds: Sounds | None = None
        self.sounds_trouble = ""
        """Why the SoundFont chosen in Setup is not used; empty when all is well."""
        self._guard = threading.Lock()

    @classmethod
    def open(
        cls,
        folder: Path | None = None,
        *,
        silent_ports: bool = False,
        in_memory: bool = False,
        clock: Callable[[], datetime] = wall_clock,
        seed: int | None = None,
    ) -> Studio:
        """Open the studio.

        Args:
            folder: the data folder; `data_folder()` if not given.
            silent_ports: never touch a device (tests, demos, `--silent`).
            in_memory: keep nothing on disk.
            clock: gives aware UTC.
            seed: seed of the dice; chance decides if not given.

        Raises:
            StoreError: the store cannot be opened.
        """
        store = Store.open(None if in_memory else folder or data_folder(), clock)
        return cls(store, clock, random.Random(seed), silent() if silent_ports else None)

    def close(self) -> None:
        """Stop the sound and close the store; safe to call twice."""
        self.stop()
        if self._playback is not None:
            self._playback.close()
        self.outlets.close()
        self.store.close()

    # -- devices and sound

    def open_devices(self) -> None:
        """Open loudspeaker and keyboard; slow, call from a worker. Does nothing in a silent studio."""
        if self._silent:
            return
        self.stop()
        # An instrument's port may be taken by one program only: it is let go before it is opened anew.
        if self.outlets.instrument is not None:
            self.outlets.instrument.close()
        fresh = open_outlets(
            output=self.store.setting("output"),
            keyboard=self.store.setting("keyboard"),
            instrument=self.store.setting("instrument"),
        )
        with self._guard:
            before, self.outlets = self.outlets, fresh
        before.close()
        hearing.apply(self.store, fresh.player)
        self.open_sounds()

    def open_sounds(self, *, find: bool | None = None) -> None:
        """Take the SoundFont named in Setup, else one found on the system, else the built-in piano; slow.

        Args:
            find: whether to look for one; a silent studio does not unless it is told to.
        """
        from tutor.sound.memory import return_large_blocks
        from tutor.sound.soundfont import find_soundfonts, sounds_from

        return_large_blocks()
        self._sounds, self.sounds_trouble = None, ""
        named = self.store.setting("soundfont")
        look = not self._silent if find is None else find
        if named == BUILT_IN or not (named or look):
            return
        for path in [path_of(named)] if named else find_soundfonts():
            try:
                self._sounds = sounds_from(path)
                return
            except PortUnavailable as error:
                self.sounds_trouble = error.line if named else ""

    def outputs(self) -> tuple[tuple[str, ...], tuple[Path, ...]]:
        """MIDI instruments and SoundFonts that are there now; slow, call from a worker. None in a silent studio."""
        if self._silent:
            return (), ()
        from tutor.sound.midi import list_instruments
        from tutor.sound.soundfont import find_soundfonts

        return list_instruments(), find_soundfonts()

    def inputs(self) -> tuple[str, ...]:
        """Microphones that are there now; slow, call from a worker. None in a silent studio."""
        if self._silent:
            return ()
        from tutor.sound.devices import list_inputs

        return tuple(dict.fromkeys(d.name for d in list_inputs()))

    def speakers(self) -> tuple[str, ...]:
        """Loudspeakers that are there now; slow, call from a worker. None in a silent studio."""
        if self._silent:
            return ()
        from tutor.sound.devices import list_outputs

        return tuple(dict.fromkeys(d.name for d in list_outputs()))

    def choose_instrument(self, name: str) -> None:
        """Play on a MIDI instrument from now on; empty for the loudspeaker. Trouble stands in the outlets."""
        self.store.keep_setting("instrument", name)
        self.stop()
        outlets = self.outlets
        before, outlets.instrument, outlets.instrument_trouble = outlets.instrument, None, ""
        if before is not None:
            before.close()
        if name and not self._silent:
            try:
                outlets.instrument = open_instrument(name)
            except PortUnavailable as error:
                outlets.instrument_trouble = error.line

    def choose_soundfont(self, named: str) -> None:
        """Take a SoundFont from now on: its path, `BUILT_IN`, or empty for one that is found; slow."""
        self.store.keep_setting("soundfont", named)
        self.stop()
        self.open_sounds()

    @property
    def has_soundfont(self) -> bool:
        """Whether a SoundFont plays."""
        return self._sounds is not None

    @property
    def sounds(self) -> Sounds:
        """The timbres everything is played with."""
        from tutor.sound.synth import SOUNDS

        return self._sounds or SOUNDS

    @property
    def trouble(self) -> str:
        """One line about sound that is missing; empty when all is well."""
        return self.lost or self.outlets.instrument_trouble or self.outlets.player_trouble

    @property
    def lost(self) -> str:
        """One line when what was opened has gone since; empty when it is there."""
        return str(getattr(self.outlets.instrument or self.outlets.player, "problem", ""))

    @property
    def playback(self) -> Playback:
        """Whole songs, from any bar."""
        if self._playback is None:
            from tutor.studio.playback import Playback

            self._playback = Playback(self._through, lambda: self.sounds, self._stop_clip)
        return self._playback

    def _through(self) -> Player:
        """What is played through now; an instrument that had gone is looked for again."""
        instrument = self.outlets.instrument
        if instrument is None:
            return self._speaker()
        if instrument.problem:
            instrument.close()
            instrument = self.outlets.instrument = open_instrument(self.store.setting("instrument"))
        return instrument

    def _speaker(self) -> Player:
        """The loudspeaker; where there was none it is looked for again, and the tape runs on if it has not come."""
        outlets = self.outlets
        if outlets.player_trouble and not self._silent and renew(outlets, self.store.setting("output")):
            hearing.apply(self.store, outlets.player)
        return outlets.player

    def play(self, phrase: Phrase, *, mute: Sequence[Line] = ()) -> Playing:
        """Play a phrase at once, on the loudspeaker or the instrument; what sounded before stops.

        Raises:
            PortUnavailable: the device is gone.
        """
        return self.prepared(phrase, mute=mute)()

    def prepared(self, phrase: Phrase, *, mute: Sequence[Line] = ()) -> Callable[[], Playing]:
        """Do what takes time; what is given plays the phrase at once. See `play`."""
        if self.outlets.instrument is None:
            clip = self.render(phrase, mute=mute)
            return lambda: self.play_clip(clip)
        from tutor.sound.engine import EventPlayer
        from tutor.sound.synth import TAIL_S, timeline_of

        notes, length_s = timeline_of(phrase, mute=tuple(mute)), phrase.length_s + TAIL_S

        def begin() -> Playing:
            through = self._through()
            if not isinstance(through, EventPlayer):
                return self.play_clip(self.render(phrase, mute=mute))
            return self._begin(lambda: through.play_events(notes, length_s, 0.0))

        return begin

    def render(self, phrase: Phrase, *, mute: Sequence[Line] = ()) -> Clip:
        """A phrase as sound."""
        from tutor.sound.synth import render

        return render(phrase, mute=tuple(mute), timbre=self.sounds)

    def play_clip(self, clip: Clip) -> Playing:
        """Play a rendered clip on the loudspeaker; what sounded before stops."""
        return self._begin(lambda: self._speaker().play(clip))

    def _begin(self, start: Callable[[], Playing]) -> Playing:
        if self._playback is not None:
            self._playback.pause()
        with self._guard:
            self._playing = start()
            return self._playing

    def stop(self) -> None:
        """Silence."""
        if self._playback is not None:
            self._playback.pause()
        self._stop_clip()

    def _stop_clip(self) -> None:
        with self._guard:
            if self._playing is not None:
                self._playing.stop()
                self._playing = None

    # -- the singer

    @property
    def singer(self) -> SingerProfile:
        """The singer chosen on this machine; a careful default until one is set."""
        singers = self.store.singers()
        chosen = self.store.setting("singer")
        found = next((s for s in singers if s.name == chosen), singers[0] if singers else None)
        if found is None:
            found = SingerProfile.default(FIRST_SINGER, "baritone")
            self.store.keep_singer(found)
        return found

    @property
    def newcomer(self) -> bool:
        """True until the singer has said which voice it is."""
        return not self.store.setting("voice-told")

    def keep_singer(self, profile: SingerProfile) -> None:
        """Add a singer or change the one of that name, and choose it."""
        self.store.keep_singer(profile)
        self.store.keep_setting("singer", profile.name)
        self.store.keep_setting("voice-told", "yes")

    def rename_singer(self, name: str) -> None:
        """Give the chosen singer another name."""
        now = self.singer.name
        if name and name != now:
            self.store.rename_singer(now, name)
            self.store.keep_setting("singer", name)

    def set_voice(self, voice: VoiceType) -> SingerProfile:
        """Set the voice type, with that type's usual range until a range is measured."""
        now = self.singer
        profile = replace(
            SingerProfile.default(now.name, voice), strained_at=now.strained_at, strained_on=now.strained_on
        )  # what strained is the singer's, whatever the voice is called
        self.keep_singer(profile)
        return profile

    def remember_strain(self, midi: int) -> None:
        """Remember a note at which the singer said that it strains."""
        from tutor.warmup.strains import remember

        self.store.keep_singer(remember(self.singer, midi, self.clock().astimezone().date()))

    # -- songs, practice, warm-up

    def songs(self) -> tuple[SongCard, ...]:
        """The library: the user's songs, last opened first, then bundled songs never opened."""
        return self.library.cards()

    def open_song(self, source: str | Path, *, stop: threading.Event | None = None) -> Song:
        """Open a song by path or bundled name; slow the first time, call from a worker.

        Raises:
            ScoreError: it cannot be read.
        """
        return self.library.open(source, stop=stop)

    def cards(self) -> tuple[Card, ...]:
        """The singer's cards."""
        return self.store.cards(self.singer.name)

    def reviews(self) -> tuple[Review, ...]:
        """The singer's answers, oldest first, without those set aside."""
        return tuple(r for r in self.store.reviews(self.singer.name) if not r.withdrawn)

    def warmup(
        self,
        song: Song,
        *,
        minutes: float,
        condition: Condition = "fresh",
        until_recording_min: float | None = None,
        days_since_singing: int = 0,
        margin_semitones: int = 0,
        transpose: int = 0,
    ) -> Given:
        """Plan a warm-up for a song and the chosen singer."""
        from tutor.warmup.plan import plan

        return plan(
            song.table, song.reading, self.singer, minutes=minutes, condition=condition,
            until_recording_min=until_recording_min, days_since_singing=days_since_singing,
            margin_semitones=margin_semitones, transpose=transpose, on=self.clock().astimezone().date(),
        )  # fmt: skip

    def begin_run(self, body: dict[str, Any]) -> int:
        """Keep a warm-up run that begins; gives its number. One left in the middle is closed, see `diary.put_aside`."""
        from tutor.studio import diary

        diary.put_aside(self)
        return self.store.begin("warmup", self.singer.name, body)

    def keep_run(self, number: int, body: dict[str, Any], *, finished: bool = False) -> None:
        """Keep a warm-up run as it now stands."""
        self.store.keep_session(number, body, finished=finished)

    def unfinished_run(self) -> tuple[int, dict[str, Any]] | None:
        """The warm-up that was left in the middle."""
        kept = self.store.unfinished(self.singer.name, "warmup")
        return (kept.id, kept.body) if kept else None
