"""A plan to print or to keep: one page of HTML without scripts, or Markdown."""

from __future__ import annotations

from html import escape

from tutor.warmup.draw import ascent_svg, staff_svg
from tutor.warmup.exercises import HEADINGS
from tutor.warmup.gate import SIGNS
from tutor.warmup.model import Plan, Step
from tutor.warmup.run import ascent, start
from tutor.warmup.text import headline, how_words
from tutor.warmup.words import clock, span

_STYLE = """
body { font: 16px/1.45 Georgia, serif; color: #111; background: #fff; max-width: 44rem; margin: 2rem auto;
  padding: 0 1rem }
h1 { font-size: 1.6rem; margin: 0 0 .2rem } h2 { font-size: 1.1rem; margin: 1.6rem 0 .3rem;
  border-bottom: 1px solid #999 }
h3 { font-size: 1rem; margin: .8rem 0 .1rem } p { margin: .2rem 0 } ul { margin: .4rem 0; padding-left: 1.2rem }
.caution { border: 2px solid #111; padding: .6rem .8rem; margin: 1rem 0 } .why, .source { color: #444 }
.source { font-size: .85rem } svg { max-width: 100%; height: auto; display: block; margin: .2rem 0 }
section { break-inside: avoid } .clock { float: right; font-variant-numeric: tabular-nums }
@media print { body { margin: 0; max-width: none; font-size: 11pt } }
"""


def plan_html(plan: Plan) -> str:
    """One page to print: the caution, the climb, every step with its pattern drawn. No script, nothing from outside."""
    title = f"{plan.title}: warm-up for {plan.singer}"
    parts = [
        "<!doctype html>",
        '<html lang="en"><head><meta charset="utf-8">',
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body>",
        f"<h1>{escape(title)}</h1><p>{escape(headline(plan))}</p>",
        f'<div class="caution"><p>{escape(plan.caution)}</p><p>{escape(SIGNS)}</p></div>',
        "<ul>" + "".join(f"<li>{escape(t)}</li>" for t in (*plan.facts, *plan.notes)) + "</ul>",
        ascent_svg(ascent(start(plan))),
    ]
    at, phase = 0.0, ""
    for number, step in enumerate(plan.steps, 1):
        if step.phase != phase:
            phase = step.phase
            parts.append(f"<h2>{escape(HEADINGS[step.phase])}</h2>")
        parts.append(_section(number, at, step))
        at += step.seconds
    parts.append(f"<p>Ends at {clock(plan.seconds)}.</p></body></html>")
    return "\n".join(parts) + "\n"


def _section(number: int, at: float, step: Step) -> str:
    lines = [f'<section><h3><span class="clock">{clock(at)}</span>{number}. {escape(step.title)}</h3>']
    lines.append(f"<p>{escape(step.instruction)}</p>")
    if step.phrases:
        lines.append(staff_svg(step.phrases[0], f"{step.title}, first key"))
        lines.append(f"<p>{escape(how_words(step))}</p>")
    lines.append(f'<p class="why">{escape(step.because)}</p><p class="source">{escape(step.source)}</p></section>')
    return "\n".join(lines)


def plan_markdown(plan: Plan) -> str:
    """The plan as Markdown; what comes from files is escaped."""
    lines = [f"# {_md(plan.title)}: warm-up for {_md(plan.singer)}", "", _md(headline(plan)), ""]
    lines += [f"> {_md(plan.caution)}", ">", f"> {_md(SIGNS)}", ""]
    lines += [f"- {_md(t)}" for t in (*plan.facts, *plan.notes)]
    at, phase = 0.0, ""
    for number, step in enumerate(plan.steps, 1):
        if step.phase != phase:
            phase = step.phase
            lines += ["", f"## {_md(HEADINGS[step.phase])}"]
        lines += ["", f"### {number}. {_md(step.title)} ({clock(at)}, {span(step.seconds)})", "", _md(step.instruction)]
        if step.keys:
            lines += ["", _md(how_words(step))]
        lines += ["", f"{_md(step.because)} *{_md(step.source)}*"]
        at += step.seconds
    return "\n".join([*lines, "", f"Ends at {clock(plan.seconds)}.", ""])


def _md(text: str) -> str:
    """Text with the signs that Markdown would take as its own made plain."""
    made = "".join("\\" + c if c in "\\`*_[]<>#|~&" else c for c in text)
    return "\\" + made if made[:1] in ("-", "+", "=") else made
