"""Every error the program raises on purpose.

::

    TutorError                one line: what, where, what to do
    ├── ScoreError            a score that cannot be read
    ├── SidecarError          a correction file that cannot be read
    ├── LessonError           a lesson file that cannot be read
    ├── PackError             a quiz, answer or assignment file that is refused
    ├── StoreError            the store cannot be opened or written
    ├── PlanRefused           no warm-up is given, with the reason
    └── PortUnavailable       a sound, microphone or MIDI port cannot be had
"""

from __future__ import annotations


class TutorError(Exception):
    """Something the user can mend, told in one line.

    Args:
        what: What is wrong, as a sentence without a full stop.
        where: The file, and the bar where that is known; empty when there is no place.
        remedy: What to do about it, as a sentence without a full stop.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what = plain(what)
        self.where = plain(where)
        self.remedy = plain(remedy)
        super().__init__(self.line)

    @property
    def line(self) -> str:
        """The whole message on one line, free of control characters."""
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head}. {self.remedy}." if self.remedy else f"{head}."


class ScoreError(TutorError):
    """A score that cannot be read."""


class SidecarError(TutorError):
    """A correction file that cannot be read."""


class LessonError(TutorError):
    """A lesson file that cannot be read."""


class PackError(TutorError):
    """A quiz, answer or assignment file that is refused."""


class StoreError(TutorError):
    """The store cannot be opened or written."""


class PlanRefused(TutorError):
    """No warm-up is given, with the reason."""


class PortUnavailable(TutorError):
    """A sound, microphone or MIDI port cannot be had."""


_BIDI = dict.fromkeys([0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)])


def plain(text: str) -> str:
    """Return ``text`` on one line, without control or bidirectional characters.

    Titles, lyrics and names come from files that strangers made; everything shown on the terminal or
    written to a page passes here first.
    """
    kept = "".join(c if c.isprintable() else " " for c in text.translate(_BIDI))
    return " ".join(kept.split())
