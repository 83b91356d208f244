"""What a led warm-up says in large letters and at the foot, and which note sounds."""

from __future__ import annotations

from tutor.music.phrase import Phrase
from tutor.music.pitch import pretty
from tutor.tui.widgets.menu import Row
from tutor.tui.widgets.staff_layout import Clef, clef_of
from tutor.warmup.run import Run
from tutor.warmup.words import clock, count, note

_LONG = 12
"""Letters of what is sung that stand large; a longer text is cut to the syllable of the high note."""
AFTER_STRAIN = (
    Row("down", "Come down", "go on downward through what went well"),
    Row("cool", "Cool down", "straight to the soft end"),
    Row("stop", "Stop for today"),
    Row("slip", "It did not strain", "the key was a slip: forget the note and go on"),
)
"""What may follow when a note strained."""
RECORD = "Warmed up. Record now, or keep silent until you do; Space, after recording, leads through the cool-down."
"""Before the cool-down."""


def foot_words(run: Run, action: str, named: tuple[str, str], *, listens: bool, narrow: bool) -> tuple[str, str] | None:
    """Key and word for the moment; None leaves a key to the help page where the terminal is narrow.

    Args:
        run: where the warm-up stands.
        action: what the key does.
        named: its usual key and word.
        listens: whether the microphone decides when it goes on.
        narrow: whether there is no room for every key.
    """
    if action == "pause":
        return named[0], {"ready": "begin", "paused": "go on", "recording": "cool down"}.get(run.state, named[1])
    if action == "next" and run.state == "resting":
        return named[0], "end the rest"
    if action == "hands" and listens:
        return named[0], "by time"
    spare = {"again", "hands", "cool"} if run.state == "resting" else {"next", "cool"}
    return None if narrow and action in spare else named


def title_words(run: Run) -> str:
    """The step, its turn, and whether something holds it."""
    if run.state == "recording":
        return RECORD
    step = run.current
    turns = f", turn {run.repetition + 1} of {len(step.keys)}" if len(step.keys) > 1 else ""
    heads = {"paused": "Paused: ", "strained": "Stopped: ", "resting": "Rest after: "}
    return f"{heads.get(run.state, '')}{step.title}{turns}"


def instruction_words(run: Run) -> str:
    """What to do; after a strain to stop, and then to come down."""
    step = run.current
    if run.state == "strained":
        never = f" Nothing as high as {note(run.strained[-1])} comes again today." if run.strained else ""
        return f"Stop singing for a moment. Breathe, and take a sip of water.{never}"
    what = "Downward now, through what went well, as softly as you like." if run.down else step.instruction
    sound = f" Sing “{step.vowel}”, {step.dynamic}." if step.vowel and step.phrases else ""
    lower = f" Now {count(run.lowered, 'semitone')} lower." if run.lowered else ""
    return what + sound + lower


def big_words(run: Run) -> str:
    """What is sung and how high this turn goes: 'noo C♯4'; the time left where nothing is sung."""
    phrase = run.phrase
    if phrase is None or run.state == "resting" or (run.state == "paused" and run.before == "resting"):
        return clock(run.left_s)
    sung = [t for t in phrase.tones if t.line == "voice"]
    top = max(sung, key=lambda t: t.midi)
    text = run.current.vowel
    if len(text) > _LONG:
        before = [t.syllable for t in sung if t.syllable and t.onset_quarters <= top.onset_quarters]
        text = before[-1] if before else ""
    return f"{text} {pretty(top.pitch.name)}".strip()


def step_clef(run: Run) -> Clef:
    """One clef for every key of a step, so that it does not change from turn to turn."""
    return clef_of([t.pitch for p in run.current.phrases for t in p.tones if t.line == "voice"])


def sounding(phrase: Phrase | None, at: float | None) -> int:
    """The sung note at a moment, MIDI; 0 for none.

    Args:
        phrase: what is played.
        at: quarters from its beginning.
    """
    if phrase is None or at is None:
        return 0
    tones = (t for t in phrase.tones if t.line == "voice" and t.onset_quarters <= at < t.end_quarters)
    return next((t.midi for t in tones), 0)
