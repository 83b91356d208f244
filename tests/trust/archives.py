"""An exported store with everything in it, ways to damage it, and reading it to the bottom."""

from __future__ import annotations

import json
import random
import sqlite3
import tempfile
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from tests.quiz.packs import pack
from tests.score import makers
from tests.score.damage import mutated
from tutor.practice.drill import Answer
from tutor.practice.stats import mistaken_for
from tutor.store import moving
from tutor.store.store import Store
from tutor.studio import Studio, diary, keeping, quizdesk
from tutor.tui.look import Look
from tutor.tui.screens.gate import asked_today
from tutor.warmup.model import Plan
from tutor.warmup.run import begin, run_from_json, run_json, start, tick

NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
_TEXTS = (
    ("singer", "name"), ("singer", "profile"), ("song", "title"), ("song", "path"), ("song", "opened_at"),
    ("note_table", "body"), ("reading", "body"), ("card", "body"), ("review", "body"), ("review", "at"),
    ("session", "body"), ("session", "started_at"), ("diary", "body"), ("setting", "name"), ("setting", "value"),
)  # fmt: skip
_ODD = (
    "",
    "null",
    "[]",
    "{}",
    "3",
    '"x"',
    "\x1b[2J",
    "\u202e",
    "9" * 300,
    '{"at": 1}',
    "[" * 3000,
    "NaN",
    "-1",
    "1e999",
)


def filled(folder: Path) -> Studio:
    """A studio that has been used for all that it keeps."""
    studio = Studio.open(folder / "data", silent_ports=True, clock=lambda: NOW, seed=1)
    studio.set_voice("soprano")
    path = folder / "song.musicxml"
    path.write_bytes(makers.small_song())
    song = studio.open_song(path)
    studio.rehearsal.begin(studio.singer, songs=[song.id], count=4)
    studio.rehearsal.answer(Answer(), 1.0)
    studio.rehearsal.answer(Answer(), 2.0)
    given = studio.warmup(song, minutes=8)
    assert isinstance(given, Plan)
    run = tick(begin(start(given)), 60.0)
    studio.begin_run(run_json(run))
    diary.keep(studio, run, "easy")
    quizdesk.sit_down(studio, pack(2))
    quizdesk.begin_draft(studio, pack(2), [song])
    for name, value in settings_of(studio).items():
        studio.store.keep_setting(name, value)
    return studio


def settings_of(studio: Studio) -> dict[str, str]:
    """Every setting there is, with a good value."""
    name = studio.singer.name
    return {
        "singer": name, "voice-told": "yes", "look": Look("day").dumps(), "soundfont": "built-in", "output": "",
        "input": "", "keyboard": "", "instrument": "", "signs-asked": f"2026-05-04 {name}",
        f"range-later-{name}": NOW.isoformat(), f"assignment-0-{name}": NOW.isoformat(),
    }  # fmt: skip


@cache
def whole() -> bytes:
    """An exported store."""
    with tempfile.TemporaryDirectory() as folder:
        studio = filled(Path(folder))
        studio.store.export(Path(folder) / "all.larkstair")
        studio.close()
        return (Path(folder) / "all.larkstair").read_bytes()


def damaged(data: bytes, dice: random.Random) -> bytes:
    """Bytes of the file changed, or a file that is whole but for what one of its fields says."""
    if dice.random() < 0.4:
        return mutated(data, dice)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.db"
        path.write_bytes(data)
        db = sqlite3.connect(path)
        for _ in range(dice.choice((1, 1, 3))):
            table, column = dice.choice(_TEXTS)
            row = db.execute(f"SELECT rowid, {column} FROM {table} ORDER BY random() LIMIT 1").fetchone()
            if row is not None:
                new = dice.choice(_ODD) if dice.random() < 0.4 else _changed(str(row[1]), dice)
                db.execute("PRAGMA foreign_keys = OFF")
                db.execute(f"UPDATE OR REPLACE {table} SET {column} = ? WHERE rowid = ?", (new, row[0]))
        db.commit()
        db.close()
        return path.read_bytes()


def _changed(text: str, dice: random.Random) -> str:
    """Another text; where it is JSON, mostly JSON with another value in one place."""
    try:
        value = json.loads(text)
    except (ValueError, RecursionError):
        value = None
    if not isinstance(value, dict | list) or dice.random() < 0.2:
        return mutated(text.encode() or b"x", dice).decode("utf-8", "replace")
    at = value
    while True:
        keys = list(at) if isinstance(at, dict) else list(range(len(at)))
        if not keys:
            return text
        key = dice.choice(keys)
        if isinstance(at[key], dict | list) and at[key] and dice.random() < 0.8:
            at = at[key]
            continue
        at[key] = dice.choice((None, -1, 10**30, 0.5, "", "x\x1b[2J", [], {}, [1], True, 1e300))
        return json.dumps(value)


def read(data: bytes, scratch: Path) -> None:
    """Bring a file in as `larkstair import` does, then read all that came."""
    source, folder = scratch / "given.larkstair", scratch / "data"
    source.write_bytes(data)
    moving.bring_in(folder, source, NOW)
    studio = Studio.open(folder, silent_ports=True, clock=lambda: NOW, seed=1)
    try:
        use(studio)
    finally:
        studio.close()


def use(studio: Studio) -> None:
    """Do with a store what the screens do with it."""
    singer = studio.singer
    keeping.stored(studio)
    cards, reviews = studio.cards(), studio.reviews()
    for card in cards:
        _ = card.due, card.level, card.recent, card.usual_s, card.recall(NOW)
    mistaken_for(reviews)
    diary.loads(studio)
    for known in studio.songs():
        studio.library.get(known.id)
    _ = studio.newcomer, asked_today(studio)
    studio.open_sounds()
    Look.read(studio.store.setting("look"))
    quizdesk.left(studio)
    quizdesk.left_draft(studio)
    kept = studio.unfinished_run()
    if kept is not None:
        try:
            run = run_from_json(kept[1])
        except ValueError:
            pass
        else:
            tick(begin(run), 30.0)
    studio.rehearsal.left_in_the_middle(singer)
    if studio.rehearsal.resume(singer) is not None and studio.rehearsal.current is not None:
        studio.rehearsal.answer(Answer(), 1.0)


def settings() -> bytes:
    """Settings as one JSON text, name by name."""
    studio = Studio.open(in_memory=True, silent_ports=True, clock=lambda: NOW)
    found = settings_of(studio)
    studio.close()
    return json.dumps(found).encode()


def read_settings(data: bytes, scratch: Path) -> None:
    """Use a studio with the settings as far as the text can be read, values of any kind as text."""
    try:
        given = json.loads(data.decode("utf-8", "replace"))
    except (ValueError, RecursionError):
        given = {"look": data.decode("utf-8", "replace"), "singer": data.decode("latin-1")}
    store = Store.open(None, lambda: NOW)
    with_store = Studio(store, lambda: NOW, random.Random(1))
    with_store._silent = True
    for name, value in given.items() if isinstance(given, dict) else ():
        store.keep_setting(name, value if isinstance(value, str) else json.dumps(value))
    try:
        use(with_store)
    finally:
        with_store.close()
