"""The store: values in, values out, in one SQLite file in the user's data folder.

Every method that writes returns only after the change is on disk (WAL, synchronous=FULL), so what the screen shows as
saved survives a kill. One lock guards the connection: the screen and its workers share it.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
import threading
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

from tutor.errors import StoreError
from tutor.music.voice import SingerProfile
from tutor.practice.schedule import Card, Review
from tutor.store import moving, opening, records
from tutor.store.records import Kept, SongCard, profile_to_json

_T = TypeVar("_T")
_BACKUP_EVERY = timedelta(hours=20)
_KEEP_READINGS = 3
"""Readings kept for one song: today's, and two others in case a correction is taken back."""


class Store:
    """One user's data.

    Args:
        connection: an open connection at today's version (see `opening.open_connection`).
        folder: where the file lies; None in memory.
        clock: gives aware UTC.
        notice: a line for the user about what happened when opening.
    """

    def __init__(
        self, connection: sqlite3.Connection, folder: Path | None, clock: Callable[[], datetime], notice: str = ""
    ) -> None:
        self._connection = connection
        self._folder = folder
        self._clock = clock
        self._lock = threading.RLock()
        self.notice = notice

    @classmethod
    def open(cls, folder: Path | None, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> Store:
        """Open the store in ``folder`` (None: in memory), making it where there is none.

        Raises:
            StoreError: it cannot be opened; one line says what to do.
        """
        connection, notice = opening.open_connection(folder, clock())
        return cls(connection, folder, clock, notice)

    @property
    def folder(self) -> Path | None:
        """The user's data folder; None in memory."""
        return self._folder

    def close(self) -> None:
        """Back up if that is due, and let the file go; safe to call twice."""
        with self._lock, contextlib.suppress(sqlite3.ProgrammingError):
            self.back_up_if_due()
            self._connection.close()

    # -- singers

    def keep_singer(self, profile: SingerProfile) -> None:
        """Add a singer or change the profile."""
        with self._writing() as db:
            db.execute(
                "INSERT INTO singer VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET profile = excluded.profile",
                (profile.name, profile_to_json(profile)),
            )

    def rename_singer(self, name: str, new: str) -> None:
        """Give a singer another name; everything kept for the singer follows."""
        with self._writing() as db:
            row = db.execute("SELECT profile FROM singer WHERE name = ?", (name,)).fetchone()
            raw = json.loads(row[0]) | {"name": new}
            db.execute("UPDATE singer SET name = ?, profile = ? WHERE name = ?", (new, json.dumps(raw), name))

    def forget_singer(self, name: str) -> None:
        """Delete a singer and everything kept for the singer."""
        with self._writing() as db:
            db.execute("DELETE FROM singer WHERE name = ?", (name,))

    def singers(self) -> tuple[SingerProfile, ...]:
        """Every singer, by name."""
        return self._sound(records.profile_from_json, "SELECT name, profile FROM singer ORDER BY name")

    # -- songs

    def keep_song(self, song: SongCard) -> None:
        """Add a song to the library, or note that it was opened again."""
        at = (song.opened_at or self._clock()).isoformat()
        with self._writing() as db:
            db.execute(
                "INSERT INTO song VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET title = excluded.title, "
                "composer = excluded.composer, path = excluded.path, opened_at = excluded.opened_at",
                (song.id, song.title, song.composer, song.path, int(song.bundled), at),
            )

    def songs(self) -> tuple[SongCard, ...]:
        """The library, last opened first."""
        query = "SELECT id, title, composer, path, bundled, opened_at FROM song ORDER BY opened_at DESC, id"
        return self._sound(records.song_from_row, query)

    def forget_song(self, song_id: str) -> None:
        """Take a song out of the library; the file itself is never touched."""
        with self._writing() as db:
            db.execute("DELETE FROM song WHERE id = ?", (song_id,))

    def keep_table(self, song_id: str, version: int, body: str) -> None:
        """Cache a note table; tables of other reader versions go."""
        with self._writing() as db:
            db.execute("DELETE FROM note_table WHERE song = ? AND version <> ?", (song_id, version))
            db.execute("INSERT OR REPLACE INTO note_table VALUES (?, ?, ?)", (song_id, version, body))

    def table(self, song_id: str, version: int) -> str | None:
        """A cached note table of this reader version."""
        rows = self._rows("SELECT body FROM note_table WHERE song = ? AND version = ?", song_id, version)
        return str(rows[0][0]) if rows else None

    def keep_reading(self, song_id: str, version: str, body: str) -> None:
        """Cache a reading."""
        with self._writing() as db:
            db.execute("INSERT OR REPLACE INTO reading VALUES (?, ?, ?)", (song_id, version, body))
            db.execute(
                "DELETE FROM reading WHERE song = ?1 AND rowid NOT IN "
                "(SELECT rowid FROM reading WHERE song = ?1 ORDER BY rowid DESC LIMIT ?2)",
                (song_id, _KEEP_READINGS),
            )

    def reading(self, song_id: str, version: str) -> str | None:
        """A cached reading of this version."""
        rows = self._rows("SELECT body FROM reading WHERE song = ? AND version = ?", song_id, version)
        return str(rows[0][0]) if rows else None

    # -- practice

    def cards(self, singer: str) -> tuple[Card, ...]:
        """Every card of a singer."""
        query = "SELECT singer, drill, skill, body FROM card WHERE singer = ? ORDER BY drill, skill"
        return self._sound(records.card_from_json, query, singer)

    def reviews(self, singer: str) -> tuple[Review, ...]:
        """Every review of a singer, oldest first."""
        query = "SELECT singer, body FROM review WHERE singer = ? ORDER BY at, id"
        return self._sound(records.review_from_json, query, singer)

    def keep_answer(self, session: int, body: dict[str, Any], card: Card, review: Review, *, finished: bool) -> None:
        """Keep an answer, the card it moved and the session as it now stands, all or nothing."""
        with self._writing() as db:
            self._put_card(db, card)
            db.execute(
                "INSERT INTO review (singer, drill, skill, at, body) VALUES (?, ?, ?, ?, ?)",
                (card.singer, card.drill, card.skill, review.at.isoformat(), json.dumps(review.to_json())),
            )
            self._put_session(db, session, body, finished=finished)

    def keep_cards(self, cards: Iterable[Card]) -> None:
        """Keep cards without an answer: the start that a placement found."""
        with self._writing() as db:
            for card in cards:
                self._put_card(db, card)

    def take_back(self, session: int, body: dict[str, Any], singer: str, drill: str, skill: str,
                  before: Card | None) -> None:  # fmt: skip
        """Undo the last answer given to a skill: the review goes, the card is as it was before."""
        with self._writing() as db:
            db.execute(
                "DELETE FROM review WHERE id = "
                "(SELECT max(id) FROM review WHERE singer = ? AND drill = ? AND skill = ?)",
                (singer, drill, skill),
            )
            db.execute("DELETE FROM card WHERE singer = ? AND drill = ? AND skill = ?", (singer, drill, skill))
            if before is not None:
                self._put_card(db, before)
            self._put_session(db, session, body, finished=False)

    def set_aside(self, session: int, body: dict[str, Any], review: Review, before: Card, *, finished: bool) -> None:
        """Keep the last review of a skill as withdrawn, with the card as it was before it."""
        with self._writing() as db:
            db.execute(
                "UPDATE review SET body = ? WHERE id = "
                "(SELECT max(id) FROM review WHERE singer = ? AND drill = ? AND skill = ?)",
                (json.dumps(review.to_json()), review.singer, review.drill, review.skill),
            )
            self._put_card(db, before)
            self._put_session(db, session, body, finished=finished)

    # -- sessions and warm-up runs

    def begin(self, kind: str, singer: str, body: dict[str, Any]) -> int:
        """Keep a new session or run; an unfinished one of the same kind is closed."""
        now = self._clock().isoformat()
        with self._writing() as db:
            db.execute("UPDATE session SET finished = 1 WHERE singer = ? AND kind = ?", (singer, kind))
            done = db.execute(
                "INSERT INTO session (singer, kind, started_at, changed_at, body) VALUES (?, ?, ?, ?, ?)",
                (singer, kind, now, now, json.dumps(body)),
            )
            return int(done.lastrowid or 0)

    def keep_session(self, session: int, body: dict[str, Any], *, finished: bool = False) -> None:
        """Keep a session or run as it now stands."""
        with self._writing() as db:
            self._put_session(db, session, body, finished=finished)

    def unfinished(self, singer: str, kind: str) -> Kept | None:
        """The session or run that was left in the middle."""
        found = self._sound(
            records.kept_from_row,
            "SELECT id, kind, started_at, changed_at, body FROM session WHERE singer = ? AND kind = ? AND finished = 0 "
            "ORDER BY id DESC LIMIT 1",
            singer, kind,
        )  # fmt: skip
        return found[0] if found else None

    # -- diary and settings

    def keep_diary(self, singer: str, entry: dict[str, Any]) -> None:
        """Add a diary entry of a warm-up."""
        with self._writing() as db:
            db.execute(
                "INSERT INTO diary (singer, at, body) VALUES (?, ?, ?)",
                (singer, self._clock().isoformat(), json.dumps(entry)),
            )

    def diary(self, singer: str) -> tuple[dict[str, Any], ...]:
        """The diary of a singer, oldest first."""
        return tuple(body for _, body in self.diary_entries(singer))

    def diary_entries(self, singer: str) -> tuple[tuple[int, dict[str, Any]], ...]:
        """The diary of a singer, oldest first, each entry with its number."""
        query = "SELECT id, body FROM diary WHERE singer = ? ORDER BY at, id"
        return self._sound(lambda number, body: (int(number), records.mapping(body)), query, singer)

    def forget_diary(self, number: int) -> tuple[Any, ...] | None:
        """Delete one diary entry; gives what `restore_diary` needs, None where there is none of that number."""
        rows = self._rows("SELECT id, singer, at, body FROM diary WHERE id = ?", number)
        with self._writing() as db:
            db.execute("DELETE FROM diary WHERE id = ?", (number,))
        return rows[0] if rows else None

    def restore_diary(self, row: tuple[Any, ...]) -> None:
        """Put a deleted diary entry back where it was."""
        with self._writing() as db:
            db.execute("INSERT OR IGNORE INTO diary (id, singer, at, body) VALUES (?, ?, ?, ?)", row)

    def setting(self, name: str, default: str = "") -> str:
        """A setting, or ``default`` where it was never set."""
        rows = self._rows("SELECT value FROM setting WHERE name = ?", name)
        return str(rows[0][0]) if rows else default

    def keep_setting(self, name: str, value: str) -> None:
        """Set a setting."""
        with self._writing() as db:
            db.execute("INSERT OR REPLACE INTO setting VALUES (?, ?)", (name, value))

    # -- the whole

    def counts(self) -> dict[str, int]:
        """What is stored, by kind, for the page that lists it."""
        kinds = ("singer", "song", "reading", "card", "review", "session", "diary", "setting")
        return {kind: int(self._rows(f"SELECT count(*) FROM {kind}")[0][0]) for kind in kinds}

    def forget_everything(self) -> None:
        """Delete all that is stored, and the automatic backup."""
        with self._writing() as db:
            for kind in ("singer", "song", "setting"):
                db.execute(f"DELETE FROM {kind}")
        self.tidy()
        with self._lock:
            if self._folder is not None:
                (self._folder / opening.BACKUP).unlink(missing_ok=True)

    def tidy(self) -> None:
        """Write the file anew, so that nothing deleted lingers in it or in its journal."""
        with self._lock, _told(self._folder):
            self._connection.execute("VACUUM")
            self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def export(self, target: Path) -> None:
        """Write all that is stored into one new file.

        Raises:
            StoreError: the file is there already or cannot be written.
        """
        with self._lock:
            moving.export(self._connection, target)

    def back_up_if_due(self) -> None:
        """Make the automatic backup when the last one is old."""
        if self._folder is None:
            return
        backup = self._folder / opening.BACKUP
        now = self._clock()
        if backup.exists() and now - datetime.fromtimestamp(backup.stat().st_mtime, UTC) < _BACKUP_EVERY:
            return
        with self._lock, contextlib.suppress(sqlite3.Error, OSError):
            opening.back_up(self._connection, self._folder)

    # -- inside

    def _put_card(self, db: sqlite3.Connection, card: Card) -> None:
        db.execute(
            "INSERT OR REPLACE INTO card VALUES (?, ?, ?, ?)",
            (card.singer, card.drill, card.skill, json.dumps(card.to_json())),
        )

    def _put_session(self, db: sqlite3.Connection, session: int, body: dict[str, Any], *, finished: bool) -> None:
        db.execute(
            "UPDATE session SET body = ?, changed_at = ?, finished = ? WHERE id = ?",
            (json.dumps(body), self._clock().isoformat(), int(finished), session),
        )

    def _sound(self, made: Callable[..., _T], query: str, *values: object) -> tuple[_T, ...]:
        """What rows hold; one that cannot be read is passed over, and the user told once."""
        found: list[_T] = []
        for row in self._rows(query, *values):
            try:
                found.append(made(*row))
            except records.UNREADABLE:
                self.notice = self.notice or "Something in the store could not be read and is left out."
        return tuple(found)

    def _rows(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        with self._lock, _told(self._folder):
            return self._connection.execute(query, values).fetchall()

    @contextlib.contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._lock, _told(self._folder):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            self._connection.execute("COMMIT")


@contextlib.contextmanager
def _told(folder: Path | None) -> Iterator[None]:
    """Turn faults of the file into one line for the user."""
    try:
        yield
    except (sqlite3.IntegrityError, sqlite3.ProgrammingError):
        raise
    except sqlite3.DatabaseError as error:
        raise StoreError(
            f"the store cannot be used ({error})",
            where=str(folder or "memory"),
            remedy="See that the disk has room and no other copy of Larkstair is busy; the last change was not kept",
        ) from error
