"""The desk at which quizzes are taken and made: what was left in the middle is kept, and waits."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tutor.errors import PackError, plain
from tutor.practice.drill import Song
from tutor.quiz.pack import Pack, dumps, loads
from tutor.quiz.sheet import to_file
from tutor.quiz.taking import Taking

if TYPE_CHECKING:
    from tutor.studio import Studio

_TAKING = "quiz"
_MAKING = "quiz-making"


@dataclass(frozen=True, slots=True)
class Seat:
    """A quiz that is being taken, and where it is kept."""

    number: int
    taking: Taking


@dataclass(frozen=True, slots=True)
class Draft:
    """A quiz that is being made, and where it is kept."""

    number: int
    pack: Pack
    songs: tuple[str, ...]
    """Ids of the songs it was made from."""


def sit_down(studio: Studio, pack: Pack) -> Seat:
    """Begin to take a quiz; another that was left in the middle is closed.

    The four bytes by which a sheet handed in twice is known come from the system's own dice, not from the studio's: two
    viewers must never share them.
    """
    taking = Taking.begin(pack, secrets.token_hex(4))
    return Seat(studio.store.begin(_TAKING, studio.singer.name, taking.to_json()), taking)


def keep(studio: Studio, seat: Seat, taking: Taking) -> Seat:
    """Keep a taking as it now stands."""
    studio.store.keep_session(seat.number, taking.to_json(), finished=taking.finished)
    return replace(seat, taking=taking)


def left(studio: Studio) -> Seat | None:
    """The quiz that was left in the middle; None when there is none that can be read."""
    kept = studio.store.unfinished(studio.singer.name, _TAKING)
    if kept is None:
        return None
    try:
        return Seat(kept.id, Taking.from_json(kept.body))
    except PackError:
        studio.store.keep_session(kept.id, kept.body, finished=True)
        return None


def hand_in(taking: Taking, nickname: str, folder: Path) -> Path:
    """Write the answer file into a folder, never over another; gives its path.

    Raises:
        PackError: the folder cannot be written.
    """
    text = to_file(taking.sheet(plain(nickname).strip()[:40]))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number in range(1, 100):
            path = folder / f"answers-{taking.pack.id}{'' if number == 1 else f'-{number}'}.json"
            try:
                with path.open("x", encoding="utf-8") as file:
                    file.write(text)
            except FileExistsError:
                continue
            return path
    except OSError as error:
        raise PackError(
            f"the folder cannot be written ({error.strerror})", where=folder.name, remedy="Name another folder"
        ) from None
    raise PackError("the folder holds a hundred answer files of this quiz", where=folder.name)


def begin_draft(studio: Studio, pack: Pack, songs: Sequence[Song]) -> Draft:
    """Keep a quiz that begins to be made; another that was left in the middle is closed."""
    ids = tuple(s.id for s in songs)
    return Draft(studio.store.begin(_MAKING, studio.singer.name, _body(pack, ids)), pack, ids)


def keep_draft(studio: Studio, draft: Draft, pack: Pack, *, finished: bool = False) -> Draft:
    """Keep a quiz that is being made as it now stands."""
    studio.store.keep_session(draft.number, _body(pack, draft.songs), finished=finished)
    return replace(draft, pack=pack)


def left_draft(studio: Studio) -> Draft | None:
    """The quiz that was being made; None when there is none that can be read."""
    kept = studio.store.unfinished(studio.singer.name, _MAKING)
    if kept is None:
        return None
    try:
        return Draft(kept.id, loads(str(kept.body["quiz"])), tuple(str(s) for s in kept.body["songs"]))
    except (KeyError, TypeError, PackError):
        studio.store.keep_session(kept.id, kept.body, finished=True)
        return None


def songs_of(studio: Studio, draft: Draft) -> list[Song]:
    """The songs a quiz was made from, as far as they are still at hand."""
    return [s for s in (studio.library.get(i) for i in draft.songs) if s is not None]


def _body(pack: Pack, songs: tuple[str, ...]) -> dict[str, Any]:
    return {"quiz": dumps(pack), "songs": list(songs)}
