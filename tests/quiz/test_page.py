"""The quiz page as text: strict policy, nothing from outside, nothing unescaped, answers not in sight."""

from __future__ import annotations

import io
import json
import re
import zipfile
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from tests.quiz.packs import item, pack
from tutor.music.phrase import Phrase
from tutor.practice.drill import Choice
from tutor.quiz import page as pages
from tutor.quiz.pack import Pack
from tutor.quiz.qti import NS, package
from tutor.score.engrave import engrave
from tutor.studio import quizzes

HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(1)>\"'&"


def written(made: Pack | None = None) -> str:
    return pages.page(
        made or pack(), engrave=lambda _: "<svg></svg>", sound=lambda _: b"sound", describe=lambda _: "words"
    )


def test_policy_allows_only_what_is_inside() -> None:
    text = written()
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
    assert policy is not None
    assert policy[1].startswith("default-src 'none'; script-src 'sha256-")
    assert "unsafe" not in policy[1]
    assert not re.search(r"""(?:src|href)=["'](?:https?:)?//""", text)
    assert "style=" not in text
    assert not re.search(r"\son[a-z]+=", text)


def test_hostile_text_stays_text() -> None:
    bad = replace(
        item(), prompt=HOSTILE, explanation=HOSTILE, source=HOSTILE,
        choices=(Choice("root", HOSTILE), Choice("first", "the third")),
    )  # fmt: skip
    text = written(replace(pack(), title=HOSTILE, introduction=HOSTILE, items=(bad,)))
    assert text.count("<script") == 2
    assert "<img" not in text
    assert "alert(1)</script>" not in text


def test_answers_are_not_in_sight() -> None:
    text = written()
    assert '"right"' not in text
    data = json.loads(re.search(r'id="quiz">(.*?)</script>', text)[1])  # type: ignore[index]
    assert [sorted(i) for i in data["items"]] == [["choices", "digest", "salt", "sealed"]] * 4
    assert not {i.right for i in pack().items} & set(re.findall(r'"([^"]*)"', json.dumps(data)))
    assert len({i["digest"] for i in data["items"]}) == 4
    assert "The third, E, is lowest" not in text


def test_the_sheet_has_the_key_on_a_page_of_its_own() -> None:
    text = pages.sheet(pack(), engrave=lambda _: "<svg></svg>")
    questions, _, key = text.partition("class='key'")
    assert "b: the third." in key
    assert "is lowest." not in questions


def test_real_drawings_and_clips() -> None:
    text = quizzes.quiz_page(pack(2))
    assert text.count("<audio") == 2
    assert 'class="sprite"' in text
    assert len(text) < 400_000
    ids = re.findall(r'\sid="([^"]+)"', text)
    assert len(ids) == len(set(ids))


def test_described_in_words() -> None:
    told = quizzes.describe(pack().items[0].heard[0].phrase)
    assert told == "4/4, no sharps or flats. Bar 1. beat 1: E3, G3, C4, whole note."


def test_notes_have_one_size_whatever_the_length() -> None:
    """Width in the page over width in the drawing is the same for a chord and for a line of eight bars."""
    phrases = (Phrase.parse("C4+E4+G4:4"), Phrase.parse("C4:1 D4:1 E4:1 F4:1 " * 8))
    widths = []
    for phrase in phrases:
        svg = pages._sized(engrave(phrase))
        found = re.search(r'width="(\d+)" viewBox="0 0 (\d+) ', svg)
        assert found is not None
        assert int(found[1]) / int(found[2]) == pytest.approx(pages._DRAWN_PX, rel=0.01)
        widths.append(int(found[2]))
    assert widths[0] < 200 < widths[1] <= 400


@pytest.fixture(scope="module")
def archive() -> zipfile.ZipFile:
    data = package(pack(3), engrave=lambda _: "<svg/>", sound=lambda _: b"sound", describe=lambda _: "words")
    assert data == package(pack(3), engrave=lambda _: "<svg/>", sound=lambda _: b"sound", describe=lambda _: "words")
    return zipfile.ZipFile(io.BytesIO(data))


def test_package_lists_every_file_and_holds_no_other(archive: zipfile.ZipFile) -> None:
    manifest = ET.fromstring(archive.read("imsmanifest.xml"))
    listed = {f.get("href") for f in manifest.iter("{http://www.imsglobal.org/xsd/imscp_v1p1}file")}
    assert listed | {"imsmanifest.xml"} == set(archive.namelist())


def test_items_hold_one_right_choice(archive: zipfile.ZipFile) -> None:
    space = {"q": NS}
    for number, frozen in enumerate(pack(3).items, start=1):
        root = ET.fromstring(archive.read(f"item{number:03}.xml"))
        right = root.findtext("q:responseDeclaration/q:correctResponse/q:value", namespaces=space)
        choices = {c.get("identifier"): c.text for c in root.iterfind(".//q:simpleChoice", space)}
        assert choices[right] == frozen.right_text
        assert len(choices) == len(frozen.choices)
        for media in root.iterfind(".//q:object", space):
            assert media.get("data") in archive.namelist()


def test_the_test_refers_to_every_item(archive: zipfile.ZipFile) -> None:
    root = ET.fromstring(archive.read("test.xml"))
    assert [r.get("href") for r in root.iter(f"{{{NS}}}assessmentItemRef")] == [f"item{n:03}.xml" for n in (1, 2, 3)]
