"""What the program stands on: versions are bounded, and every licence lets an MIT program be shipped with it."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
OWN = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
NEEDED = [Requirement(text) for text in OWN["dependencies"]]
EXTRA = [Requirement(text) for texts in OWN["optional-dependencies"].values() for text in texts]

FREE = re.compile(
    r"\b(MIT|BSD|0BSD|Apache|Python Software Foundation|PSF|Mozilla Public|MPL|LGPL|Zlib|CC0|ISC|HPND)\b", re.I
)
"""Families that may be used beside, and shipped with, an MIT program; the LGPL ones as unchanged libraries."""
TAKEN = re.compile(r"\b(GPL|AGPL|GNU (Affero )?General Public|SSPL|Commons Clause|Proprietary)\b", re.I)
SAID = {
    "textual": "MIT", "rich": "MIT", "mido": "MIT", "python-rtmidi": "MIT", "sounddevice": "MIT", "miniaudio": "MIT",
    "fsrs": "MIT", "platformdirs": "MIT", "music21": "BSD", "numpy": "BSD", "soundfile": "BSD", "verovio": "LGPL",
}  # fmt: skip
"""What DEVELOPERS.md says of what the program asks for itself."""


def named(text: str) -> str:
    return re.sub(r"[-_.]+", "-", text).lower()


@cache
def stood_on() -> dict[str, str]:
    """Every package that comes with the program, with its licence as its own metadata has it."""
    found: dict[str, str] = {}
    todo, seen = [(r.name, frozenset(r.extras)) for r in NEEDED], set[tuple[str, frozenset[str]]]()
    while todo:
        name, extras = todo.pop()
        if (name, extras) in seen:
            continue
        seen.add((name, extras))
        try:
            package = metadata.distribution(name)
        except metadata.PackageNotFoundError:
            continue  # another system's or another Python's
        found[named(name)] = _licence(package)
        for text in package.requires or ():
            wanted = Requirement(text)
            if wanted.marker is None or any(wanted.marker.evaluate({"extra": e}) for e in extras or {""}):
                todo.append((wanted.name, frozenset(wanted.extras)))
    return found


def _licence(package: metadata.Distribution) -> str:
    told = package.metadata.get_all("License-Expression") or [
        c.rpartition("::")[2].strip() for c in package.metadata.get_all("Classifier") or () if c.startswith("License")
    ]
    return " AND ".join(told) or (package.metadata.get_all("License") or [""])[0].partition("\n")[0]


def test_every_licence_is_a_free_one() -> None:
    licences = stood_on()
    assert len(licences) > 25
    for name, licence in licences.items():
        assert FREE.search(licence), f"{name}: {licence!r}"
        assert not TAKEN.search(licence), f"{name}: {licence!r}"


@pytest.mark.parametrize(("name", "family"), SAID.items())
def test_developers_reads_what_the_packages_say(name: str, family: str) -> None:
    section = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("### Licences")[2].partition("\n#")[0]
    assert name in section
    assert family in section
    if name in stood_on():
        assert family in stood_on()[name].replace("Lesser General Public", "LGPL")


def test_nothing_is_asked_for_that_is_not_listed() -> None:
    assert {named(r.name) for r in NEEDED} == set(SAID)


def test_every_version_is_bounded_above() -> None:
    for wanted in (*NEEDED, *EXTRA):
        assert {s.operator for s in wanted.specifier} & {"<", "==", "~="}, f"{wanted} has no upper bound"
        assert {s.operator for s in wanted.specifier} & {">=", "==", "~="}, f"{wanted} has no lower bound"


def test_what_is_installed_lies_within_the_bounds() -> None:
    for wanted in NEEDED:
        if wanted.marker is None or wanted.marker.evaluate():
            assert metadata.version(wanted.name) in wanted.specifier, wanted.name
