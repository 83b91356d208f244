"""A quiz as one page: everything inside, nothing asked of the network, read by a phone, a keyboard or a screen reader.

Answers are not readable at a glance: the page holds a salted digest of the place of the right choice, and the
explanation is sealed with a key made from that place. With two to eight choices anybody who reads this description can
try them all; that keeps honest viewers from seeing the answer by accident, and no more. Use it for lessons, not for
exams.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Callable, Sequence
from html import escape
from importlib.resources import files

from tutor.music.phrase import Phrase
from tutor.practice.drill import Excerpt
from tutor.quiz.pack import Pack, PackItem

Engrave = Callable[[Phrase], str]
"""Phrase to one `svg` element."""
Sound = Callable[[Phrase], bytes]
"""Phrase to an MP3 file."""
Describe = Callable[[Phrase], str]
"""Phrase to words, for a screen reader."""

_DRAWN_PX = 1.35
"""Size of a staff on a wide screen against its natural one; a phone shows it as wide as it has room."""
_HEARING = "Start with a low volume, with headphones above all."


class Sprite:
    """The signs that many drawings share, kept once for the whole page."""

    def __init__(self) -> None:
        self._signs: dict[str, str] = {}

    def take(self, svg: str) -> str:
        """Move a drawing's signs here; gives the drawing without them, and without other ids."""
        found = re.search(r"<defs>(.*?)</defs>", svg, flags=re.S)
        if found:
            for sign in re.finditer(r'<g id="([^"]+)">(.*?)</g>', found[1], flags=re.S):
                self._signs[sign[1].split("-")[0]] = sign[2].strip()
            svg = svg.replace(found[0], "")
        svg = re.sub(r'\sid="[^"]*"', "", svg)
        svg = re.sub(r'href="#([A-Z0-9]+)-[^"]*"', r'href="#sign-\1"', svg)
        svg = re.sub(r"<title[^>]*>.*?</title>", "", svg, flags=re.S)
        return re.sub(r">\s+<", "><", svg)

    def html(self) -> str:
        """All signs taken so far, in a drawing that is not shown."""
        signs = "".join(f'<g id="sign-{name}">{body}</g>' for name, body in sorted(self._signs.items()))
        return f'<svg class="sprite" aria-hidden="true" focusable="false"><defs>{signs}</defs></svg>'


def page(pack: Pack, *, engrave: Engrave, sound: Sound, describe: Describe) -> str:
    """The whole page.

    Args:
        pack: the quiz.
        engrave: draws a staff.
        sound: renders a clip as MP3.
        describe: says in words what a staff shows.
    """
    sprite = Sprite()

    def staff(excerpt: Excerpt) -> str:
        drawing = _sized(sprite.take(engrave(excerpt.phrase)))
        words = escape(f"{excerpt.caption}. {describe(excerpt.phrase)}")
        return (
            f'<figure><div class="staff" role="img" aria-label="{words}">{drawing}</div>'
            f"<figcaption>{escape(excerpt.caption)}</figcaption></figure>"
        )

    questions = "".join(_question(n, i, staff, sound) for n, i in enumerate(pack.items, start=1))
    data = {
        "id": pack.id,
        "reveal": pack.reveal,
        "items": [_sealed(pack, n, item, staff) for n, item in enumerate(pack.items)],
    }
    script, style = (files("tutor.quiz") / "web" / name for name in ("page.js", "page.css"))
    return _frame(
        pack, questions, sprite.html(), json.dumps(data, ensure_ascii=True).replace("<", "\\u003c"),
        script.read_text(encoding="utf-8"), style.read_text(encoding="utf-8"),
    )  # fmt: skip


def _sized(svg: str) -> str:
    """A drawing with the width at which its notes have one size whatever its length."""
    box = re.search(r'viewBox="[\d.]+ [\d.]+ ([\d.]+) ', svg)
    return svg.replace("<svg ", f'<svg width="{float(box[1]) * _DRAWN_PX:.0f}" ', 1) if box else svg


def _question(number: int, item: PackItem, staff: Callable[[Excerpt], str], sound: Sound) -> str:
    clips = "".join(
        f'<p class="quiet" id="c{number}-{n}">{escape(e.caption)}</p>'
        f'<audio controls preload="metadata" aria-labelledby="c{number}-{n}" src="data:audio/mpeg;base64,'
        f'{base64.b64encode(sound(e.phrase)).decode()}"></audio>'
        for n, e in enumerate(item.heard)
    )
    choices = "".join(
        f'<label><input type="radio" name="a{number}" value="{n}" autocomplete="off"> '
        f"<span>{escape(c.text)}</span></label>"
        for n, c in enumerate(item.choices, start=1)
    )
    said = {e.caption for e in (*item.heard, *item.seen)} | {"", "fresh"}
    source = "" if item.source in said else f'<p class="quiet">{escape(item.source)}</p>'
    return (
        f'<section id="q{number}" aria-labelledby="h{number}"><h2 id="h{number}">Question {number}</h2>{source}{clips}'
        + "".join(staff(e) for e in item.seen)
        + f"<fieldset><legend>{escape(item.prompt)}</legend>{choices}</fieldset>"
        f'<button type="button" class="give">Answer question {number}</button>'
        '<p class="verdict" role="status"></p>'
        '<div class="after" hidden><p class="why"></p><div class="evidence"></div></div></section>'
    )


def _sealed(pack: Pack, number: int, item: PackItem, staff: Callable[[Excerpt], str]) -> dict[str, object]:
    salt = hashlib.sha256(f"{pack.id} {number}".encode()).hexdigest()[:16]
    place = [c.label for c in item.choices].index(item.right)
    inside = {"explanation": item.explanation, "evidence": "".join(staff(e) for e in item.evidence)}
    return {
        "salt": salt,
        "choices": len(item.choices),
        "digest": hashlib.sha256(f"{salt}\0answer\0{place}".encode()).hexdigest(),
        "sealed": base64.b64encode(_seal(json.dumps(inside).encode(), salt, place)).decode(),
    }


def _seal(data: bytes, salt: str, place: int) -> bytes:
    """Bytes under a key stream made from the right choice's place: not readable at a glance, and no more than that."""
    out = bytearray()
    for n in range(0, len(data), 32):
        key = hashlib.sha256(f"{salt}\0key\0{place}\0{n // 32}".encode()).digest()
        out += bytes(a ^ b for a, b in zip(data[n : n + 32], key, strict=False))
    return bytes(out)


def _frame(pack: Pack, questions: str, sprite: str, data: str, script: str, style: str) -> str:
    policy = (
        f"default-src 'none'; script-src '{_hash(script)}'; style-src '{_hash(style)}'; media-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    title = escape(pack.title or "Quiz")
    introduction = f"<p>{escape(pack.introduction)}</p>" if pack.introduction else ""
    when = "after each answer" if pack.reveal == "at once" else "when you finish"
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{title}</title>
<style>{style}</style>
</head>
<body>
{sprite}
<main>
<h1>{title}</h1>
{introduction}
<p class="quiet">{len(pack.items)} questions; explanations come {when}. {_HEARING} In the drawings, diamond-shaped
notes are the ones pointed out. Nothing you do here is sent anywhere, and nothing is kept: close or reload the page, and
you begin anew.</p>
<noscript><p>This page needs JavaScript to mark your answers. It asks nothing of the network.</p></noscript>
{questions}
<section aria-label="Finish">
<p id="progress" class="quiet" role="status"></p>
<button type="button" id="finish">Finish and see the result</button>
<div id="result" hidden>
<h2 id="score" tabindex="-1"></h2>
<p>To hand your answers in, send your teacher this code or the file. Both hold your answers and nothing about you; the
file also holds the nickname, if you give one.</p>
<p id="code" class="code"></p>
<p><button type="button" id="copy">Copy the code</button> <span id="copied" role="status"></span></p>
<p><label for="nickname">A nickname, only if you like</label> <input id="nickname" type="text" maxlength="40"
autocomplete="off"></p>
<p><button type="button" id="save">Save the answer file</button></p>
</div>
</section>
</main>
<script type="application/json" id="quiz">{data}</script>
<script>{script}</script>
</body>
</html>
"""


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def sheet(pack: Pack, *, engrave: Engrave, key: Sequence[int] = ()) -> str:
    """The quiz for paper: the questions, and the key on a page of its own.

    Args:
        pack: the quiz.
        engrave: draws a staff.
        key: numbers of the questions whose key is printed; none: all of them.
    """
    sprite = Sprite()
    rows, answers = [], []
    for number, item in enumerate(pack.items, start=1):
        heard = f"<p class='quiet'>Listen: {escape('; '.join(e.caption for e in item.heard))}</p>" if item.heard else ""
        if item.source not in {e.caption for e in item.heard} | {"", "fresh"}:
            heard = f"<p class='quiet'>{escape(item.source)}</p>{heard}"
        drawn = "".join(f'<div class="staff">{_sized(sprite.take(engrave(e.phrase)))}</div>' for e in item.seen)
        boxes = "".join(f"<li>{escape(c.text)}</li>" for c in item.choices)
        rows.append(
            f"<section><h2>Question {number}</h2><p>{escape(item.prompt)}</p>{heard}{drawn}<ol type='a'>{boxes}</ol>"
            "</section>"
        )
        if not key or number in key:
            letter = "abcdefgh"[[c.label for c in item.choices].index(item.right)]
            told = f"<strong>{letter}: {escape(item.right_text)}.</strong> {escape(item.explanation)}"
            answers.append(f"<li value='{number}'>{told}</li>")
    style = (files("tutor.quiz") / "web" / "page.css").read_text(encoding="utf-8") + ".key{break-before:page}"
    policy = f"default-src 'none'; style-src '{_hash(style)}'; base-uri 'none'; form-action 'none'"
    title = escape(pack.title or "Quiz")
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><meta http-equiv="Content-Security-Policy" '
        f'content="{policy}"><title>{title}</title><style>{style}</style></head><body>{sprite.html()}<main>'
        f"<h1>{title}</h1><p>{escape(pack.introduction)}</p>{''.join(rows)}"
        f"<section class='key'><h2>Key</h2><ol>{''.join(answers)}</ol></section></main></body></html>\n"
    )
