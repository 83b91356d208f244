"""Practice: opens a session, keeps every answer, resumes what was left."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from tutor.music.voice import SingerProfile
from tutor.practice import session as sessions
from tutor.practice import stats
from tutor.practice.catalogue import drills
from tutor.practice.drill import Answer, Mark, Material, Song
from tutor.practice.schedule import Card
from tutor.practice.session import Asked, Session
from tutor.store.store import Store
from tutor.studio.library import Library
from tutor.studio.nearby import narrowed

_KIND = "practice"


class Rehearsal:
    """The practice of one singer.

    Args:
        store: where every answer is kept.
        library: where songs come from.
        clock: gives aware UTC.
        dice: the only source of chance.
    """

    def __init__(self, store: Store, library: Library, clock: Callable[[], datetime], dice: random.Random) -> None:
        self._store = store
        self._library = library
        self._clock = clock
        self._dice = dice
        self._session: Session | None = None
        self._number = 0
        self._songs: tuple[str, ...] = ()
        self._singer = ""

    @property
    def session(self) -> Session | None:
        """The session under way."""
        return self._session

    @property
    def current(self) -> Asked | None:
        """The question before the singer."""
        return self._session.current if self._session else None

    @property
    def dice(self) -> random.Random:
        """The only source of chance."""
        return self._dice

    def left_in_the_middle(self, singer: SingerProfile) -> tuple[int, int] | None:
        """Questions answered and planned of the session that was left; None when there is none.

        A timed session plans no number: 0.
        """
        kept = self._store.unfinished(singer.name, _KIND)
        if kept is None:
            return None
        inner = kept.body.get("session")
        if not isinstance(inner, dict):
            return None
        done, plan = (x if isinstance(x, list) else [] for x in (inner.get("done"), inner.get("plan")))
        return len(done), 0 if inner.get("minutes") else len(plan)

    def begin(
        self,
        singer: SingerProfile,
        *,
        songs: Sequence[str] = (),
        count: int | None = None,
        minutes: float | None = None,
        skills: Sequence[tuple[str, str]] | None = None,
        near: tuple[float, float] | None = None,
    ) -> Session:
        """Open a new session and keep it.

        Args:
            singer: who practises.
            songs: ids of the songs to draw on; none: fresh material alone.
            count: how many questions; or
            minutes: how long.
            skills: ask these alone, as (drill, skill).
            near: a stretch of the songs, in quarters, whose findings are asked about; None asks of all.

        Raises:
            ValueError: nothing can be asked.
        """
        self._songs = tuple(songs)
        self._singer = singer.name
        self._session = sessions.start(
            drills(), self._store.cards(singer.name), self._material(singer, near), rng=self._dice, now=self._clock(),
            count=count, minutes=minutes, skills=skills, singer=singer.name,
        )  # fmt: skip
        self._number = self._store.begin(_KIND, singer.name, self._body())
        return self._session

    def resume(self, singer: SingerProfile) -> Session | None:
        """Take up the session that was left in the middle; None when there is none that can be read."""
        kept = self._store.unfinished(singer.name, _KIND)
        if kept is None:
            return None
        self._singer = singer.name
        try:
            self._songs = tuple(str(s) for s in kept.body.get("songs", ()))
            raw = _sung_by(kept.body["session"], singer.name)
            self._session = Session.from_json(raw, drills(), self._material(singer)).taken_up(self._clock())
        except (KeyError, ValueError, TypeError):
            self._store.keep_session(kept.id, kept.body, finished=True)
            return None
        self._number = kept.id
        return self._session

    def answer(self, answer: Answer, seconds: float) -> Mark:
        """Judge an answer; it is kept before this returns.

        Raises:
            ValueError: nothing is being asked.
            StoreError: it could not be kept; the session stays where it was.
        """
        session = self._running()
        moved, mark, review = session.answer(answer, seconds, self._clock())
        card = moved.cards[review.drill, review.skill]
        self._store.keep_answer(self._number, self._body(moved), card, review, finished=moved.over)
        self._session = moved
        return mark

    def undo(self) -> None:
        """Take the latest answer back.

        Raises:
            ValueError: nothing was answered yet.
        """
        session = self._running()
        last = session.done[-1] if session.done else None
        back = session.undo()
        assert last is not None
        before: Card | None = last.before if last.before.state else None
        self._store.take_back(
            self._number, self._body(back), self._singer, last.before.drill, last.before.skill, before
        )
        self._session = back

    def dispute(self) -> None:
        """Set the latest answer aside: it counts nowhere.

        Raises:
            ValueError: nothing was answered yet.
        """
        session = self._running()
        moved, review = session.withdraw()
        before = moved.cards[review.drill, review.skill]
        self._store.set_aside(self._number, self._body(moved), review, before, finished=moved.over)
        self._session = moved

    def renew(self, song: Song) -> None:
        """Take a song that was corrected into the session; questions made ahead are made again from it."""
        session = self._session
        if session is None or session.material.song(song.id) is None:
            return
        songs = tuple(song if s.id == song.id else s for s in session.material.songs)
        made = max(0, session.made - len(session.queue))
        fresh = replace(session, material=replace(session.material, songs=songs), queue=(), made=made)
        self._session = fresh.prepare(1)

    def prepare(self) -> None:
        """Make the next questions ahead; cheap, for idle moments."""
        if self._session is not None:
            self._session = self._session.prepare()

    def stop(self) -> None:
        """End the session here; what was answered stays."""
        session = self._running().stop()
        self._store.keep_session(self._number, self._body(session), finished=True)
        self._session = session

    def drop(self) -> None:
        """Forget the session under way, here alone; what is stored stays."""
        self._session = None

    def _material(self, singer: SingerProfile, near: tuple[float, float] | None = None) -> Material:
        found = tuple(s for s in (self._library.get(i) for i in self._songs) if s is not None)
        if near is not None:
            found = tuple(narrowed(s, *near) for s in found)
        return Material(
            songs=found,
            low_midi=singer.low_midi,
            high_midi=singer.high_midi,
            confusions=stats.mistaken_for(self._store.reviews(singer.name)),
        )

    def _running(self) -> Session:
        if self._session is None:
            raise ValueError("no session is under way")
        return self._session

    def _body(self, session: Session | None = None) -> dict[str, Any]:
        return {"songs": list(self._songs), "session": (session or self._running()).to_json()}


def _sung_by(raw: Any, name: str) -> Any:
    """A kept session under the singer's present name: the singer may have been renamed since."""
    if isinstance(raw, dict):
        return {k: name if k == "singer" and isinstance(v, str) else _sung_by(v, name) for k, v in raw.items()}
    return [_sung_by(v, name) for v in raw] if isinstance(raw, list) else raw
