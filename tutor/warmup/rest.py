"""No singing today: what to do, whom to see and when."""

from __future__ import annotations

from tutor.music.voice import Condition
from tutor.warmup.model import CAUTION, RestAdvice

GUIDELINE = (
    "Stachler et al., Clinical Practice Guideline: Hoarseness (Dysphonia), update 2018, Otolaryngol. Head Neck Surg. "
    "158(1S), S1-S42: the larynx is looked at when a changed voice has not improved within 4 weeks, and sooner for "
    "professional voice users and where a serious cause is suspected. The two weeks named here are our stricter "
    "reading (NHS Lothian: 3 weeks)."
)
URGENT = (
    "Trouble breathing, or a harsh sound on breathing in: emergency help, now.",
    "Hoarse after a blow or injury to the neck or throat: emergency help, now.",
    "Blood when you cough, pain or trouble on swallowing, pain in the ear, a lump in the neck, losing weight without "
    "meaning to, or a voice that keeps getting worse: a doctor, without waiting.",
    "Hoarse since an operation on head, neck or chest, or since a breathing tube, or if you smoke or have smoked: "
    "a doctor, without waiting.",
)
"""Warning signs. Sources: the guideline, statement 3; Victoria (Australia) health department, hoarse voice; a digest of
the guideline, read second-hand, for the third line."""

_HOARSE = (
    "No warm-up today: a hoarse voice is not sung in.",
    "Rest it. Speak little and at an easy loudness, do not whisper, drink as usual, and keep out of smoke.",
    "You record with your voice, so you need not wait: if you sing for a living, ask a laryngologist early. "
    "Anyone whose voice is still hoarse after two weeks should see a doctor; four weeks is the outer limit, not the "
    "advice.",
    "When the voice is clear again, come back with a short and easy warm-up, and tell your teacher.",
)
_PAIN = (
    "No warm-up today: singing that hurts is stopped.",
    "Rest your voice: no singing, no humming to test it, no whispering. Drink as usual.",
    "If the pain is there when you speak or swallow, or is not gone tomorrow, see a doctor, best a laryngologist. "
    "Pain that comes back whenever you sing belongs to a laryngologist and a speech-language pathologist.",
    "Tell your teacher what you sang when it began. Do not practise around it.",
)


def rest_advice(condition: Condition) -> RestAdvice:
    """What to do with a hoarse or hurting voice.

    Raises:
        ValueError: the condition allows singing.
    """
    if condition not in ("hoarse", "pain"):
        raise ValueError(f"{condition} allows singing")
    hoarse = condition == "hoarse"
    return RestAdvice(
        condition=condition,
        title="Rest today" if hoarse else "Stop and rest",
        lines=_HOARSE if hoarse else _PAIN,
        urgent=URGENT,
        source=GUIDELINE,
        caution=CAUTION,
    )
