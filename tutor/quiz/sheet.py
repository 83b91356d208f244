"""Answer sheets: what a viewer hands in, as a small file or as a short code.

Nothing else leaves the page: the answers, a nickname if the viewer gives one, and four random bytes by which a sheet
handed in twice is known. The check at the end of a code finds slips and careless changes. It cannot find a forger: the
page holds no secret, so whoever reads this description can make a sheet. That is enough for a lesson and not for an
exam.

A code is, in bytes: 1 version, 5 quiz id, 4 random, 1 number of questions, the answers as one number in base 9
(0 none, 1 to 8 the choice as shown), 4 check (first bytes of SHA-256 over "larkstair sheet" and all before). It is
written in Crockford's base 32, in groups of five.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass

from tutor.errors import PackError, plain
from tutor.quiz.pack import Pack

_VERSION = 1
_DIGITS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_READ = {c: i for i, c in enumerate(_DIGITS)} | {"O": 0, "I": 1, "L": 1}
_SEAL = b"larkstair sheet"
_NICKNAME_MOST = 40
MOST_SHEET_BYTES = 20_000
"""A larger answer file is refused unread."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One viewer's answers."""

    quiz: str
    """Id of the quiz."""
    answers: tuple[int, ...]
    """For each question the choice as shown, from 1; 0 for none."""
    mark: str
    """Eight random hexadecimal figures."""
    nickname: str = ""

    def labels(self, pack: Pack, quiz: str = "") -> tuple[str, ...]:
        """The labels chosen; '' for none.

        Args:
            pack: the quiz.
            quiz: its id, for a caller with many sheets: finding it takes longer than all the rest.

        Raises:
            PackError: the sheet belongs to another quiz or names a choice that is not there.
        """
        quiz = quiz or pack.id
        if self.quiz != quiz:
            raise PackError(f"this sheet belongs to another quiz ({self.quiz}, not {quiz})")
        if len(self.answers) != len(pack.items):
            raise PackError(f"{len(self.answers)} answers for {len(pack.items)} questions")
        found = []
        for answer, item in zip(self.answers, pack.items, strict=True):
            if not 0 <= answer <= len(item.choices):
                raise PackError("an answer names a choice that the question does not have")
            found.append(item.choices[answer - 1].label if answer else "")
        return tuple(found)


def to_code(sheet: Sheet) -> str:
    """A sheet as a code; the nickname is not in it."""
    number = 0
    for answer in sheet.answers:
        number = number * 9 + answer
    body = bytes([_VERSION]) + bytes.fromhex(sheet.quiz) + bytes.fromhex(sheet.mark) + bytes([len(sheet.answers)])
    body += number.to_bytes(_width(len(sheet.answers)), "big")
    text = _base32(body + _check(body))
    return "-".join(text[i : i + 5] for i in range(0, len(text), 5))


def from_code(code: str) -> Sheet:
    """Read a code.

    Raises:
        PackError: it is no code, or a slip changed it.
    """
    raw = _bytes32(re.sub(r"[\s-]", "", code.upper()))
    if len(raw) < 15 or raw[0] != _VERSION:
        raise PackError("this is no answer code", remedy="Copy the whole code, from the first sign to the last")
    count = raw[10]
    width = _width(count)
    body, check, rest = raw[: 11 + width], raw[11 + width : 15 + width], raw[15 + width :]
    if check != _check(body) or rest.strip(b"\0"):
        raise PackError("the code was changed or cut short", remedy="Copy the whole code again")
    number = int.from_bytes(body[11:], "big")
    answers = []
    for _ in range(count):
        number, answer = divmod(number, 9)
        answers.append(answer)
    if number:
        raise PackError("the code was changed or cut short", remedy="Copy the whole code again")
    return Sheet(body[1:6].hex(), tuple(reversed(answers)), body[6:10].hex())


def to_file(sheet: Sheet) -> str:
    """A sheet as the text of an answer file."""
    raw = {"kind": "larkstair answers", "schema": 1, "code": to_code(sheet), "nickname": sheet.nickname}
    return json.dumps(raw, ensure_ascii=False)


def from_file(text: str) -> Sheet:
    """Read an answer file; what counts is the code inside.

    Raises:
        PackError: it is no answer file, or it was changed.
    """
    if len(text) > MOST_SHEET_BYTES:
        raise PackError("the file is too large to be an answer sheet")
    try:
        raw = json.loads(text)
    except (ValueError, RecursionError):
        raise PackError("this is no answer file") from None
    if not isinstance(raw, dict) or raw.get("kind") != "larkstair answers" or not isinstance(raw.get("code"), str):
        raise PackError("this is no answer file")
    sheet = from_code(raw["code"])
    nickname = raw.get("nickname")
    name = plain(nickname)[:_NICKNAME_MOST] if isinstance(nickname, str) else ""
    return Sheet(sheet.quiz, sheet.answers, sheet.mark, name)


def _width(count: int) -> int:
    """Bytes that hold ``count`` figures in base 9."""
    return (int(9**count - 1).bit_length() + 7) // 8


def _check(body: bytes) -> bytes:
    return hashlib.sha256(_SEAL + body).digest()[:4]


def _base32(data: bytes) -> str:
    bits = len(data) * 8
    number = int.from_bytes(data, "big") << (-bits % 5)
    return "".join(_DIGITS[(number >> shift) & 31] for shift in range(bits + (-bits % 5) - 5, -1, -5))


def _bytes32(text: str) -> bytes:
    if len(text) > 400 or any(c not in _READ for c in text):
        raise PackError("this is no answer code", remedy="Copy the whole code, from the first sign to the last")
    number = 0
    for sign in text:
        number = number << 5 | _READ[sign]
    spare = len(text) * 5 % 8
    if number & ((1 << spare) - 1):
        raise PackError("the code was changed or cut short", remedy="Copy the whole code again")
    return (number >> spare).to_bytes(len(text) * 5 // 8, "big")
