"""Questions before singing: how is the voice, and is there a sign that belongs to a doctor first?

Self-questions in our words after NIDCD, "Taking Care of Your Voice" (seen); warning signs after the clinical guideline
(Stachler et al. 2018, statement 3, seen; further signs from a digest, read second-hand). Any warning sign: no plan.
The answers are not kept and nothing is diagnosed.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Literal

from tutor.music.voice import Condition
from tutor.warmup.model import RestAdvice
from tutor.warmup.rest import rest_advice

Kind = Literal["warning", "hoarse", "pain", "tired"]

SIGNS = (
    "Do not warm up, and see a doctor, with any of these: hard or harsh breathing; a blow to neck or throat; blood "
    "when you cough; pain or trouble on swallowing; a new lump in the neck; pain in one ear that stays; a voice that "
    "gets worse and worse, or that changed with an operation or a breathing tube. A hoarse or hurting voice rests."
)
"""The warning signs in one paragraph, for a plan that is read away from the program."""
HOARSE_DAYS = 14
"""Days of hoarseness after which a doctor is advised (our strict reading; the guideline's outer limit is 4 weeks)."""


@dataclass(frozen=True, slots=True)
class GateQuestion:
    """One question answered by yes or no."""

    name: str
    """Stable name."""
    text: str
    kind: Kind
    """What a yes means."""


QUESTIONS: tuple[GateQuestion, ...] = (
    GateQuestion("breathing", "Is it hard to breathe, or is there a harsh sound when you breathe in?", "warning"),
    GateQuestion("injury", "Was your neck or throat hurt by a blow or an accident?", "warning"),
    GateQuestion("blood", "Did you cough up blood, or does swallowing hurt or not work well?", "warning"),
    GateQuestion("lump", "Is there a new lump in your neck, or pain in one ear that does not go away?", "warning"),
    GateQuestion("worse", "Has your voice been getting worse and worse?", "warning"),
    GateQuestion("surgery", "Has your voice changed since an operation or a breathing tube?", "warning"),
    GateQuestion("pain", "Does your throat feel raw, sore or strained when you speak?", "pain"),
    GateQuestion("hoarse", "Is your voice hoarse, raspy or suddenly deeper?", "hoarse"),
    GateQuestion("lost", "Have you lost some high notes that are usually there?", "tired"),
    GateQuestion("effort", "Does it take effort to talk, or do you keep clearing your throat?", "tired"),
)


def judge(yes: Collection[str], condition: Condition, *, hoarse_days: int = 0) -> Condition | RestAdvice:
    """What the answers allow.

    Args:
        yes: names of the questions answered by yes.
        condition: how the singer says the voice feels.
        hoarse_days: days that a hoarse voice has been hoarse.

    Returns:
        The condition to plan with, never a better one than the singer's own word; or RestAdvice.
    """
    kinds = {q.kind for q in QUESTIONS if q.name in yes}
    if "warning" in kinds:
        advice = rest_advice("pain" if condition == "pain" or "pain" in kinds else "hoarse")
        return replace(
            advice,
            title="Please see a doctor before you sing",
            lines=(
                "One of your answers is a sign that a doctor should look at first. No warm-up today.",
                "This program cannot tell what it is, and most often it is harmless; but do not sing over it.",
                *advice.lines[1:],
            ),
        )
    if condition == "pain" or "pain" in kinds:
        return rest_advice("pain")
    if condition == "hoarse" or "hoarse" in kinds:
        advice = rest_advice("hoarse")
        if hoarse_days > HOARSE_DAYS:
            return replace(
                advice,
                lines=(
                    "You have been hoarse for more than two weeks: see a doctor now, best a laryngologist.",
                    *advice.lines,
                ),
            )
        return advice
    return "tired" if "tired" in kinds else condition
