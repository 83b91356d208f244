"""Files built from the words of their kind, put together as no sane program would.

Every choice comes from the dice that are passed in: seeded ones in the bench, hypothesis's own in the tests, which then
shortens what fails.
"""

from __future__ import annotations

import json
import random
import struct
from collections.abc import Callable, Sequence
from typing import Any

from tests.score import makers

_NUMBERS = ("0", "1", "2", "3", "4", "7", "8", "12", "16", "-1", "0.5", "1e9", "999999", "", "x", "nan", "1/3", "٣")
_WORDS = (
    "la", "", "C", "Voice", "start", "stop", "yes", "no", "none", "both", "G", "F", "crotchet", "\u202eevil", "é", "🎵",
)  # fmt: skip
_TAGS = (
    "note", "note", "note", "note", "chord", "rest", "grace", "duration", "pitch", "step", "octave", "alter", "voice",
    "staff", "type", "dot", "tie", "time-modification", "actual-notes", "normal-notes", "lyric", "text", "syllabic",
    "attributes", "divisions", "key", "fifths", "mode", "time", "beats", "beat-type", "clef", "sign", "line", "staves",
    "transpose", "chromatic", "diatonic", "backup", "forward", "direction", "direction-type", "sound", "words",
    "metronome", "beat-unit", "per-minute", "barline", "repeat", "ending", "bar-style", "harmony", "root", "root-step",
    "kind", "bass", "notations", "tuplet", "slur", "tied", "fermata", "ornaments", "trill-mark", "unpitched", "cue",
    "measure-style", "multiple-rest", "print", "octave-shift", "dashes", "wedge", "part",
)  # fmt: skip
_MARKS = (
    "number",
    "type",
    "id",
    "direction",
    "times",
    "tempo",
    "implicit",
    "dacapo",
    "segno",
    "tocoda",
    "fine",
    "size",
)


def _pick(dice: random.Random, values: Sequence[str], most: int = 8) -> str:
    return " ".join(dice.choice(values) for _ in range(dice.randrange(1, most)))


def _element(dice: random.Random, depth: int) -> str:
    tag = dice.choice(_TAGS)
    marks = "".join(
        f' {m}="{dice.choice((*_NUMBERS, *_WORDS))}"' for m in dict.fromkeys(dice.choices(_MARKS, k=dice.randrange(3)))
    )
    inside = dice.choice((*_NUMBERS, *_WORDS))
    if depth and dice.random() < 0.7:
        inside = "".join(_element(dice, depth - 1) for _ in range(dice.randrange(1, 5)))
    return f"<{tag}{marks}>{inside}</{tag}>"


def _sane_note(dice: random.Random) -> str:
    name = dice.choice(("C4", "D#5", "Bb3", "r", "E0", "G9"))
    return makers.note(
        name, dice.choice((0, 0.25, 1, 4, 17)), chord=dice.random() < 0.3, grace=dice.random() < 0.2,
        voice=dice.randrange(1, 9), staff=dice.randrange(4), tie=dice.choice(("", "start", "stop", "stop start")),
        lyric=dice.choice(("", "la", "\u200fwhere")), syllabic=dice.choice(("single", "begin", "end", "middle")),
    )  # fmt: skip


def _musicxml(dice: random.Random) -> bytes:
    """A well-formed score whose bars hold elements in any order."""
    parts = []
    for number in range(dice.randrange(1, 4)):
        bars = []
        for bar in range(1, dice.randrange(2, 7)):
            inside = "".join(
                _sane_note(dice) if dice.random() < 0.6 else _element(dice, 3) for _ in range(dice.randrange(8))
            )
            head = makers.attributes(fifths=dice.randrange(-9, 9), beats=dice.randrange(1, 15)) if bar == 1 else ""
            bars.append(makers.bar(dice.choice((bar, "X1", "", 1)), head + inside, implicit=dice.random() < 0.2))
        parts.append((dice.choice(("Voice", "Piano", "", f"P{number}")), bars))
    return makers.score(parts).encode()


def _packed(dice: random.Random) -> bytes:
    path = dice.choice(
        ("score.xml", "a/b.musicxml", "../up.xml", "META-INF/x.xml", "score\u202e.xml", "x" * 300 + ".xml")
    )
    return makers.packed({path: _musicxml(dice)}, container=dice.choice((None, path, "missing.xml", "score.xml")))


def _varying(value: int) -> bytes:
    out = bytes([value & 0x7F])
    while value := value >> 7:
        out = bytes([value & 0x7F | 0x80]) + out
    return out


def _midi(dice: random.Random) -> bytes:
    """Whole tracks of any messages, any metre, key and tempo."""
    tracks = []
    for _ in range(dice.randrange(1, 4)):
        body = b""
        for _ in range(dice.randrange(1, 30)):
            body += _varying(dice.choice((0, 0, 1, 120, 480, 480, 1920, 100_000)))
            status = dice.choice((0x90, 0x90, 0x90, 0x80, 0x80, 0xA0, 0xB0, 0xC0, 0xD0, 0xE0, 0xF0, 0xFF, 0xFF))
            if status == 0xFF:
                kind, size = dice.choice((1, 3, 5, 0x51, 0x58, 0x59, 0x20, 0x7F)), dice.randrange(6)
                body += bytes([0xFF, kind]) + _varying(size) + dice.randbytes(size)
            elif status == 0xF0:
                size = dice.randrange(5)
                body += bytes([0xF0]) + _varying(size) + dice.randbytes(size)
            else:
                pair = bytes([dice.randrange(128), dice.randrange(128)])
                body += bytes([status | dice.randrange(16)]) + (pair[:1] if status in (0xC0, 0xD0) else pair)
        tracks.append(body + b"\x00\xff\x2f\x00")
    head = struct.pack(">IHHH", 6, dice.randrange(3), len(tracks), dice.choice((1, 24, 480, 960, 32767)))
    return b"MThd" + head + b"".join(b"MTrk" + struct.pack(">I", len(t)) + t for t in tracks)


_ABC = (
    "C", "D,", "e'", "^F", "__B", "=c", "z", "Z4", "|", "||", "|:", ":|", "[1", "[2", "|]", "(3", "(5:4:6", "A2", "B/",
    "c3/2", "d//", "-", "[CEG]", "{g}", "~A", ">", "<", '"D7"', '"^words"', "!trill!", "[K:D]", "[M:5/8]", "[L:1/16]",
    "(", ")", "y", "x8", "&", "\\", "$", "u", "v", "[V:2]", "%", "1", "99", "*",
)  # fmt: skip
_FIELDS = (
    "M:3/4", "M:C|", "M:none", "M:7/8", "M:2+3/8", "L:1/8", "L:1/1", "K:C", "K:F#m", "K:Ddor", "K:HP", "K:none",
    "Q:1/4=120", "Q:0", "Q:1/4=99999", "V:1", "V:2 clef=bass", "w:one two-three __ *", "w:", "P:AABB", "T:\u202etitle",
    "R:reel", "%%score (1 2)", "I:x", "U:n=!f!", "m:~=x", "X:2", "s:x", "W:words",
)  # fmt: skip


def _abc(dice: random.Random) -> bytes:
    lines = ["X:1", "T:Built", f"K:{dice.choice(('C', 'Gm', 'Amix', 'Eb'))}"]
    for _ in range(dice.randrange(1, 8)):
        lines.append(dice.choice(_FIELDS) if dice.random() < 0.35 else _pick(dice, _ABC, 16))
    return "\n".join(lines).encode()


_KERN = (
    "4c", "4.C#", "8ee-L", "8ffJ", "2r", "16GG", "1r;", "[2d", "2d]", "4c 4e 4g", "3.f", "0r", "qg", "4c_", ".", ".",
    "=1", "=2", "==", "=:|!", "*M3/4", "*M0/4", "*k[f#]", "*k[b-e-a-]", "*C:", "*clefF4", "*MM120", "*^", "*v", "*x",
    "*-", "*", "!comment", "!!!COM: x", "la", "4", "c", "64%3b", "*>A", "*>[A,B]", "*ITrd1c2", "20c", "4c##",
)  # fmt: skip


def _kern(dice: random.Random) -> bytes:
    width = dice.randrange(1, 4)
    kinds = ["**kern", *(dice.choice(("**kern", "**text", "**dynam", "**harm")) for _ in range(width - 1))]
    lines = ["\t".join(kinds)]
    for _ in range(dice.randrange(1, 16)):
        cell = dice.choice(_KERN)
        same = cell.startswith(("=", "*", "!")) and dice.random() < 0.8
        count = width if dice.random() < 0.95 else dice.randrange(1, 6)
        lines.append("\t".join(cell if same else dice.choice(_KERN) for _ in range(count)))
    return "\n".join([*lines, "\t".join(["*-"] * width)]).encode()


_ROMAN = (
    "m1", "m2", "m3", "m4", "m0", "m99", "m1a", "m2var1", "b1", "b2.5", "b3.33", "b0", "b9", "C:", "g:", "F#:", "Bb;:",
    "b-:", "I", "V65/V", "viio7", "bVI", "Ger65", "It6", "Cad64", "N6", "I[add9]", "V7/V/V", "#ivo", "||:", ":||",
    "|", "NC", "m3-4 = m1-2", "m2 = m9", "m1-999999 = m1-2", "Title:", "Time Signature: 3/4", "Pedal: G m1 b1 m2 b2",
    "Note: x", "%", "(", "\n", "\n", "\n",
)  # fmt: skip


def _romantext(dice: random.Random) -> bytes:
    return " ".join(dice.choice(_ROMAN) for _ in range(dice.randrange(2, 40))).replace("\n ", "\n").encode()


def _value(dice: random.Random, keys: Sequence[str], depth: int) -> Any:
    kind = dice.randrange(9)
    if depth and kind < 3:
        return {dice.choice(keys): _value(dice, keys, depth - 1) for _ in range(dice.randrange(6))}
    if depth and kind < 5:
        return [_value(dice, keys, depth - 1) for _ in range(dice.randrange(4))]
    return dice.choice(
        (None, True, 0, 1, -1, 2**70, 0.5, 1e300, "", "first", "\x1b[31m", "\u202e", "C4:1", "9" * 50, 4, 90)
    )


def _replaced(dice: random.Random, value: Any, keys: Sequence[str]) -> Any:
    """A good value with some of its inside replaced."""
    if dice.random() < 0.06:
        return _value(dice, keys, 2)
    if isinstance(value, dict):
        return {k: _replaced(dice, v, keys) for k, v in value.items() if dice.random() < 0.97}
    if isinstance(value, list):
        return [_replaced(dice, v, keys) for v in value]
    return value


def _json_like(whole: Callable[[], bytes]) -> Callable[[random.Random], bytes]:
    def build(dice: random.Random) -> bytes:
        good = json.loads(whole())
        keys = _keys(good)
        return json.dumps(_replaced(dice, good, keys) if dice.random() < 0.9 else _value(dice, keys, 4)).encode()

    return build


def _keys(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [*value, *(k for v in value.values() for k in _keys(v))]
    return [k for v in value for k in _keys(v)] if isinstance(value, list) else ["x"]


def _toml(*lines: str) -> Callable[[random.Random], bytes]:
    values = (
        '"A"', "1", "-1", "true", "[]", '["1", 1]', '["2", 2.5]', '"end"', "2026-12-04", "{}", "1e400", '"\\u202e"',
        '"major"', '"inversions"', '["triads-close"]', "9223372036854775807", "nan", "07:32:00", '["99", 1e300]',
    )  # fmt: skip

    def build(dice: random.Random) -> bytes:
        out = []
        for _ in range(dice.randrange(1, 14)):
            line = dice.choice(lines)
            out.append(line if line.startswith("[") else f"{line} = {dice.choice(values)}")
        return "\n".join(out).encode()

    return build


def _quiz() -> bytes:
    from tests.quiz.packs import pack
    from tutor.quiz.pack import dumps

    return dumps(pack(2)).encode()


def _settings() -> bytes:
    from tests.trust import archives

    return archives.settings()


BUILT: dict[str, Callable[[random.Random], bytes]] = {
    "song.musicxml": _musicxml,
    "song.mxl": _packed,
    "song.mid": _midi,
    "song.abc": _abc,
    "song.krn": _kern,
    "analysis.rntxt": _romantext,
    "quiz.json": _json_like(_quiz),
    "assignment.toml": _toml("title", "teacher", "due", "note", "songs", "[[task]]", "drill", "skills", "count", "[x]"),
    "sidecar.toml": _toml("form", "song", "[voice]", "part", "[[key]]", "[[section]]", "tonic", "mode", "from", "to",
                          "label", "variant"),
    "look.json": lambda dice: json.dumps(_value(dice, ("theme", "ascii", "large"), 2)).encode(),
    "settings": _json_like(_settings),
}  # fmt: skip


def built(name: str, dice: random.Random) -> bytes | None:
    """A made-up file for a reader; None where there is no way of building one."""
    make = BUILT.get(name)
    return make(dice) if make is not None else None
