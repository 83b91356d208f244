"""Moving everything to another machine: one file out, one file in."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from datetime import datetime
from pathlib import Path

from tutor.errors import StoreError
from tutor.store import migrations, opening

MOST_BYTES = 2_000_000_000
"""A larger file is refused."""
_KINDS = ("singer", "song", "note_table", "reading", "card", "review", "session", "diary", "setting")
"""Tables in an order that foreign keys allow."""
_FOREIGN = (
    "SELECT 1 FROM sqlite_schema WHERE type NOT IN ('table', 'index') OR sql LIKE 'CREATE VIRTUAL%' "
    "OR sql LIKE '%GENERATED ALWAYS%'"
)
"""What can run code of its own; a store has none of it."""


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
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.TemporaryDirectory(dir=folder, prefix="import-") as scratch, opening.private():
            fresh = Path(scratch) / "fresh.db"
            _copy_rows(source, Path(scratch), fresh)
            present = folder / opening.FILE
            kept: Path | None = None
            if present.exists():
                _in_nobodys_hands(present)
                kept = opening.set_aside(present, "before-import", now)
            fresh.replace(present)
    except OSError as error:
        raise StoreError(
            f"the data folder cannot be written ({error.strerror or error})",
            where=str(folder),
            remedy="Close other copies of Larkstair, and see that the disk has room",
        ) from error
    return kept


def _in_nobodys_hands(present: Path) -> None:
    """See that no other copy of the program has the store open: what it kept from now on would be lost.

    Raises:
        StoreError: one has.
    """
    held = sqlite3.connect(present, isolation_level=None, timeout=0.0)
    try:
        held.execute("PRAGMA journal_mode = DELETE")  # asks for the file as a whole, and takes the journal into it
    except sqlite3.OperationalError as error:
        raise StoreError(
            f"the store here is in use ({error})", where=str(present), remedy="Close Larkstair first, then import"
        ) from error
    except sqlite3.DatabaseError:
        pass  # damaged: it is set aside as it is
    finally:
        held.close()


def _copy_rows(source: Path, scratch: Path, fresh: Path) -> None:
    try:
        copy = scratch / "given.db"
        if source.stat().st_size > MOST_BYTES:
            raise StoreError("the file is too large", where=str(source), remedy="Choose a file that Larkstair exported")
        shutil.copyfile(source, copy)
        given = sqlite3.connect(copy, isolation_level=None)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no such path"
        raise StoreError(f"the file cannot be read ({reason})", where=str(source), remedy="Check the path") from error
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
        if (
            found == 0
            or given.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok"
            or given.execute(_FOREIGN).fetchone()
        ):
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
    except (sqlite3.Error, ValueError) as error:
        raise StoreError(
            "this is not a file that Larkstair exported",
            where=str(source),
            remedy="Make one with: larkstair export FILE",
        ) from error
    finally:
        given.close()
        made.close()
