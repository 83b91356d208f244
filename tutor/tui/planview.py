"""A warm-up plan as text for the screen. Pure; no widgets."""

from __future__ import annotations

from collections.abc import Mapping

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from tutor.music.pitch import pretty
from tutor.warmup.model import BeyondVoice, Plan, RestAdvice
from tutor.warmup.words import clock, note, span


def plan_text(plan: Plan, theme: Mapping[str, str]) -> Group:
    """The plan: where it goes, what it heeds, and every step with its reason."""
    body, quiet, lamp = theme["text-body"], theme["text-quiet"], theme["lamp"]
    out = Text()
    target = plan.target
    words = f" on “{target.syllable}”" if target.syllable else ""
    out.append("The high note  ", style=quiet)
    out.append(f"{pretty(target.pitch)}{words}, bar {target.bar}; {target.approach}.\n", style=f"bold {body}")
    for line in plan.notes:
        out.append(f"{line}\n", style=lamp)
    out.append(f"\n{plan.caution}\n", style=quiet)
    rows: list[RenderableType] = [out]
    at = 0.0
    for step in plan.steps:
        head = Text(f"{clock(at):>5}  ", style=quiet)
        head.append(step.title, style=f"bold {body}")
        if step.top_midi:
            head.append(f"   up to {note(step.top_midi)}", style=quiet)
        rows += [head, Padding(Text(step.because, style=quiet), (0, 0, 0, 7))]
        at += step.seconds
    out = Text()
    out.append(f"\n{span(plan.seconds)} in all, {span(plan.sung_s)} of them sung.", style=quiet)
    if plan.facts:
        out.append("\n\nWhat the plan used of the song\n", style=f"bold {quiet}")
        out.append("\n".join(plan.facts), style=quiet)
    return Group(*rows, out)


def rest_text(advice: RestAdvice, theme: Mapping[str, str]) -> Text:
    """Why there is no singing today, and whom to see."""
    out = Text("\n\n".join(advice.lines), style=theme["text-body"])
    if advice.urgent:
        out.append("\n\nGet help at once with any of these\n", style=f"bold {theme['miss']}")
        out.append("\n".join(f"! {line}" for line in advice.urgent), style=theme["text-body"])
    out.append(f"\n\n{advice.caution}\n", style=theme["text-quiet"])
    return out


def beyond_text(given: BeyondVoice, theme: Mapping[str, str]) -> Text:
    """What the matter is, and which keys fit."""
    out = Text("\n\n".join(given.lines), style=theme["text-body"])
    out.append(f"\n\n{given.caution}\n", style=theme["text-quiet"])
    if given.keys:
        out.append("\nKeys that fit, best first\n", style=f"bold {theme['text-quiet']}")
    return out
