"""Limits of the warm-up planner, each a value with its source and how far that source was seen.

Most of the limits are choices of ours: research on warm-ups settles little (it reports ease and a steadier tone, and
does not show protection from injury), so the planner takes the cautious side and says that it chose.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tutor.music.voice import Condition

Status = Literal["seen", "recalled", "choice"]


@dataclass(frozen=True, slots=True)
class Limit:
    """One bound of the planner."""

    name: str
    """What is bounded."""
    value: float
    """The bound."""
    unit: str
    """Unit of the bound."""
    status: Status
    """'seen': the source was read; 'recalled': from memory; 'choice': a choice of ours that leans on the source."""
    source: str
    """Where it comes from, or what it leans on."""


_PRACTICE = "common practice"
_YIU = "rest and water between songs: Yiu and Chan, J. of Voice 17, 2003, read in summaries"
_DOSE = "Evaluation of immediate effects of straw phonation in healthy adults (n = 69): best at 3 to 7 minutes"
_REVIEW = "Ribeiro et al., Rev. CEFAC 18(6), 2016, a review: warm-up 15 to 30 minutes, cool-down 5 to 15"
_SURVEY = "Gish et al., J. of Voice 26(1), 2012: most of 117 singers warm up for 5 to 10 minutes"
_FATIGUE = "Dynamically monitoring vocal fatigue and recovery (n = 10): threshold pressure rises within 15 minutes"
_MOTEL = "warm-up raised threshold pressure at high pitch: Motel, Fisher and Leydon, J. of Voice 17(2), 2003"
_HERBST = "upper reserve: Herbst, Duus, Jers and Svec, Int. J. Research in Choral Singing 4(1), 2012"

MINUTES_LEAST = Limit("shortest warm-up to ask for", 5, "min", "choice", f"{_SURVEY}")
MINUTES_MOST = Limit("longest warm-up to ask for", 30, "min", "choice", f"{_REVIEW}")
MINUTES_DEFAULT = Limit("warm-up when nothing is said", 10, "min", "choice", f"{_SURVEY}; {_REVIEW}")
BARE_MINUTES = Limit("least time before recording in which anything is planned", 2, "min", "choice", _PRACTICE)

STEP = Limit("from one key to the next", 1, "semitone", "choice", _PRACTICE)
MARGIN = Limit("above the comfortable top unless the singer says more", 0, "semitones", "choice", _PRACTICE)
MARGIN_MOST = Limit("most that a singer may allow above the comfortable top", 2, "semitones", "choice", _PRACTICE)
ABOVE_SONG = Limit(
    "light, short notes above the song's top", 2, "semitones", "choice",
    "no published figure was found; teachers commonly say a tone to a third",
)  # fmt: skip
OPENING = Limit(
    "how far a new exercise may open above what was already sung", 4, "semitones", "choice", _PRACTICE
)  # fmt: skip

SEMI_OCCLUDED_S = Limit("semi-occluded sounds, usual", 180, "s", "choice", _DOSE)
SEMI_OCCLUDED_MOST_S = Limit("semi-occluded sounds, at most", 300, "s", "seen", f"{_DOSE}; discomfort rose at 10")
COOL_DOWN_MOST_S = Limit("cool-down, at most", 300, "s", "choice", _REVIEW)

HIGH_SHARE = Limit("sung time above the upper transition", 0.25, "of the sung time", "choice", _MOTEL)
HIGH_S = Limit("sung time above the upper transition", 90, "s", "choice", _MOTEL)
SUNG_SHARE = Limit("sung time, the rest being silence, breath and piano", 0.5, "of the total", "choice", _YIU)
FIRST_THIRD = Limit("the highest note comes no sooner than", 1 / 3, "of the total", "choice", _PRACTICE)
APPROACH_SHARE = Limit("the approach to the high note", 0.62, "of the total", "choice", _PRACTICE)

FULL_TRIES = Limit("full-voice tries of the climax", 3, "times", "choice", _YIU)
LATER_TRIES = Limit("full-voice tries when recording is not at once", 1, "times", "choice", _PRACTICE)
TRY_REST_S = Limit("silence and water after a full-voice try", 60, "s", "choice", _YIU)
STEP_REST_S = Limit("silence after an exercise", 6, "s", "choice", _YIU)
SUNG_BEFORE_BREAK_S = Limit("voicing before a break", 900, "s", "choice", _FATIGUE)
BREAK_S = Limit("silence in the break", 300, "s", "choice", f"{_FATIGUE}; fundamental frequency back within 5")
AFTER_HOUR_MIN = Limit(
    "silence after an hour of singing", 30, "min", "seen",
    "Onofre et al., Eur. Arch. Oto-Rhino-Laryngol. 278, 2021: 30 minutes of silence brought most symptoms back",
)  # fmt: skip
RESERVE = Limit("upper reserve below which care is asked for", 2, "semitones", "choice", _HERBST)
PHRASE_S = Limit(
    "written phrase without a rest that asks for breath work", 12, "s", "choice",
    "half of the maximum phonation time of healthy older adults, J. of Voice 25(6), 2011, 709-713",
)  # fmt: skip
LONG_NOTE_S = Limit("high note that counts as sustained", 2.0, "s", "choice", _PRACTICE)
QUICK_NOTES = Limit("sung notes a second that count as quick text", 3.5, "notes a second", "choice", _PRACTICE)
LEAP = Limit("leap up that calls for a leap pattern", 5, "semitones", "choice", _PRACTICE)
RANGE_LEAST = Limit("smallest comfortable range to plan for", 12, "semitones", "choice", "Herbst et al., 2012")
RANGE_MOST = Limit(
    "largest comfortable range taken without asking again", 50, "semitones", "choice",
    "physiologic range of 21 amateurs 31 to 45 semitones: Herbst et al., 2012",
)  # fmt: skip

STRAIN_HOLD_DAYS = Limit("days for which nothing goes as high as a note that strained", 14, "days", "choice", _PRACTICE)
STRAIN_EASE_DAYS = Limit("after that, days for each semitone higher", 7, "days", "choice", _PRACTICE)
STRAIN_TRIES = Limit("full-voice tries while a note that strained comes back", 1, "times", "choice", _PRACTICE)
STRAIN_OFTEN = Limit(
    "a note that strained so often comes back only with a new measurement", 3, "times", "choice", _PRACTICE
)  # fmt: skip

TIRED_BELOW = Limit("a tired voice keeps below the song's top", 2, "semitones", "choice", _PRACTICE)

LIMITS: tuple[Limit, ...] = tuple(v for v in list(globals().values()) if isinstance(v, Limit))
"""Every limit above, for the help page and the tests."""


@dataclass(frozen=True, slots=True)
class Ease:
    """What the state of the voice takes away; choices of ours, common practice."""

    time_share: float
    """Share of the minutes that is planned."""
    lowered: int
    """Semitones taken from the comfortable top."""
    tries: int
    """Full-voice tries allowed."""


EASE: dict[Condition, Ease] = {
    "fresh": Ease(1.0, 0, 3),
    "a little tired": Ease(0.8, 1, 1),
    "tired": Ease(0.6, 3, 0),
}
"""Conditions that still allow singing; hoarse and pain are absent on purpose."""


def ease_of(condition: Condition, days_since_singing: int) -> Ease:
    """What today takes away.

    Args:
        condition: how the voice feels; not 'hoarse' or 'pain'.
        days_since_singing: whole days since the last singing. A week away costs a full-voice try, two weeks a
            semitone and all tries but one (choices of ours).
    """
    base = EASE[condition]
    if days_since_singing >= 14:
        return Ease(base.time_share, base.lowered + 1, min(1, base.tries))
    if days_since_singing >= 7:
        return Ease(base.time_share, base.lowered, min(2, base.tries))
    return base
