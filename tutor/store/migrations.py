"""Numbered steps that bring a store to today's shape; each applied once, in one transaction, never edited later."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence

STEPS: tuple[tuple[str, str], ...] = (
    (
        "singers, songs, practice and warm-ups",
        """
        CREATE TABLE singer (
            name TEXT PRIMARY KEY,
            profile TEXT NOT NULL           -- SingerProfile as JSON
        ) STRICT;
        CREATE TABLE song (
            id TEXT PRIMARY KEY,            -- SHA-256 of the file
            title TEXT NOT NULL,
            composer TEXT NOT NULL,
            path TEXT NOT NULL,             -- where it was last opened from
            bundled INTEGER NOT NULL,
            opened_at TEXT NOT NULL
        ) STRICT;
        CREATE TABLE note_table (
            song TEXT NOT NULL REFERENCES song(id) ON DELETE CASCADE,
            version INTEGER NOT NULL,       -- of the score reader
            body TEXT NOT NULL,
            PRIMARY KEY (song, version)
        ) STRICT;
        CREATE TABLE reading (
            song TEXT NOT NULL REFERENCES song(id) ON DELETE CASCADE,
            version TEXT NOT NULL,          -- of the engine, the reader and the user's corrections
            body TEXT NOT NULL,
            PRIMARY KEY (song, version)
        ) STRICT;
        CREATE TABLE card (
            singer TEXT NOT NULL REFERENCES singer(name) ON DELETE CASCADE ON UPDATE CASCADE,
            drill TEXT NOT NULL,
            skill TEXT NOT NULL,
            body TEXT NOT NULL,
            PRIMARY KEY (singer, drill, skill)
        ) STRICT;
        CREATE TABLE review (
            id INTEGER PRIMARY KEY,
            singer TEXT NOT NULL REFERENCES singer(name) ON DELETE CASCADE ON UPDATE CASCADE,
            drill TEXT NOT NULL,
            skill TEXT NOT NULL,
            at TEXT NOT NULL,               -- aware UTC
            body TEXT NOT NULL
        ) STRICT;
        CREATE INDEX review_by_singer ON review (singer, at);
        CREATE TABLE session (
            id INTEGER PRIMARY KEY,
            singer TEXT NOT NULL REFERENCES singer(name) ON DELETE CASCADE ON UPDATE CASCADE,
            kind TEXT NOT NULL,             -- 'practice' or 'warmup'
            started_at TEXT NOT NULL,
            changed_at TEXT NOT NULL,
            finished INTEGER NOT NULL DEFAULT 0,
            body TEXT NOT NULL
        ) STRICT;
        CREATE TABLE diary (
            id INTEGER PRIMARY KEY,
            singer TEXT NOT NULL REFERENCES singer(name) ON DELETE CASCADE ON UPDATE CASCADE,
            at TEXT NOT NULL,
            body TEXT NOT NULL
        ) STRICT;
        CREATE TABLE setting (
            name TEXT PRIMARY KEY,
            value TEXT NOT NULL
        ) STRICT;
        """,
    ),
    (
        "the days on which notes strained",
        """
        UPDATE singer SET profile = json_set(profile, '$.strained_on', json('[]')) WHERE json_valid(profile);
        """,
    ),
)

VERSION = len(STEPS)
"""Version of the store that this program writes."""


def migrate(connection: sqlite3.Connection, steps: Sequence[tuple[str, str]] = STEPS) -> None:
    """Apply the steps that are missing, each in a transaction of its own: a kill leaves the old shape or the new.

    The version is read inside the transaction, so that of two copies that start at once only one takes the step.
    """
    while version_of(connection) < len(steps):
        connection.execute("BEGIN IMMEDIATE")
        try:
            found = version_of(connection)
            if found < len(steps):
                for statement in _statements(steps[found][1]):
                    connection.execute(statement)
                connection.execute(f"PRAGMA user_version = {found + 1}")
        except BaseException:
            connection.execute("ROLLBACK")
            raise
        connection.execute("COMMIT")


def _statements(script: str) -> Iterator[str]:
    """The statements of a script, one by one."""
    begun = ""
    for piece in script.split(";"):
        begun += piece + ";"
        if sqlite3.complete_statement(begun):
            if begun.strip(" \n;"):
                yield begun
            begun = ""


def version_of(connection: sqlite3.Connection) -> int:
    """The version a store is at; 0 for an empty one."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])
