"""Moving everything to another machine: one file out, one file in."""

from __future__ import annotations

import contextlib
import sqlite3
import tempfile
from datetime import datetime
from pathlib import Path

from tutor.errors import StoreError
from tutor.store import migrations, opening

_KINDS = ("singer", "song", "note_table", "reading", "card", "review", "session", "diary", "setting")
"""Tables in an order that foreign keys allow."""


def export(connection: sqlite3.Connection, target: Path) -> None:
    """Write all that is stored into one new file.

    Raises:
        StoreError: the file is there already or cannot be written.
    """
    if target.exists():
        raise StoreError("there is a file of that name already", where=str(target), remedy="Choose another name")
    try:
        with opening.private():
            connection.execute("VACUUM INTO ?", (str(target),))
    except (sqlite3.Error, OSError) as error:
        target.unlink(missing_ok=True)
        raise StoreError(
            f"the file cannot be written ({error})", where=str(target), remedy="Choose a folder that can be written"
        ) from error


def bring_in(folder: Path, source: Path, now: datetime) -> Path | None:
    """Replace what is stored in ``folder`` by an exported file; close the store first.

    Rows are copied into a fresh store, so nothing but rows of known shape comes in.

    Args:
        folder: the data folder.
        source: the exported file.
        now: aware UTC, for the name under which the present store is kept.

    Returns:
        Where the present store is kept, or None when there was none.

    Raises:
        StoreError: the file is no export, or a newer program wrote it; nothing was changed.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    with tempfile.TemporaryDirectory(dir=folder, prefix="import-") as scratch, opening.private():
        fresh = Path(scratch) / "fresh.db"
        _copy_rows(source, Path(scratch), fresh)
        present = folder / opening.FILE
        kept: Path | None = None
        if present.exists():
            kept = folder / f"larkstair.before-import-{now:%Y%m%d-%H%M%S}.db"
            present.replace(kept)
            for tail in ("-wal", "-shm"):
                with contextlib.suppress(FileNotFoundError):
                    present.with_name(present.name + tail).replace(kept.with_name(kept.name + tail))
        fresh.replace(present)
    return kept


def _copy_rows(source: Path, scratch: Path, fresh: Path) -> None:
    try:
        copy = scratch / "given.db"
        copy.write_bytes(source.read_bytes())
        given = sqlite3.connect(copy, isolation_level=None)
    except OSError as error:
        raise StoreError(
            f"the file cannot be read ({error.strerror})", where=str(source), remedy="Check the path"
        ) from error
    made = sqlite3.connect(fresh, isolation_level=None)
    try:
        given.execute("PRAGMA trusted_schema = OFF")
        found = migrations.version_of(given)
        if found > migrations.VERSION:
            raise StoreError(
                f"a newer Larkstair wrote this file (version {found}, this one knows {migrations.VERSION})",
                where=str(source),
                remedy="Install the newer Larkstair here too",
            )
        if found == 0 or given.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
            raise sqlite3.DatabaseError("no store")
        migrations.migrate(given)
        migrations.migrate(made)
        made.execute("BEGIN")
        for kind in _KINDS:
            names = [row[1] for row in made.execute(f"PRAGMA table_info({kind})")]
            marks = ", ".join("?" * len(names))
            rows = given.execute(f"SELECT {', '.join(names)} FROM {kind}")
            made.executemany(f"INSERT INTO {kind} VALUES ({marks})", rows)
        made.execute("COMMIT")
    except sqlite3.Error as error:
        raise StoreError(
            "this is not a file that Larkstair exported",
            where=str(source),
            remedy="Make one with: larkstair export FILE",
        ) from error
    finally:
        given.close()
        made.close()
