"""The user's corrections, kept beside a song and never in it.

Two files stand next to `song.mxl`: `song.mxl.rntxt` has the chords in RomanText, `song.mxl.toml` the rest (keys,
sections, the sung line). Places are written as printed bar and beat, so that they outlive any change of the engine.
An analysis that someone else wrote in RomanText is read in the same way.

What is written here begins with the number of its lines and ends with it, so that a file that lost its end, its
beginning or lines between them is not taken for a whole one; lines may be added by hand. A file without these two
lines, as others write it, is read as it is.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from tutor.analysis.findings import ChordSpan, Corrections, KeySpan, Section
from tutor.errors import SidecarError, plain
from tutor.music.chordsymbol import symbol_for
from tutor.music.pitch import PitchClass
from tutor.music.roman import parse_roman
from tutor.music.table import NoteTable
from tutor.score.places import Places
from tutor.score.romantext import Analysis, Event, parse_romantext, write_romantext

VERSION = 1
"""Raised when the form of the files changes; files of a later version are refused."""
MAX_BYTES = 1_000_000
_FIRST, _LAST = "N lines follow, and one that ends them", "end of the N lines"
_COUNT = re.compile(rf"(?:#|Note:) (?:{_FIRST}|{_LAST})".replace("N ", r"(\d{1,7}) "))


def harmony_path(song: Path) -> Path:
    """Where the chords of a song are corrected."""
    return song.with_name(song.name + ".rntxt")


def details_path(song: Path) -> Path:
    """Where keys, sections and the sung line of a song are corrected."""
    return song.with_name(song.name + ".toml")


def voice_part(song: Path) -> str | None:
    """Id of the sung part as the user says; None without a correction.

    Raises:
        SidecarError: the file beside the song cannot be read.
    """
    try:
        return _voice(_details(details_path(song)))
    except SidecarError as error:
        raise _with_remedy(error) from None


def _voice(raw: dict[str, Any]) -> str | None:
    part = raw.get("voice", {}).get("part") if isinstance(raw.get("voice", {}), dict) else None
    return plain(part)[:80] if isinstance(part, str) and part else None


def load(song: Path, table: NoteTable) -> Corrections:
    """Read the corrections beside a song; empty when there are none.

    Raises:
        SidecarError: a file cannot be read; it says which, where in it, and what to do.
    """
    try:
        return _loaded(song, table)
    except SidecarError as error:
        raise _with_remedy(error) from None


def _loaded(song: Path, table: NoteTable) -> Corrections:
    chords: tuple[ChordSpan, ...] = ()
    keys: tuple[KeySpan, ...] = ()
    harmony, details = harmony_path(song), details_path(song)
    if _is_there(harmony):
        analysis = _analysis(harmony, str(harmony))
        chords, keys = harmony_spans(analysis, table, str(harmony))
    raw = _details(details)
    places = Places(table, str(details))
    named = tuple(_key(entry, places) for entry in _entries(raw, "key", str(details)))
    sections = tuple(_section(entry, places) for entry in _entries(raw, "section", str(details)))
    return Corrections(
        keys=_laid_over(keys, named),
        chords=chords,
        sections=sections,
        voice_part=_voice(raw),
    )


def _with_remedy(error: SidecarError) -> SidecarError:
    """The error of a file beside a song: it stays as it is until the user has mended it or moved it away."""
    remedy = f"{error.remedy}, or move the file away" if error.remedy else "Mend the file or move it away"
    return SidecarError(error.what, where=error.where, remedy=remedy)


def import_romantext(path: Path, table: NoteTable) -> Corrections:
    """Read an analysis in RomanText as corrections of a song: its chords and keys.

    Raises:
        SidecarError: the file cannot be read, or does not fit the song.
    """
    chords, _ = harmony_spans(_analysis(path, path.name), table, path.name)
    if not chords:
        raise SidecarError("there are no chords in this analysis", where=path.name)
    return Corrections(keys=_key_runs(chords), chords=chords)


def save(song: Path, table: NoteTable, corrections: Corrections) -> None:
    """Write the corrections beside a song; a file that would be empty is removed.

    Raises:
        SidecarError: the folder cannot be written.
    """
    events = chord_events(corrections.chords, table)
    derived: Sequence[KeySpan] = ()
    if events:
        read = Analysis({}, tuple(events))
        derived = harmony_spans(read, table, song.name)[1]
    keys = [k for k in corrections.keys if k not in derived]
    headers = {"Title": table.title, "Composer": table.composer, "Note": f"corrections of {song.name}, form {VERSION}"}
    details = _written(song.name, table, corrections, keys)
    try:
        _replace(harmony_path(song), _counted(write_romantext(headers, events), "Note:") if events else None)
        _replace(details_path(song), _counted(details, "#") if details else None)
    except OSError as error:
        reason = error.strerror or "the folder cannot be written"
        raise SidecarError(
            f"the correction could not be kept: {reason}", where=song.name, remedy="Copy the song to a folder of yours"
        ) from None


def harmony_spans(analysis: Analysis, table: NoteTable, name: str) -> tuple[tuple[ChordSpan, ...], tuple[KeySpan, ...]]:
    """The chords of an analysis, and its keys where it speaks throughout, from one of the first two bars on.

    Raises:
        SidecarError: it names a bar that the song does not have.
    """
    places = Places(table, name, small_beats=Places.counts_small(table, [(e.bar, e.beat) for e in analysis.events]))
    at = [(places.offset(e.bar, e.beat, line=e.line), n, e) for n, e in enumerate(analysis.events)]
    at.sort(key=lambda item: item[:2])
    if not at:
        return (), ()
    ends = [start for start, _, _ in at[1:]] + [table.length_quarters]
    chords = tuple(
        _chord(event, start, end, table)
        for (start, _, event), end in zip(at, ends, strict=True)
        if event.figure and end > start
    )
    opens = at[0][0] < table.measures[:2][-1].end_quarters - 1e-6
    return chords, _key_runs(chords) if analysis.whole and opens else ()


def chord_events(chords: Sequence[ChordSpan], table: NoteTable) -> list[Event]:
    """Chords as events of RomanText, with 'nothing' where a gap follows."""
    places = Places(table, "")
    events: list[Event] = []
    ordered = sorted(chords, key=lambda c: c.start)
    for number, chord in enumerate(ordered):
        tonic, mode = chord.key.split(" ")
        bar, beat = places.place(chord.start)
        events.append(Event(bar, beat, PitchClass.parse(tonic), mode, chord.figure))
        after = ordered[number + 1].start if number + 1 < len(ordered) else table.length_quarters
        if chord.end < after - 1e-6:
            bar, beat = places.place(chord.end)
            events.append(Event(bar, beat, PitchClass.parse(tonic), mode, ""))
    return events


def _chord(event: Event, start: float, end: float, table: NoteTable) -> ChordSpan:
    read = parse_roman(event.figure, event.tonic, event.mode)
    return ChordSpan(
        start=start,
        end=end,
        bar=table.bar_at(start).number,
        beat=table.beat_at(start),
        root=read.root.name,
        quality=read.quality,
        bass=read.bass.name,
        inversion=read.inversion,
        figure=read.figure,
        key=f"{event.tonic.name} {event.mode}",
        symbol=symbol_for(read.root, read.quality, read.bass),
        confidence=1.0,
        tones=tuple(t.name for t in read.tones),
        corrected=True,
    )


def _key_runs(chords: Sequence[ChordSpan]) -> tuple[KeySpan, ...]:
    runs: list[KeySpan] = []
    for chord in chords:
        tonic, mode = chord.key.split(" ")
        start = chord.start
        if runs and runs[-1].name == chord.key and abs(runs[-1].end - start) < 1e-6:
            start = runs.pop().start
        runs.append(KeySpan(start, chord.end, tonic, "minor" if mode == "minor" else "major", 1.0, corrected=True))
    return tuple(runs)


def _laid_over(keys: Sequence[KeySpan], named: Sequence[KeySpan]) -> tuple[KeySpan, ...]:
    """The keys of the analysis where no key is named for itself, and those named."""
    kept = list(keys)
    for mine in named:
        pieces = [(k, k.start, min(k.end, mine.start)) for k in kept] + [
            (k, max(k.start, mine.end), k.end) for k in kept
        ]
        kept = [replace(k, start=start, end=end) for k, start, end in pieces if end - start > 1e-6]
    return tuple(sorted([*kept, *named], key=lambda k: k.start))


def _is_there(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name longer than any file can have
        return False


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise SidecarError("the file is too large", where=str(path))
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise SidecarError("there is no such file", where=str(path), remedy="Check the name") from None
    except UnicodeDecodeError:
        raise SidecarError("the file is not plain text", where=str(path), remedy="Save it as UTF-8 text") from None
    except OSError as error:
        raise SidecarError(error.strerror or "the file cannot be opened", where=str(path)) from None


def _counted(text: str, sign: str) -> str:
    """A text between two lines that say how many lines it has."""
    count = len(_lines(text))
    first, last = (f"{sign} {line}\n".replace("N ", f"{count} ") for line in (_FIRST, _LAST))
    return first + text + last


def _lines(text: str) -> list[str]:
    return [line for line in map(str.strip, text.splitlines()) if line]


def _check_whole(text: str, where: str) -> None:
    """Refuse a text that says how many lines it has and does not have them; more may have been added by hand.

    Nothing but a piece of one of these lines is no text either, and neither is nothing at all.
    """
    lines = _lines(text)
    counts = [found for found in map(_COUNT.fullmatch, lines) if found]
    first = next((int(found[1]) for found in counts if found[1]), None)
    last = next((int(found[2]) for found in counts if found[2]), None)
    have, least = len(lines) - len(counts), max(first or 0, last or 0)
    if len(lines) <= 1 and _piece(*lines):
        missing = "nothing is left in it"
    elif have < least:
        missing = f"{have} of {least} lines are left"
    elif (first is None) != (last is None):
        missing = f"the {'last' if last is None else 'first'} line is missing"
    else:
        return
    remedy = "Put a whole copy of it in its place, or take out the lines that count if you shortened it yourself"
    raise SidecarError(f"the corrections were cut short: {missing}", where=where, remedy=remedy)


def _piece(line: str = "") -> bool:
    plainly = re.sub(r"\d+", "N", line)
    return any(f"{sign} {_FIRST}".startswith(plainly) or f"{sign} {_LAST}".endswith(plainly) for sign in ("#", "Note:"))


def _analysis(path: Path, name: str) -> Analysis:
    text = _text(path)
    _check_whole(text, name)
    return parse_romantext(text, name)


def _details(path: Path) -> dict[str, Any]:
    if not _is_there(path):
        return {}
    text = _text(path)
    _check_whole(text, str(path))
    try:
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        reason = plain(str(error)) if isinstance(error, tomllib.TOMLDecodeError) else "it is nested too deeply"
        raise SidecarError(f"the corrections cannot be read: {reason}", where=str(path)) from None
    version = raw.get("form", VERSION)
    if not isinstance(version, int) or version > VERSION:
        raise SidecarError(
            "the corrections were written by a later version", where=str(path), remedy="Update the program"
        )
    return raw


def _entries(raw: dict[str, Any], name: str, where: str) -> list[dict[str, Any]]:
    entries = raw.get(name, [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries) or len(entries) > 2000:
        raise SidecarError(f"'{name}' is not a list of entries", where=where)
    return entries


def _key(entry: dict[str, Any], places: Places) -> KeySpan:
    start, end = places.span(entry)
    mode = entry.get("mode")
    try:
        tonic = PitchClass.parse(str(entry.get("tonic", "")))
    except ValueError:
        raise places.error(f"'{plain(str(entry.get('tonic')))[:20]}' is no tonic") from None
    if mode not in ("major", "minor"):
        raise places.error("a mode is 'major' or 'minor'")
    return KeySpan(start, end, tonic.name, "minor" if mode == "minor" else "major", 1.0, corrected=True)


def _section(entry: dict[str, Any], places: Places) -> Section:
    start, end = places.span(entry)
    label, variant = entry.get("label"), entry.get("variant", 0)
    if not isinstance(label, str) or not label.isalpha() or len(label) > 2:
        raise places.error("a section is called by a letter")
    if not isinstance(variant, int) or isinstance(variant, bool) or not 0 <= variant <= 20:
        raise places.error("a variant is a number from 0 to 20")
    return Section(label, variant, start, end, places.bars(start, end), 1.0, corrected=True)


def _written(song: str, table: NoteTable, corrections: Corrections, keys: Sequence[KeySpan]) -> str | None:
    if not (keys or corrections.sections or corrections.voice_part):
        return None
    places = Places(table, "")
    quoted = json.dumps  # a JSON string of printable text is a TOML string
    lines = [f"form = {VERSION}", f"song = {quoted(plain(song), ensure_ascii=False)}"]
    if corrections.voice_part:
        lines += ["", "[voice]", f"part = {quoted(plain(corrections.voice_part), ensure_ascii=False)}"]
    for key in keys:
        lines += ["", "[[key]]", f'tonic = "{key.tonic}"', f'mode = "{key.mode}"', *places.written(key.start, key.end)]
    for section in corrections.sections:
        label = quoted(plain(section.label), ensure_ascii=False)
        span = places.written(section.start, section.end)
        lines += ["", "[[section]]", f"label = {label}", f"variant = {section.variant}", *span]
    return "\n".join([*lines, ""])


def _replace(path: Path, text: str | None) -> None:
    """Write a file whole or not at all, readable by its owner alone."""
    if text is None:
        path.unlink(missing_ok=True)
        return
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".new")
    fresh = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except OSError:
        fresh.unlink(missing_ok=True)
        raise
