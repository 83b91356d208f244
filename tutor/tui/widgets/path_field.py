"""A field for a path: Tab completes, what fits is told while typing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from textual import events
from textual.message import Message
from textual.suggester import Suggester
from textual.widgets import Input

from tutor.errors import plain

_MOST = 200
_TOLD = 6


def completions(text: str, kinds: Sequence[str] = ()) -> list[Path]:
    """Folders, and files of the kinds wanted, that begin with what was typed; folders first.

    Args:
        text: what was typed.
        kinds: endings in lower case; none: folders alone.
    """
    if not text:
        return []
    try:
        typed = Path(text).expanduser()  # '~' before a name that nobody here has is a RuntimeError
        folder, stem = (typed, "") if text.endswith("/") else (typed.parent, typed.name)
        found = [
            p
            for p in folder.iterdir()
            if p.name.lower().startswith(stem.lower())
            and (stem.startswith(".") or not p.name.startswith("."))
            and (p.is_dir() or p.name.lower().endswith(tuple(kinds) or ("\0",)))
        ]
    except (OSError, RuntimeError):
        return []
    return sorted(found, key=lambda p: (not p.is_dir(), p.name.lower()))[:_MOST]


class _Completer(Suggester):
    def __init__(self, kinds: Sequence[str]) -> None:
        super().__init__(use_cache=False, case_sensitive=True)
        self._kinds = kinds

    async def get_suggestion(self, value: str) -> str | None:
        """The first completion, as the rest of what was typed."""
        found = completions(value, self._kinds)
        if not found:
            return None
        base = value if value.endswith("/") else value[: len(value) - len(Path(value).name)]
        return f"{base}{found[0].name}{'/' if found[0].is_dir() else ''}"


class PathField(Input):
    """An input that completes paths.

    Args:
        kinds: endings of the files wanted; none: folders alone.
        placeholder: shown while it is empty.
    """

    @dataclass
    class Fits(Message):
        """What a path that is being typed may become, in one line; empty for nothing."""

        line: str

    def __init__(
        self, kinds: Sequence[str] = (), *, placeholder: str = "", id: str | None = None, classes: str | None = None
    ) -> None:
        super().__init__(
            placeholder=placeholder, id=id, classes=classes, suggester=_Completer(kinds), select_on_focus=False
        )
        self.kinds = tuple(kinds)

    @property
    def text(self) -> str:
        """What was typed, without the quotes that a dropped file may bring."""
        return self.value.strip().strip("'\"")

    def offer(self, value: str) -> None:
        """Stand there with a proposal, and take the keys."""
        self.value = value
        self.remove_class("hidden")
        self.action_end()
        self.focus()

    def watch_value(self, value: str) -> None:
        """Tell what fits."""
        if not self.has_focus:
            return
        found = completions(value, self.kinds)
        names = "  ".join(plain(p.name) + ("/" if p.is_dir() else "") for p in found[:_TOLD])
        self.post_message(self.Fits(names + ("  …" if len(found) > _TOLD else "")))

    def on_key(self, event: events.Key) -> None:
        """Tab completes."""
        if event.key == "tab":
            self.action_cursor_right() if self.cursor_position >= len(self.value) else self.action_end()
            event.stop()
            event.prevent_default()
