"""A quiz as a package in the open 1EdTech QTI standard, version 2.2, for the learning systems of schools.

One zip: a manifest, a test, an item for each question with its clips (MP3) and staves (SVG), and the explanation as
feedback after the answer. The right answers are readable in it, as the standard has it: hand it to the school and not
to the viewers. It follows the examples that 1EdTech publishes: an item with modal feedback, a test that adds up scores.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from xml.etree import ElementTree as ET

from tutor.music.phrase import Phrase
from tutor.practice.drill import Excerpt
from tutor.quiz.pack import Pack, PackItem

NS = "http://www.imsglobal.org/xsd/imsqti_v2p2"
_XSD = "http://www.imsglobal.org/xsd/qti/qtiv2p2/imsqti_v2p2.xsd"
_CP = "http://www.imsglobal.org/xsd/imscp_v1p1"
_CP_XSD = "http://www.imsglobal.org/xsd/qti/qtiv2p2/qtiv2p2_imscpv1p2_v1p0.xsd"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"
_ITEM, _TEST = "imsqti_item_xmlv2p2", "imsqti_test_xmlv2p2"
_EXPLAINED = "explained"
_STAMP = (2020, 1, 1, 0, 0, 0)
"""Time of every file in the zip: the same quiz gives the same bytes."""

Drawn = Callable[[Phrase], str]
Sound = Callable[[Phrase], bytes]
Describe = Callable[[Phrase], str]


def package(pack: Pack, *, engrave: Drawn, sound: Sound, describe: Describe) -> bytes:
    """The whole package as the bytes of a zip file.

    Args:
        pack: the quiz.
        engrave: draws a staff as a whole SVG file.
        sound: renders a clip as MP3.
        describe: says in words what a staff shows.
    """
    files: dict[str, bytes] = {}
    resources: list[tuple[str, str, list[str]]] = []
    for number, item in enumerate(pack.items, start=1):
        media: list[str] = []

        def keep(name: str, data: bytes, media: list[str] = media) -> str:
            files[name] = data
            media.append(name)
            return name

        root = _item(pack, number, item, keep, engrave, sound, describe)
        name = f"item{number:03}.xml"
        files[name] = _bytes(root)
        resources.append((name, _ITEM, media))
    files["test.xml"] = _bytes(_test(pack))
    resources.append(("test.xml", _TEST, []))
    files["imsmanifest.xml"] = _bytes(_manifest(pack, resources))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files, key=lambda n: (n != "imsmanifest.xml", n)):
            archive.writestr(zipfile.ZipInfo(name, _STAMP), files[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _item(
    pack: Pack, number: int, item: PackItem, keep: Callable[[str, bytes], str], engrave: Drawn, sound: Sound,
    describe: Describe,
) -> ET.Element:  # fmt: skip
    root = ET.Element(
        "assessmentItem",
        {
            "xmlns": NS, "xmlns:xsi": _XSI, "xsi:schemaLocation": f"{NS} {_XSD}",
            "identifier": f"q{pack.id}-{number}", "title": f"Question {number}", "adaptive": "false",
            "timeDependent": "false", "xml:lang": "en",
        },
    )  # fmt: skip
    _declare(root, [c.label for c in item.choices].index(item.right))
    body = ET.SubElement(root, "itemBody")
    if item.source not in {e.caption for e in (*item.heard, *item.seen)} | {"", "fresh"}:
        ET.SubElement(body, "p").text = item.source
    for n, excerpt in enumerate(item.heard, start=1):
        place = keep(f"media/q{number:03}-{n}.mp3", sound(excerpt.phrase))
        ET.SubElement(body, "p").text = excerpt.caption
        holder = ET.SubElement(ET.SubElement(body, "p"), "object", data=place, type="audio/mpeg")
        holder.text = excerpt.caption
    for n, excerpt in enumerate(item.seen, start=1):
        _staff(body, excerpt, keep(f"media/q{number:03}-s{n}.svg", engrave(excerpt.phrase).encode()), describe)
    choices = ET.SubElement(body, "choiceInteraction", responseIdentifier="RESPONSE", shuffle="false", maxChoices="1")
    ET.SubElement(choices, "prompt").text = item.prompt
    for n, choice in enumerate(item.choices):
        ET.SubElement(choices, "simpleChoice", identifier=_choice(n)).text = choice.text
    _processing(root)
    told = ET.SubElement(root, "modalFeedback", outcomeIdentifier="FEEDBACK", showHide="show", identifier=_EXPLAINED)
    ET.SubElement(told, "p").text = f"Right is: {item.right_text}. {item.explanation}"
    for n, excerpt in enumerate(item.evidence, start=1):
        _staff(told, excerpt, keep(f"media/q{number:03}-e{n}.svg", engrave(excerpt.phrase).encode()), describe)
    return root


def _declare(root: ET.Element, right: int) -> None:
    """The variables of an item: the response with its right answer, the score, and what feedback is shown."""
    response = ET.SubElement(
        root, "responseDeclaration", identifier="RESPONSE", cardinality="single", baseType="identifier"
    )
    ET.SubElement(ET.SubElement(response, "correctResponse"), "value").text = _choice(right)
    score = ET.SubElement(
        root, "outcomeDeclaration", identifier="SCORE", cardinality="single", baseType="float", normalMaximum="1"
    )
    ET.SubElement(ET.SubElement(score, "defaultValue"), "value").text = "0"
    ET.SubElement(root, "outcomeDeclaration", identifier="FEEDBACK", cardinality="single", baseType="identifier")


def _processing(root: ET.Element) -> None:
    """One point for the right answer, and the explanation after any."""
    condition = ET.SubElement(ET.SubElement(root, "responseProcessing"), "responseCondition")
    hit = ET.SubElement(condition, "responseIf")
    match = ET.SubElement(hit, "match")
    ET.SubElement(match, "variable", identifier="RESPONSE")
    ET.SubElement(match, "correct", identifier="RESPONSE")
    for place, points in ((hit, "1"), (ET.SubElement(condition, "responseElse"), "0")):
        for name, kind, value in (("SCORE", "float", points), ("FEEDBACK", "identifier", _EXPLAINED)):
            ET.SubElement(
                ET.SubElement(place, "setOutcomeValue", identifier=name), "baseValue", baseType=kind
            ).text = value


def _staff(parent: ET.Element, excerpt: Excerpt, place: str, describe: Describe) -> None:
    holder = ET.SubElement(parent, "p")
    ET.SubElement(holder, "img", src=place, alt=f"{excerpt.caption}. {describe(excerpt.phrase)}"[:1000])


def _test(pack: Pack) -> ET.Element:
    root = ET.Element(
        "assessmentTest",
        {
            "xmlns": NS, "xmlns:xsi": _XSI, "xsi:schemaLocation": f"{NS} {_XSD}", "identifier": f"quiz-{pack.id}",
            "title": pack.title or "Quiz",
        },
    )  # fmt: skip
    score = ET.SubElement(root, "outcomeDeclaration", identifier="SCORE", cardinality="single", baseType="float")
    ET.SubElement(ET.SubElement(score, "defaultValue"), "value").text = "0"
    # Handed in one by one the explanation comes after each answer, handed in together it comes at the end.
    when = "individual" if pack.reveal == "at once" else "simultaneous"
    part = ET.SubElement(root, "testPart", identifier="part", navigationMode="nonlinear", submissionMode=when)
    ET.SubElement(part, "itemSessionControl", maxAttempts="1", showFeedback="true")
    section = ET.SubElement(part, "assessmentSection", identifier="section", title=pack.title or "Quiz", visible="true")
    if pack.introduction:
        ET.SubElement(ET.SubElement(section, "rubricBlock", view="candidate"), "p").text = pack.introduction
    for number in range(1, len(pack.items) + 1):
        ET.SubElement(section, "assessmentItemRef", identifier=f"ref{number}", href=f"item{number:03}.xml")
    total = ET.SubElement(ET.SubElement(root, "outcomeProcessing"), "setOutcomeValue", identifier="SCORE")
    ET.SubElement(ET.SubElement(total, "sum"), "testVariables", variableIdentifier="SCORE")
    return root


def _manifest(pack: Pack, resources: list[tuple[str, str, list[str]]]) -> ET.Element:
    root = ET.Element(
        "manifest",
        {
            "xmlns": _CP, "xmlns:xsi": _XSI, "xsi:schemaLocation": f"{_CP} {_CP_XSD}",
            "identifier": f"manifest-{pack.id}",
        },
    )  # fmt: skip
    data = ET.SubElement(root, "metadata")
    ET.SubElement(data, "schema").text = "QTIv2.2 Package"
    ET.SubElement(data, "schemaversion").text = "1.0.0"
    ET.SubElement(root, "organizations")
    holder = ET.SubElement(root, "resources")
    for name, kind, media in resources:
        resource = ET.SubElement(holder, "resource", identifier=f"r-{name[:-4]}", type=kind, href=name)
        for file in (name, *media):
            ET.SubElement(resource, "file", href=file)
        if kind == _TEST:
            for other, _, _ in resources:
                if other != name:
                    ET.SubElement(resource, "dependency", identifierref=f"r-{other[:-4]}")
    return root


def _choice(number: int) -> str:
    return f"choice{'ABCDEFGH'[number]}"


def _bytes(root: ET.Element) -> bytes:
    ET.indent(root, " ")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode").encode() + b"\n"
