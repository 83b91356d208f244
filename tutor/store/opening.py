"""Opening a store safely: permissions, a damaged file, a newer version, the automatic backup."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from tutor.errors import StoreError
from tutor.store import migrations

FILE = "larkstair.db"
BACKUP = "larkstair.backup.db"
_BUSY_MS = 5_000
_TRIES, _PAUSE_S = 4, 0.15


def open_connection(folder: Path | None, now: datetime) -> tuple[sqlite3.Connection, str]:
    """Open (or make) the store in ``folder``; in memory when it is None.

    A damaged store is kept aside under a dated name and the automatic backup takes its place.

    Args:
        folder: the user's data folder.
        now: aware UTC, for the name of a store kept aside.

    Returns:
        The connection, at today's version, and a line for the user ('' when all is well).

    Raises:
        StoreError: the folder cannot be written, the store is locked, or a newer program wrote it.
    """
    if folder is None:
        connection = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        _set_up(connection)
        migrations.migrate(connection)
        return connection, ""
    path = folder / FILE
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with private():
            return _ready_soon(path), ""
    except sqlite3.DatabaseError as error:
        if _is_passing(error):
            raise StoreError(
                f"the store cannot be used ({error})",
                where=str(path),
                remedy="Close other copies of Larkstair, and see that the folder can be written",
            ) from error
        return _restored(path, now)
    except OSError as error:
        raise StoreError(
            f"the data folder cannot be written ({error.strerror or error})",
            where=str(folder),
            remedy="Choose another with the environment variable LARKSTAIR_HOME",
        ) from error


def back_up(connection: sqlite3.Connection, folder: Path) -> None:
    """Copy the store beside itself; the copy is complete or not there at all."""
    target = folder / BACKUP
    fresh = folder / (BACKUP + ".new")
    fresh.unlink(missing_ok=True)
    with private():
        copy = sqlite3.connect(fresh)
        try:
            connection.backup(copy)
        finally:
            copy.close()
    fresh.replace(target)


def _ready_soon(path: Path) -> sqlite3.Connection:
    """As `_ready`; another copy that starts at the same moment may be in the way for a moment."""
    for _ in range(_TRIES):
        try:
            return _ready(path)
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) and "disk I/O" not in str(error):
                raise
            time.sleep(_PAUSE_S)
    return _ready(path)


def _ready(path: Path) -> sqlite3.Connection:
    # One connection serves the screen and its workers; the store takes a lock around every use.
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    try:
        connection.execute(f"PRAGMA busy_timeout = {_BUSY_MS}")
        found = migrations.version_of(connection)
        if found > migrations.VERSION:
            raise StoreError(
                f"the store was written by a newer Larkstair (version {found}, this one knows {migrations.VERSION})",
                where=str(path),
                remedy="Install the newer Larkstair again; nothing was changed",
            )
        if connection.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
            raise sqlite3.DatabaseError("the store is damaged")
        _set_up(connection)
        if 0 < found < migrations.VERSION:
            back_up(connection, path.parent)
        migrations.migrate(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def _restored(path: Path, now: datetime) -> tuple[sqlite3.Connection, str]:
    try:
        aside = set_aside(path, "damaged", now)
    except OSError as error:
        raise StoreError(
            f"the store is damaged and cannot be set aside ({error.strerror or error})",
            where=str(path),
            remedy="Close other copies of Larkstair, and see that the folder can be written",
        ) from error
    backup = path.with_name(BACKUP)
    said = f"The store was damaged and is kept as {aside.name}; "
    if backup.exists():
        try:
            with private():
                path.write_bytes(backup.read_bytes())
                return _ready(path), said + "the last automatic backup was put in its place."
        except (sqlite3.DatabaseError, OSError):
            path.unlink(missing_ok=True)
    with private():
        return _ready(path), said + "there was no usable backup, so a new one was begun."


def set_aside(path: Path, why: str, now: datetime) -> Path:
    """Rename a store, its journal with it, to a dated name that nothing has yet; gives the new path.

    Raises:
        OSError: it cannot be renamed.
    """
    stem = f"larkstair.{why}-{now:%Y%m%d-%H%M%S}"
    aside = next(
        p for n in range(1, 1000) if not (p := path.with_name(f"{stem}{f'-{n}' if n > 1 else ''}.db")).exists()
    )
    path.replace(aside)
    for tail in ("-wal", "-shm"):
        with contextlib.suppress(FileNotFoundError):
            path.with_name(path.name + tail).replace(aside.with_name(aside.name + tail))
    return aside


def _set_up(connection: sqlite3.Connection) -> None:
    if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA secure_delete = ON")


def _is_passing(error: sqlite3.DatabaseError) -> bool:
    """True for faults that leave the file alone: locked, read-only, full disk, cannot open."""
    return isinstance(error, sqlite3.OperationalError) and "image is malformed" not in str(error)


@contextlib.contextmanager
def private() -> Iterator[None]:
    """Files made inside belong to the user alone."""
    before = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(before)
