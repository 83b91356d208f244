"""What the planner gives: a Plan of Steps, or a kind refusal.

::

    Answer = Plan           a warm-up to sing
           | RestAdvice     no singing today, and whom to see
           | BeyondVoice    the song goes beyond this voice: keys that fit
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

from tutor.music.phrase import Phrase
from tutor.music.pitch import Pitch
from tutor.music.voice import Condition
from tutor.warmup.exercises import Phase

Dynamic = Literal["silent", "soft", "medium", "half voice", "full voice"]

CAUTION = (
    "This is a practice aid, not a diagnosis, and it cannot hear how singing feels to you. Stop when anything hurts "
    "or strains. Your voice teacher, a laryngologist or a speech-language pathologist knows better than this program: "
    "follow them. Singers report that a warm-up brings ease and a steadier tone; that it prevents injury is not shown."
)
"""Shown on the plan, on the first screen of the run and on every export.

Sources: ASHA, NATS and VASTA, joint technical report TR2005-00147 (treatment belongs to a clinical team); Moorcroft and
Kenny, J. of Voice 26(5), 2012 (felt ease, steadier vibrato); Gish et al., J. of Voice 26(1), 2012 (a warm-up does not
guarantee health).
"""


@dataclass(frozen=True, slots=True)
class Step:
    """One exercise, sung in one or more keys."""

    phase: Phase
    exercise: str
    """Stable name of the exercise; 'climax-…' for what is lifted from the song."""
    title: str
    instruction: str
    """One or two sentences to the singer."""
    because: str
    """Why the step is there, in one sentence; names the bar it serves."""
    source: str
    """Source of the exercise, or 'common practice'."""
    bar: str = ""
    """Printed number of the bar that the step serves; empty when it serves the whole song."""
    keys: tuple[int, ...] = ()
    """MIDI number of the root of each repetition, a semitone apart; empty without singing."""
    phrases: tuple[Phrase, ...] = ()
    """One for each key: clicks and chord, the sung line, the breath with the way to the next key."""
    count_in: int = 0
    """Clicks before the first repetition."""
    seconds: float = 0.0
    """Length in all, the rest after it included."""
    rest_s: float = 0.0
    """Silence after the last repetition, seconds."""
    dynamic: Dynamic = "silent"
    vowel: str = ""
    """What is sung: 'noo', or the words of the song."""
    top_midi: int = 0
    """Highest sung note; 0 without singing."""
    low_midi: int = 0
    """Lowest sung note; 0 without singing."""

    @property
    def tops(self) -> tuple[int, ...]:
        """Highest sung note of each repetition, MIDI."""
        return tuple(max(t.midi for t in p.tones if t.line == "voice") for p in self.phrases)

    @property
    def top_names(self) -> tuple[str, ...]:
        """Highest sung note of each repetition, spelled in its key."""
        sung = ([t for t in p.tones if t.line == "voice"] for p in self.phrases)
        return tuple(max(tones, key=lambda t: t.midi).pitch.name for tones in sung)

    @property
    def repetition_s(self) -> tuple[float, ...]:
        """Seconds from the start of each repetition to the start of the next."""
        return tuple(p.length_s for p in self.phrases)

    @property
    def sung_s(self) -> float:
        """Seconds of singing."""
        return sum(t.duration_quarters * 60 / p.bpm for p in self.phrases for t in p.tones if t.line == "voice")

    def sung_above_s(self, midi: int) -> float:
        """Seconds of singing on notes higher than ``midi``."""
        return sum(
            t.duration_quarters * 60 / p.bpm
            for p in self.phrases
            for t in p.tones
            if t.line == "voice" and t.midi > midi
        )


@dataclass(frozen=True, slots=True)
class Target:
    """The high note that the warm-up arrives at."""

    pitch: str
    """Spelled name in the key sung: 'A4'."""
    midi: int
    bar: str
    """Printed bar number."""
    approach: str
    """How the line gets there: 'leap of an octave up from A3'."""
    syllable: str
    """What is sung on it; empty when unknown."""
    held_s: float
    """How long it is held, seconds."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A warm-up for this voice, today, to that high note."""

    title: str
    """Title of the song."""
    singer: str
    """Name of the singer."""
    condition: Condition
    minutes: float
    """Minutes planned for, after what today takes away."""
    steps: tuple[Step, ...]
    seconds: float
    """Length in all, rests and cool-down included."""
    caution: str
    facts: tuple[str, ...]
    """What the plan used of the song, one sentence each."""
    target: Target
    reaches_target: bool
    """False when today the phrase stays below pitch."""
    today_top: int
    """Highest note allowed today, MIDI."""
    transitions: tuple[int, int]
    """Lower and upper register transition, MIDI."""
    bottom: int
    """Comfortable lowest note, MIDI; nothing is sung below it."""
    transposed: int = 0
    """Semitones by which the song is sung away from the printed key."""
    notes: tuple[str, ...] = ()
    """What else the singer should know: what was shortened or lowered, and why."""

    @property
    def top_midi(self) -> int:
        """Highest sung note of the plan."""
        return max((s.top_midi for s in self.steps), default=0)

    @property
    def sung_s(self) -> float:
        """Seconds of singing."""
        return sum(s.sung_s for s in self.steps)

    @property
    def full_tries(self) -> int:
        """Full-voice tries of the climax."""
        return sum(len(s.keys) for s in self.steps if s.dynamic == "full voice")

    def seconds_of(self, phase: Phase) -> float:
        """Seconds spent in a phase."""
        return sum(s.seconds for s in self.steps if s.phase == phase)

    def top_at_s(self) -> float:
        """When the highest note of the plan is first sung, seconds from the start."""
        at, top = 0.0, self.top_midi
        for step in self.steps:
            inside = 0.0
            for phrase in step.phrases:
                for tone in phrase.tones:
                    if tone.line == "voice" and tone.midi == top:
                        return at + inside + tone.onset_quarters * 60 / phrase.bpm
                inside += phrase.length_s
            at += step.seconds
        return self.seconds


@dataclass(frozen=True, slots=True)
class RestAdvice:
    """No singing today, and whom to see."""

    condition: Condition
    title: str
    lines: tuple[str, ...]
    """What to do, in order, one sentence or two each."""
    urgent: tuple[str, ...]
    """Signs that need help at once."""
    source: str
    caution: str


@dataclass(frozen=True, slots=True)
class KeyFit:
    """How the song sits in a voice at one transposition."""

    semitones: int
    """From the printed key; negative is down."""
    interval: str
    """'a tone down', 'as printed'."""
    key: str
    """Name of the first key: 'D major'; empty when the song has none."""
    low: str
    high: str
    """Lowest and highest sung note in that key."""
    upper_reserve: int
    """Semitones between the song's top and the comfortable top."""
    lower_reserve: int
    """Semitones between the comfortable bottom and the song's bottom."""
    shift: float
    """Tessitura shift, (lower - upper reserve) / 2; positive where the song sits high for the voice."""
    high_share: float
    """Share of the sung time above the upper transition."""
    cost: float
    """What the ranking is by; lower is better (weights are a choice of ours)."""
    words: str
    """How it sits, in one sentence."""


@dataclass(frozen=True, slots=True)
class BeyondVoice:
    """The song goes beyond this voice: no warm-up to the high note, but the keys that fit."""

    title: str
    singer: str
    lines: tuple[str, ...]
    """What is the matter and what to do, in plain words."""
    keys: tuple[KeyFit, ...]
    """Keys that fit, best first; empty when no key holds the whole song."""
    caution: str

    @property
    def offer(self) -> int | None:
        """Semitones by which to transpose the song (the `transpose` of `plan`), or None."""
        return self.keys[0].semitones if self.keys else None


Given = Plan | RestAdvice | BeyondVoice


def plan_json(given: Given) -> dict[str, Any]:
    """A plain value of whatever the planner gave; `plan_from_json` rebuilds a Plan equal."""
    raw = asdict(given)
    raw["kind"] = {Plan: "plan", RestAdvice: "rest", BeyondVoice: "beyond the voice"}[type(given)]
    if isinstance(given, Plan):
        for made, step in zip(raw["steps"], given.steps, strict=True):
            made["phrases"] = [p.to_json() for p in step.phrases]
        raw["today_top_pitch"] = Pitch.from_midi(given.today_top).name
    return raw


def plan_from_json(raw: dict[str, Any]) -> Plan:
    """Rebuild a plan from `plan_json`.

    Raises:
        ValueError: the value is no plan.
    """
    try:
        kept = {k: v for k, v in raw.items() if k not in ("kind", "today_top_pitch")}
        kept["steps"] = tuple(
            Step(**{**s, "keys": tuple(s["keys"]), "phrases": tuple(Phrase.from_json(p) for p in s["phrases"])})
            for s in raw["steps"]
        )
        kept["target"] = Target(**raw["target"])
        kept["facts"], kept["notes"] = tuple(raw["facts"]), tuple(raw["notes"])
        kept["transitions"] = (raw["transitions"][0], raw["transitions"][1])
        return Plan(**kept)
    except (KeyError, TypeError, IndexError, AttributeError) as error:
        raise ValueError(f"not a plan: {error}") from error
