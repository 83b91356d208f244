"""A teacher's assignment: songs, skills and counts in a small file that a student opens.

TOML or JSON, the same keys::

    title = "Week 3"
    teacher = "M. Ohlin"
    due = 2026-12-04
    note = "Slowly, please."
    songs = ["salt-on-the-sill.musicxml"]

    [[task]]
    drill = "inversions"
    skills = ["triads-close", "sevenths-close"]
    count = 10
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from tutor.errors import PackError, plain
from tutor.practice.drill import Drill
from tutor.practice.schedule import Review

MAX_BYTES = 64 * 1024
MAX_COUNT = 200
MAX_TASKS = 50
_KEYS = {"title", "teacher", "due", "note", "songs", "task"}
_TASK_KEYS = {"drill", "skills", "count"}


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to practise."""

    drill: str
    skills: tuple[str, ...]
    count: int
    """Questions in all, in turns over the skills."""


@dataclass(frozen=True, slots=True)
class Assignment:
    """What a teacher asks for."""

    title: str
    teacher: str
    due: date | None
    note: str
    songs: tuple[str, ...]
    """File names or titles of songs; matched against what the student has."""
    tasks: tuple[Task, ...]

    @property
    def count(self) -> int:
        """Questions in all."""
        return sum(t.count for t in self.tasks)

    @property
    def skills(self) -> tuple[tuple[str, str], ...]:
        """Every question's (drill, skill), task by task; what `session.start` takes with `count`."""
        return tuple((t.drill, t.skills[i % len(t.skills)]) for t in self.tasks for i in range(t.count))

    def done(self, reviews: Iterable[Review], since: datetime) -> tuple[int, ...]:
        """For each task, how many of its questions were answered since a moment, at most its count."""
        kept = [r for r in reviews if not r.withdrawn and r.at >= since]
        return tuple(min(t.count, sum(r.drill == t.drill and r.skill in t.skills for r in kept)) for t in self.tasks)


def read(data: bytes, name: str, drills: Sequence[Drill]) -> Assignment:
    """Read an assignment.

    Args:
        data: the file's bytes.
        name: its name, for the message and to tell JSON from TOML.
        drills: the drills there are.

    Raises:
        PackError: the file is too large, is no TOML or JSON, or asks for what there is not.
    """
    if len(data) > MAX_BYTES:
        raise PackError("the assignment is too large", where=name, remedy=f"Keep it under {MAX_BYTES // 1024} kB")
    raw = _parsed(data, name)
    extra = sorted(set(raw) - _KEYS)
    if extra:
        raise PackError(f"unknown entry {extra[0]!r}", where=name, remedy=f"Use {', '.join(sorted(_KEYS))}")
    tasks = raw.get("task")
    if not isinstance(tasks, list) or not 1 <= len(tasks) <= MAX_TASKS:
        raise PackError(f"there must be 1 to {MAX_TASKS} tasks", where=name, remedy="Add a [[task]] with a drill")
    known = {d.name: d for d in drills}
    made = Assignment(
        title=_text(raw, "title", name) or "Assignment", teacher=_text(raw, "teacher", name), due=_due(raw, name),
        note=_text(raw, "note", name), songs=_texts(raw.get("songs", []), "songs", name),
        tasks=tuple(_task(t, i + 1, known, name) for i, t in enumerate(tasks)),
    )  # fmt: skip
    if made.count > MAX_COUNT * 2:
        raise PackError(f"{made.count} questions are too many", where=name, remedy=f"Ask at most {MAX_COUNT * 2}")
    return made


def write(assignment: Assignment) -> str:
    """The assignment as JSON text that `read` gives back equal."""
    raw: dict[str, Any] = {"title": assignment.title, "teacher": assignment.teacher, "note": assignment.note}
    if assignment.due is not None:
        raw["due"] = assignment.due.isoformat()
    raw["songs"] = list(assignment.songs)
    raw["task"] = [{"drill": t.drill, "skills": list(t.skills), "count": t.count} for t in assignment.tasks]
    return json.dumps(raw, ensure_ascii=False, indent=1) + "\n"


def _parsed(data: bytes, name: str) -> dict[str, Any]:
    try:
        text = data.decode("utf-8-sig")
        is_json = name.lower().endswith(".json") or text.lstrip().startswith("{")
        raw = json.loads(text) if is_json else tomllib.loads(text)
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        detail = plain(str(error))[:120]
        raise PackError(
            f"not a readable assignment ({detail})", where=name, remedy="Write it as TOML or JSON"
        ) from error
    if not isinstance(raw, dict):
        raise PackError("not an assignment", where=name, remedy="Write it as TOML or JSON with a title and tasks")
    return raw


def _text(raw: Mapping[str, Any], key: str, name: str) -> str:
    value = raw.get(key, "")
    if not isinstance(value, str) or len(value) > 2000:
        raise PackError(f"{key} must be a short text", where=name, remedy=f'write {key} = "…"')
    return plain(value)


def _texts(value: object, key: str, name: str) -> tuple[str, ...]:
    if not isinstance(value, list) or len(value) > 100 or not all(isinstance(v, str) and v.strip() for v in value):
        raise PackError(f"{key} must be a list of names", where=name, remedy=f'write {key} = ["…"]')
    return tuple(plain(v) for v in value)


def _due(raw: Mapping[str, Any], name: str) -> date | None:
    value = raw.get("due")
    if value is None:
        return None
    try:
        if isinstance(value, str):
            return date.fromisoformat(value)
        if isinstance(value, datetime):
            return value.date()
        if isinstance(value, date):
            return value
    except ValueError:
        pass
    raise PackError("due is no date", where=name, remedy="Write it as 2026-12-04")


def _task(raw: object, number: int, known: Mapping[str, Drill], name: str) -> Task:
    place = f"{name}, task {number}"
    if not isinstance(raw, dict) or set(raw) - _TASK_KEYS:
        raise PackError("a task has a drill, skills and a count", where=place, remedy="Remove everything else")
    drill = known.get(raw["drill"]) if isinstance(raw.get("drill"), str) else None
    if drill is None:
        given = plain(str(raw.get("drill", "")))[:40]
        raise PackError(f"there is no drill {given!r}", where=place, remedy=f"Use one of {', '.join(sorted(known))}")
    skills = _texts(raw.get("skills", [drill.skills[0]]), "skills", place) or (drill.skills[0],)
    for skill in skills:
        if skill not in drill.skills:
            raise PackError(f"{drill.name} has no skill {skill[:40]!r}", where=place,
                            remedy=f"Use one of {', '.join(drill.skills)}")  # fmt: skip
    count = raw.get("count", 10)
    if not isinstance(count, int) or isinstance(count, bool) or not 1 <= count <= MAX_COUNT:
        raise PackError(f"count must lie between 1 and {MAX_COUNT}", where=place, remedy="Write count = 10")
    return Task(drill.name, skills, count)
