"""The school package against the published model of QTI 2.2: order, attributes, identifiers, media.

Source: 1EdTech, QTI Assessment, Section and Item Information Model, version 2.2 (classes AssessmentItem,
ResponseDeclaration, OutcomeDeclaration, ItemBody, ChoiceInteraction, AssessmentTest, TestPart, AssessmentSection,
RubricBlock, AssessmentItemRef) and the package profile of IMS Content Packaging 1.2; the tables below are recalled from
it. The schema files themselves come with no general package of the registries, so a schema validator is not run here.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from urllib.parse import unquote
from xml.etree import ElementTree as ET

import pytest

from tests.quiz.packs import item, pack
from tutor.quiz.pack import Pack
from tutor.quiz.qti import NS, package
from tutor.studio import quizzes

CP = "http://www.imsglobal.org/xsd/imscp_v1p1"
TEMPLATE = "http://www.imsglobal.org/question/qti_v2p2/rptemplates/match_correct"
NCNAME = re.compile(r"[A-Za-z_][\w.\-]*")
BLOCKS = {
    "p",
    "div",
    "ul",
    "ol",
    "table",
    "pre",
    "h1",
    "h2",
    "h3",
    "h4",
    "h5",
    "h6",
    "choiceInteraction",
    "rubricBlock",
}
INLINE = {"p": {"img", "object", "em", "strong", "br", "span"}, "prompt": {"img", "em", "strong", "br"}}

# For each class: children in their order, and for each child how few and how many.
ORDER: Mapping[str, Sequence[tuple[str, int, int]]] = {
    "assessmentItem": (
        ("responseDeclaration", 0, 99), ("outcomeDeclaration", 0, 99), ("templateDeclaration", 0, 99),
        ("templateProcessing", 0, 1), ("stylesheet", 0, 99), ("itemBody", 0, 1), ("responseProcessing", 0, 1),
        ("modalFeedback", 0, 99),
    ),
    "responseDeclaration": (("defaultValue", 0, 1), ("correctResponse", 0, 1), ("mapping", 0, 1)),
    "outcomeDeclaration": (("defaultValue", 0, 1), ("matchTable", 0, 1)),
    "correctResponse": (("value", 1, 99),),
    "defaultValue": (("value", 1, 99),),
    "choiceInteraction": (("prompt", 0, 1), ("simpleChoice", 1, 99)),
    "assessmentTest": (
        ("outcomeDeclaration", 0, 99), ("timeLimits", 0, 1), ("stylesheet", 0, 99), ("testPart", 1, 99),
        ("outcomeProcessing", 0, 1), ("testFeedback", 0, 99),
    ),
    "testPart": (("itemSessionControl", 0, 1), ("timeLimits", 0, 1), ("assessmentSection", 1, 99)),
    "assessmentSection": (
        ("selection", 0, 1), ("ordering", 0, 1), ("rubricBlock", 0, 99), ("assessmentItemRef", 0, 999),
    ),
    "assessmentItemRef": (),
    "responseProcessing": (),
}  # fmt: skip
# For each class: attributes that must be there, and those that may.
ATTRIBUTES: Mapping[str, tuple[set[str], set[str]]] = {
    "assessmentItem": ({"identifier", "title", "adaptive", "timeDependent"}, {"lang", "label", "schemaLocation"}),
    "responseDeclaration": ({"identifier", "cardinality"}, {"baseType"}),
    "outcomeDeclaration": ({"identifier", "cardinality"}, {"baseType"}),
    "choiceInteraction": ({"responseIdentifier"}, {"shuffle", "maxChoices", "minChoices", "orientation"}),
    "simpleChoice": ({"identifier"}, {"fixed"}),
    "responseProcessing": (set(), {"template", "templateLocation"}),
    "assessmentTest": ({"identifier", "title"}, {"schemaLocation", "toolName", "toolVersion"}),
    "testPart": ({"identifier", "navigationMode", "submissionMode"}, set()),
    "assessmentSection": ({"identifier", "title", "visible"}, {"required", "fixed", "keepTogether"}),
    "assessmentItemRef": ({"identifier", "href"}, {"required", "fixed", "category"}),
    "rubricBlock": ({"view"}, {"use"}),
    "img": ({"src", "alt"}, {"width", "height", "longdesc"}),
    "object": ({"data", "type"}, {"width", "height"}),
}
VALUES = {
    ("responseDeclaration", "cardinality"): {"single"}, ("responseDeclaration", "baseType"): {"identifier"},
    ("outcomeDeclaration", "cardinality"): {"single"}, ("outcomeDeclaration", "baseType"): {"float"},
    ("choiceInteraction", "shuffle"): {"true", "false"}, ("choiceInteraction", "maxChoices"): {"1"},
    ("testPart", "navigationMode"): {"linear", "nonlinear"}, ("assessmentSection", "visible"): {"true", "false"},
    ("testPart", "submissionMode"): {"individual", "simultaneous"}, ("assessmentItem", "adaptive"): {"true", "false"},
    ("assessmentItem", "timeDependent"): {"true", "false"}, ("responseProcessing", "template"): {TEMPLATE},
    ("rubricBlock", "view"): {"author", "candidate", "proctor", "scorer", "testConstructor", "tutor"},
}  # fmt: skip


def short(name: str) -> str:
    return name.rpartition("}")[2]


def faults(root: ET.Element) -> list[str]:
    """What the model does not allow in an element and below it."""
    found = []
    for element in root.iter():
        name, kids = short(element.tag), [short(k.tag) for k in element]
        if not element.tag.startswith(f"{{{NS}}}"):
            found.append(f"{name}: another namespace")
        if name in ORDER:
            places = {child: n for n, (child, _, _) in enumerate(ORDER[name])}
            found += [f"{name}: {k} does not belong here" for k in kids if k not in places]
            ranks = [places[k] for k in kids if k in places]
            found += [f"{name}: {kids} out of order"] if ranks != sorted(ranks) else []
            found += [
                f"{name}: {kids.count(c)} of {c}" for c, few, most in ORDER[name] if not few <= kids.count(c) <= most
            ]
        if name in ("itemBody", "rubricBlock"):
            found += [f"{name}: {k} is no block" for k in kids if k not in BLOCKS]
            found += [f"{name}: bare text"] if (element.text or "").strip() else []
        if name in INLINE:
            found += [f"{name}: {k} is not inline" for k in kids if k not in INLINE[name]]
        if name in ATTRIBUTES:
            must, may = ATTRIBUTES[name]
            have = {short(a) for a in element.attrib}
            found += [f"{name}: {a} is missing" for a in must - have] + [
                f"{name}: {a} is odd" for a in have - must - may
            ]
        for attribute, value in element.attrib.items():
            allowed = VALUES.get((name, short(attribute)))
            found += [f"{name}: {attribute}={value}"] if allowed is not None and value not in allowed else []
            if "dentifier" in attribute and not NCNAME.fullmatch(value):
                found.append(f"{name}: {value} is no identifier")
    return found


def opened(made: Pack) -> zipfile.ZipFile:
    data = package(made, engrave=quizzes.drawn, sound=lambda _: b"\xff\xfb\x90\x00", describe=quizzes.describe)
    return zipfile.ZipFile(io.BytesIO(data))


BY_EYE = replace(item(1), heard=(), seen=item(1).heard, prompt="<b>5 < 6 & 7</b>", source="Bars 9–12 of “A & B”")
PACKS = [pack(3), Pack("Tide & <chords>", "", "at the end", 7, (item(0), BY_EYE)), pack(100)]


@pytest.mark.parametrize("made", PACKS, ids=["three", "by eye", "most"])
def test_every_file_keeps_to_the_model(made: Pack) -> None:
    archive = opened(made)
    names = [n for n in archive.namelist() if n.endswith(".xml") and n != "imsmanifest.xml"]
    assert len(names) == len(made.items) + 1
    assert [(n, faults(ET.fromstring(archive.read(n)))) for n in names] == [(n, []) for n in names]


def test_the_checker_finds_what_is_wrong() -> None:
    root = ET.fromstring(opened(pack(1)).read("item001.xml"))
    assert faults(root) == []
    body, processing = root[2], root[3]
    root.remove(body)
    root.append(body)
    assert any("out of order" in f for f in faults(root))
    root.remove(processing)
    root.set("identifier", "1 bad")
    body.text = "bare"
    body.find(f"{{{NS}}}choiceInteraction").set("maxChoices", "5")  # type: ignore[union-attr]
    del root.attrib["title"]
    assert {f.partition(":")[0] for f in faults(root)} == {"assessmentItem", "itemBody", "choiceInteraction"}
    assert len(faults(root)) == 4


@pytest.mark.parametrize("made", PACKS[:2], ids=["three", "by eye"])
def test_answers_choices_and_variables_refer_to_each_other(made: Pack) -> None:
    archive, space = opened(made), {"q": NS}
    for number in range(1, len(made.items) + 1):
        root = ET.fromstring(archive.read(f"item{number:03}.xml"))
        choices = [c.get("identifier") for c in root.iterfind(".//q:simpleChoice", space)]
        declared = root.find("q:responseDeclaration", space)
        interaction = root.find(".//q:choiceInteraction", space)
        assert declared is not None
        assert interaction is not None
        assert interaction.get("responseIdentifier") == declared.get("identifier") == "RESPONSE"
        assert len(set(choices)) == len(choices)
        assert declared.findtext("q:correctResponse/q:value", namespaces=space) in choices
        # The standard template match_correct sets the outcome SCORE from the response RESPONSE.
        assert [o.get("identifier") for o in root.iterfind("q:outcomeDeclaration", space)] == ["SCORE"]


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
