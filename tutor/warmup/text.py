"""A plan, a refusal or the keys that fit as plain text for the command line."""

from __future__ import annotations

import textwrap

from tutor.music.pitch import pretty
from tutor.warmup.exercises import HEADINGS
from tutor.warmup.gate import SIGNS
from tutor.warmup.model import BeyondVoice, Given, Plan, RestAdvice, Step
from tutor.warmup.words import clock, count, moved, note, span

WIDTH = 80
SHOWN = 8
"""Keys listed at the most."""


def plan_text(given: Given, width: int = WIDTH) -> str:
    """Whatever the planner gave, as lines of at most ``width`` characters."""
    if isinstance(given, Plan):
        lines = _plan(given, width)
    elif isinstance(given, RestAdvice):
        lines = _rest(given, width)
    else:
        lines = _beyond(given, width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _fill(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    indent = first if rest is None else rest
    return textwrap.wrap(text, width, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False) or [""]


def headline(plan: Plan) -> str:
    """One sentence that says what the plan is."""
    goal = pretty(plan.target.pitch)
    to = f"to {goal} in bar {plan.target.bar}" if plan.reaches_target else f"that stays below {goal}"
    key = f", sung {moved(plan.transposed)} from the printed key" if plan.transposed else ""
    return f"A warm-up of {clock(plan.seconds)} {to}{key}."


def keys_words(step: Step) -> str:
    """Where a step goes: '7 keys, top note from C4 to F♯4'."""
    tops = step.tops
    if not tops:
        return ""
    names = [pretty(n) for n in step.top_names]
    if len(tops) == 1:
        return f"once, top note {names[0]}"
    first, peak, last = names[0], names[tops.index(max(tops))], names[-1]
    if max(tops) in (tops[0], tops[-1]):
        return f"{count(len(tops), 'key')}, top note from {first} to {last}"
    return f"{count(len(tops), 'key')}, top note from {first} up to {peak} and back to {last}"


def how_words(step: Step) -> str:
    """How a step is sung, and the silence after it."""
    words = f"{keys_words(step)}; {step.dynamic}; on “{step.vowel}”."
    rest = f" Then {span(step.rest_s)} of silence." if step.rest_s >= 10 else ""
    return words[:1].upper() + words[1:] + rest


def _plan(plan: Plan, width: int) -> list[str]:
    lines = _fill(f"{plan.title}: warm-up for {plan.singer}", width)
    lines += [*_fill(headline(plan), width), ""]
    for text in (*plan.facts, *plan.notes):
        lines += _fill(text, width, "- ", "  ")
    lines += ["", *_fill(plan.caution, width), "", *_fill(SIGNS, width), ""]
    phase, at = "", 0.0
    sources = list(dict.fromkeys(s.source for s in plan.steps))
    for number, step in enumerate(plan.steps, 1):
        if step.phase != phase:
            phase = step.phase
            lines += ["", HEADINGS[step.phase].upper()]
        lines += _step(number, at, step, sources.index(step.source) + 1, width)
        at += step.seconds
    lines += ["", f"Ends at {clock(plan.seconds)}. Highest note: {note(plan.top_midi)}.", "", "SOURCES"]
    for number, source in enumerate(sources, 1):
        lines += _fill(source, width, f"{f'[{number}]':>5} ", " " * 6)
    return lines


def _step(number: int, at: float, step: Step, source: int, width: int) -> list[str]:
    pad = "          "
    head = f"{number:>2}. {clock(at):>5} "
    lines = _fill(f"{step.title} ({span(step.seconds)})", width, head, pad)
    lines += _fill(step.instruction, width, pad)
    if step.keys:
        lines += _fill(how_words(step), width, pad)
    return lines + _fill(f"{step.because} [{source}]", width, pad)


def _rest(advice: RestAdvice, width: int) -> list[str]:
    lines = [advice.title, ""]
    for text in advice.lines:
        lines += _fill(text, width)
    lines += ["", "Do not wait with any of these:"]
    for text in advice.urgent:
        lines += _fill(text, width, "- ", "  ")
    return [*lines, "", *_fill(f"Source: {advice.source}", width), "", *_fill(advice.caution, width)]


def _beyond(beyond: BeyondVoice, width: int) -> list[str]:
    lines = [*_fill(f"{beyond.title}: this song goes beyond {beyond.singer}'s voice", width), ""]
    for text in beyond.lines:
        lines += _fill(text, width)
    if beyond.keys:
        whole = all(f.lower_reserve >= 0 for f in beyond.keys)
        lines += ["", "Keys that fit, best first:" if whole else "Keys that come nearest, best first:"]
        for fit in beyond.keys[:SHOWN]:
            key = f"{fit.key}: " if fit.key else ""
            compass = f"{pretty(fit.low)} to {pretty(fit.high)}"
            lines += _fill(f"{fit.interval}, {key}{compass}; {fit.words}", width, "- ", "  ")
        lines += ["", *_fill(f"To plan it there, add: --transpose {beyond.keys[0].semitones}", width)]
    return [*lines, "", *_fill(beyond.caution, width)]
