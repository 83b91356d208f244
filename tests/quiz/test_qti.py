"""The school package against a model of QTI 2.2, the model against the official examples, and the official schema.

The official examples (repository 1EdTech/qti-examples) and schema files may not be copied here: the tests that read
them take their folder from LARKSTAIR_QTI_EXAMPLES, and the schema file of items and tests from LARKSTAIR_QTI_SCHEMA.
"""

from __future__ import annotations

import io
import os
import re
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from urllib.parse import unquote
from xml.etree import ElementTree as ET

import pytest
from lxml import etree  # type: ignore[import-untyped]

from tests.quiz.packs import item, pack
from tests.quiz.qti_model import CP, faults, mutants, renamed
from tutor.quiz.pack import Pack
from tutor.quiz.qti import package
from tutor.studio import quizzes

NCNAME = re.compile(r"[A-Za-z_][\w.\-]*")


def short(name: str) -> str:
    return name.rpartition("}")[2]


def examples() -> list[Path]:
    folder = os.environ.get("LARKSTAIR_QTI_EXAMPLES", "")
    if not folder:
        pytest.skip("LARKSTAIR_QTI_EXAMPLES does not name the official examples")
    return sorted(Path(folder).rglob("*.xml"))


def parsed(path: Path) -> etree._Element:
    root = etree.parse(str(path)).getroot()
    return renamed(root) if "v3p0" in str(root.tag) else root


drawn = cache(quizzes.drawn)


def opened(made: Pack) -> zipfile.ZipFile:
    data = package(made, engrave=drawn, sound=lambda _: b"\xff\xfb\x90\x00", describe=quizzes.describe)
    return zipfile.ZipFile(io.BytesIO(data))


BY_EYE = replace(item(1), heard=(), seen=item(1).heard, prompt="<b>5 < 6 & 7</b>", source="Bars 9–12 of “A & B”")
PACKS = [pack(3), Pack("Tide & <chords>", "", "at the end", 7, (item(0), BY_EYE)), pack(100)]


def documents(made: Pack) -> Iterator[tuple[str, etree._Element]]:
    archive = opened(made)
    for name in archive.namelist():
        if name.endswith(".xml"):
            yield name, etree.fromstring(archive.read(name))


@pytest.mark.parametrize("made", PACKS, ids=["three", "by eye", "most"])
def test_every_file_keeps_to_the_model(made: Pack) -> None:
    found = {name: faults(root) for name, root in documents(made)}
    assert len(found) == len(made.items) + 2
    assert [f for f in found.items() if f[1]] == []


def test_every_broken_rule_is_found() -> None:
    """Each attribute left out or spoilt, each foreign attribute and child, each pair of children exchanged."""
    slipped, tried = [], 0
    for name, root in documents(PACKS[1]):
        for what, mutant in mutants(root):
            tried += 1
            slipped += [] if faults(mutant) else [f"{name}: {what}"]
    assert slipped == []
    assert tried > 300


def test_references_that_lead_nowhere_are_found() -> None:
    root = dict(documents(PACKS[1]))["item001.xml"]
    told = []
    for path, attribute, value in (
        (".//{*}choiceInteraction", "responseIdentifier", "OTHER"), (".//{*}modalFeedback", "outcomeIdentifier", "X"),
        (".//{*}simpleChoice", "identifier", "choiceB"), (".//{*}variable", "identifier", "Y"),
        (".//{*}setOutcomeValue", "identifier", "Z"), (".//{*}responseDeclaration", "cardinality", "multiple"),
        (".//{*}outcomeDeclaration", "identifier", "RESPONSE"),
    ):  # fmt: skip
        copy = etree.fromstring(etree.tostring(root))
        there = copy.find(path)
        assert there is not None
        there.set(attribute, value)
        told.append(faults(copy))
    assert [t for t in told if not t] == []
    value = root.find(".//{*}correctResponse/{*}value")
    assert value is not None
    value.text = "choiceZ"
    assert faults(root) == ["choiceZ is no choice"]


def test_the_official_examples_keep_to_the_model() -> None:
    found = {path.name: faults(parsed(path)) for path in examples()}
    assert len(found) > 10
    assert [f for f in found.items() if f[1]] == []


def test_broken_examples_are_found() -> None:
    slipped = [
        f"{path.name}: {what}" for path in examples() for what, mutant in mutants(parsed(path)) if not faults(mutant)
    ]
    assert slipped == []


def test_the_official_schema_takes_every_file() -> None:
    path = os.environ.get("LARKSTAIR_QTI_SCHEMA", "")
    if not path:
        pytest.skip("LARKSTAIR_QTI_SCHEMA does not name imsqti_v2p2.xsd")
    schema = etree.XMLSchema(etree.parse(path, etree.XMLParser(no_network=True)))
    for made in PACKS:
        for name, root in documents(made):
            assert name == "imsmanifest.xml" or schema.validate(root), (name, schema.error_log)


def test_the_explanation_comes_when_the_maker_chose() -> None:
    for made, when in ((PACKS[0], "individual"), (PACKS[1], "simultaneous")):
        found = dict(documents(made))
        part = found["test.xml"].find(".//{*}testPart")
        assert part is not None
        assert part.get("submissionMode") == when
        for number, asked in enumerate(made.items, start=1):
            root = found[f"item{number:03}.xml"]
            told = root.find("{*}modalFeedback/{*}p")
            assert told is not None
            assert told.text == f"Right is: {asked.right_text}. {asked.explanation}"
            right = root.findtext("{*}responseDeclaration/{*}correctResponse/{*}value")
            assert root.findtext(f".//{{*}}simpleChoice[@identifier='{right}']") == asked.right_text


def test_the_manifest_names_each_file_once_and_leads_out_nowhere() -> None:
    archive = opened(PACKS[1])
    root = ET.fromstring(archive.read("imsmanifest.xml"))
    assert [short(k.tag) for k in root] == ["metadata", "organizations", "resources"]
    assert root.tag == f"{{{CP}}}manifest"
    assert [k.text for k in root[0]] == ["QTIv2.2 Package", "1.0.0"]
    identifiers, hrefs = [root.get("identifier") or ""], []
    needed: dict[str | None, list[str | None]] = {}
    for resource in root[2]:
        files = [f.get("href") for f in resource if short(f.tag) == "file"]
        assert resource.get("href") == files[0]
        needed[resource.get("identifier")] = [d.get("identifierref") for d in resource if short(d.tag) == "dependency"]
        identifiers.append(resource.get("identifier") or "")
        assert resource.get("type") in ("imsqti_item_xmlv2p2", "imsqti_test_xmlv2p2")
        hrefs += files
    assert needed == {"r-item001": [], "r-item002": [], "r-test": ["r-item001", "r-item002"]}
    assert all(NCNAME.fullmatch(i) for i in identifiers)
    assert len(set(identifiers)) == len(identifiers)
    assert sorted(hrefs) == sorted(n for n in archive.namelist() if n != "imsmanifest.xml")  # type: ignore[type-var]
    assert all(".." not in unquote(h or "") and not (h or "").startswith("/") for h in hrefs)
    assert archive.namelist()[0] == "imsmanifest.xml"


def test_drawings_are_whole_files_without_script() -> None:
    archive = opened(PACKS[1])
    drawings = [n for n in archive.namelist() if n.endswith(".svg")]
    assert drawings
    for name in drawings:
        root = ET.fromstring(archive.read(name))
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert not {short(e.tag) for e in root.iter()} & {"script", "foreignObject", "image"}
