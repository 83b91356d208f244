"""Small invented scores for the tests of the score room."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence

import mido

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
ATTRIBUTES = (
    "<attributes><divisions>4</divisions><key><fifths>{fifths}</fifths></key>"
    "<time><beats>{beats}</beats><beat-type>4</beat-type></time></attributes>"
)


def note(
    name: str,
    quarters: float = 1.0,
    *,
    lyric: str = "",
    syllabic: str = "single",
    tie: str = "",
    chord: bool = False,
    voice: int = 1,
    staff: int = 0,
    grace: bool = False,
    marks: str = "",
    verses: Sequence[str] = (),
) -> str:
    """One note of MusicXML: 'C4', 'F#5', 'Bb3', or 'r' for a rest."""
    pieces = ["<note>", "<grace/>" if grace else "", "<chord/>" if chord else ""]
    if name == "r":
        pieces.append("<rest/>")
    else:
        alter = name.count("#") - name.count("b")
        accidental = f"<alter>{alter}</alter>" if alter else ""
        pieces.append(f"<pitch><step>{name[0]}</step>{accidental}<octave>{name[-1]}</octave></pitch>")
    pieces.append("" if grace else f"<duration>{round(quarters * 4)}</duration>")
    pieces.extend(f'<tie type="{t}"/>' for t in tie.split())
    pieces.append(f"<voice>{voice}</voice>" + (f"<staff>{staff}</staff>" if staff else ""))
    tied = "".join(f'<tied type="{t}"/>' for t in tie.split())
    if tied or marks:
        pieces.append(f"<notations>{tied}{marks}</notations>")
    for number, text in enumerate([lyric, *verses], start=1):
        if text:
            pieces.append(f'<lyric number="{number}"><syllabic>{syllabic}</syllabic><text>{text}</text></lyric>')
    return "".join([*pieces, "</note>"])


def bar(number: int | str, *content: str, left: str = "", right: str = "", implicit: bool = False) -> str:
    """One bar; ``left`` and ``right`` are the insides of its bar lines."""
    lines = f'<barline location="left">{left}</barline>' if left else ""
    after = f'<barline location="right">{right}</barline>' if right else ""
    flag = ' implicit="yes"' if implicit else ""
    return f'<measure number="{number}"{flag}>{lines}{"".join(content)}{after}</measure>'


def score(parts: Sequence[tuple[str, Sequence[str]]], *, title: str = "The Lantern", head: str = HEAD) -> str:
    """A whole document from (part name, bars)."""
    listed = "".join(
        f'<score-part id="P{i}"><part-name>{name}</part-name></score-part>' for i, (name, _) in enumerate(parts, 1)
    )
    body = "".join(f'<part id="P{i}">{"".join(bars)}</part>' for i, (_, bars) in enumerate(parts, 1))
    return (
        f'{head}<score-partwise version="4.0"><work><work-title>{title}</work-title></work>'
        f"<part-list>{listed}</part-list>{body}</score-partwise>"
    )


def attributes(*, fifths: int = 0, beats: int = 4) -> str:
    """Key and metre for a first bar."""
    return ATTRIBUTES.format(fifths=fifths, beats=beats)


def small_song(bars: int = 4) -> bytes:
    """Voice and piano, a few bars of quarters."""
    sung = ["C5", "D5", "E5", "G5"]
    voice = [bar(n, attributes() if n == 1 else "", *(note(p, lyric="la") for p in sung)) for n in range(1, bars + 1)]
    piano = [
        bar(
            n,
            attributes().replace("</time>", "</time><staves>2</staves>") if n == 1 else "",
            note("E4", 4, staff=1),
            note("G4", 4, staff=1, chord=True),
            "<backup><duration>16</duration></backup>",
            note("C3", 4, staff=2, voice=5),
        )
        for n in range(1, bars + 1)
    ]
    return score([("Voice", voice), ("Piano", piano)]).encode()


def packed(members: dict[str, bytes], *, container: str | None = "score.xml") -> bytes:
    """A packed score (.mxl) of these files."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        if container is not None:
            archive.writestr(
                "META-INF/container.xml",
                f'<container><rootfiles><rootfile full-path="{container}"/></rootfiles></container>',
            )
        for path, data in members.items():
            archive.writestr(path, data)
    return buffer.getvalue()


def midi(
    notes: Sequence[tuple[int, float]],
    *,
    tracks: int = 1,
    name: str = "Voice",
    key: str = "",
    words: Sequence[str] = (),
) -> bytes:
    """A MIDI file of (number, quarters) in each track."""
    file = mido.MidiFile(ticks_per_beat=480)
    for _ in range(tracks):
        track = mido.MidiTrack()
        track.append(mido.MetaMessage("track_name", name=name, time=0))
        if key:
            track.append(mido.MetaMessage("key_signature", key=key, time=0))
        for place, (number, quarters) in enumerate(notes):
            if place < len(words):
                track.append(mido.MetaMessage("lyrics", text=words[place], time=0))
            track.append(mido.Message("note_on", note=number, velocity=64, time=0))
            track.append(mido.Message("note_off", note=number, velocity=0, time=round(480 * quarters)))
        file.tracks.append(track)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


ABC = b"""X:1
T:The Lantern
C:Nobody
M:3/4
L:1/4
K:G
G A B | "D7"A2 F | [1 G3 :| [2 G3 |]
w: One small light a-lone to-day
"""

KERN = b"""**kern\t**text
*M4/4\t*
*k[b-]\t*
=1\t=1
4f\tOne
4g\tsmall
2a\tlight
=2\t=2
1f\tburns
==\t==
*-\t*-
"""
