"""The screens by name, each imported when it is first wanted."""

from __future__ import annotations

from tutor.tui.stage import Stage

TITLES = {
    "today": ("Today", "Where you left off, and what is due"),
    "practice": ("Practise", "Ten questions: what is due, what is weak, one thing new"),
    "songs": ("Songs", "Open a song of yours or a bundled one"),
    "warmup": ("Warm up", "A warm-up that arrives at a song's high note"),
    "lessons": ("Lessons", "Read, hear and try one idea at a time"),
    "quiz": ("Quizzes", "Make a quiz page for your pupils and gather the answers"),
    "progress": ("Progress", "What you know, what is shaky, what to do about it"),
    "range": ("Your range", "Find the notes that are easy for you, one at a time"),
    "diary": ("Diary", "How much you sang, week by week, and how the voice felt"),
    "setup": ("Setup", "Sound check, voice, theme"),
}
"""What the command palette lists: name, then title and one line."""


def make(name: str) -> Stage | None:
    """A new screen; None for the first one, which is always there."""
    if name == "practice":
        from tutor.tui.screens.begin import BeginScreen

        return BeginScreen()
    if name == "songs":
        from tutor.tui.screens.songs import SongsScreen

        return SongsScreen()
    if name == "warmup":
        from tutor.tui.screens.warmup import WarmupScreen

        return WarmupScreen()
    if name == "lessons":
        from tutor.tui.screens.lessons import LessonsScreen

        return LessonsScreen()
    if name == "quiz":
        from tutor.tui.screens.quiz import QuizScreen

        return QuizScreen()
    if name == "progress":
        from tutor.tui.screens.progress import ProgressScreen

        return ProgressScreen()
    if name == "range":
        from tutor.tui.screens.range import RangeScreen

        return RangeScreen()
    if name == "diary":
        from tutor.tui.screens.diary import DiaryScreen

        return DiaryScreen()
    if name == "setup":
        from tutor.tui.screens.setup import SetupScreen

        return SetupScreen()
    return None
