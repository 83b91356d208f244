"""A staff in words; the words themselves are settled in the room of music."""

from __future__ import annotations

from tutor.music.spoken import describe, signature

__all__ = ["describe", "signature"]
