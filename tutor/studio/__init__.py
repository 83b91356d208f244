"""The composition root: clock, dice, store, devices and songs, wired together for the screens and the command line."""

from __future__ import annotations

import random
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tutor.music.phrase import Line, Phrase
from tutor.music.voice import Condition, SingerProfile, VoiceType
from tutor.practice.drill import Song
from tutor.practice.schedule import Card, Review
from tutor.sound.ports import Clip, Playing
from tutor.store.folder import data_folder
from tutor.store.records import SongCard
from tutor.store.store import Store
from tutor.studio.library import Library
from tutor.studio.outlets import Outlets, open_outlets, silent
from tutor.studio.rehearsal import Rehearsal
from tutor.warmup.model import Given

FIRST_SINGER = "Singer"
"""Name of the singer until one is given."""


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
        self.outlets.close()
        self.store.close()

    # -- devices and sound

    def open_devices(self) -> None:
        """Open loudspeaker and keyboard; slow, call from a worker. Does nothing in a silent studio."""
        if self._silent:
            return
        fresh = open_outlets(output=self.store.setting("output"), keyboard=self.store.setting("keyboard"))
        with self._guard:
            before, self.outlets = self.outlets, fresh
        before.close()

    @property
    def trouble(self) -> str:
        """One line about sound that is missing; empty when all is well."""
        return self.outlets.player_trouble

    def play(self, phrase: Phrase, *, mute: Sequence[Line] = ()) -> Playing:
        """Render a phrase and play it at once; what sounded before stops.

        Raises:
            PortUnavailable: the device is gone.
        """
        return self.play_clip(self.render(phrase, mute=mute))

    def render(self, phrase: Phrase, *, mute: Sequence[Line] = ()) -> Clip:
        """A phrase as sound."""
        from tutor.sound.synth import render

        return render(phrase, mute=tuple(mute))

    def play_clip(self, clip: Clip) -> Playing:
        """Play a rendered clip; what sounded before stops."""
        with self._guard:
            self._playing = self.outlets.player.play(clip)
            return self._playing

    def stop(self) -> None:
        """Silence."""
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
        profile = SingerProfile.default(self.singer.name, voice)
        self.keep_singer(profile)
        return profile

    def remember_strain(self, midi: int) -> None:
        """Remember a note at which the singer said that it strains."""
        singer = self.singer
        self.store.keep_singer(replace(singer, strained_at=(*singer.strained_at, midi)[-20:]))

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
        transpose: int = 0,
    ) -> Given:
        """Plan a warm-up for a song and the chosen singer."""
        from tutor.warmup.plan import plan

        return plan(
            song.table, song.reading, self.singer, minutes=minutes, condition=condition,
            until_recording_min=until_recording_min, transpose=transpose,
        )  # fmt: skip

    def begin_run(self, body: dict[str, Any]) -> int:
        """Keep a warm-up run that begins; gives its number."""
        return self.store.begin("warmup", self.singer.name, body)

    def keep_run(self, number: int, body: dict[str, Any], *, finished: bool = False) -> None:
        """Keep a warm-up run as it now stands."""
        self.store.keep_session(number, body, finished=finished)

    def unfinished_run(self) -> tuple[int, dict[str, Any]] | None:
        """The warm-up that was left in the middle."""
        kept = self.store.unfinished(self.singer.name, "warmup")
        return (kept.id, kept.body) if kept else None
