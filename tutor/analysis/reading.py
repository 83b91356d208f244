"""Everything the engine finds in one song, gathered: NoteTable in, Reading out.

Pure: the same table and corrections always give the same reading, byte for byte.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

from tutor.analysis.bassline import find_bassline
from tutor.analysis.borrowed import find_borrowed
from tutor.analysis.columns import SMALL, Spans, below, sounding_order, sung_line, with_voice
from tutor.analysis.findings import (
    ChordSpan,
    Corrections,
    KeySpan,
    OrderSpan,
    PartInfo,
    Reading,
    SongInfo,
)
from tutor.analysis.form import correct_form, find_form
from tutor.analysis.harmony import read_harmony
from tutor.analysis.modes import find_modes
from tutor.analysis.phrases import find_phrases, phrase_ends
from tutor.analysis.returns import find_returns
from tutor.analysis.rubs import find_hanging, find_rubs
from tutor.analysis.voice import Clock, profile
from tutor.music.pitch import PitchClass
from tutor.music.quality import tones_of
from tutor.music.roman import figure_for
from tutor.music.table import NoteTable

_Span = TypeVar("_Span", ChordSpan, KeySpan)


def read(table: NoteTable, corrections: Corrections | None = None) -> Reading:
    """Read a song.

    Args:
        table: The score as rows.
        corrections: What the user says the song really is; applied over the engine's own findings and marked.

    Raises:
        ScoreError: nothing in the score is sung, or the corrected sung part does not exist.
    """
    user = corrections or Corrections()
    table = with_voice(table, user.voice_part)
    found_keys, found_chords = read_harmony(table)
    keys = overlay(found_keys, user.keys)
    chords = settle(table, overlay(found_chords, user.chords), keys) if user.keys or user.chords else found_chords
    line, under = sung_line(table), below(table)
    phrases = find_phrases(table, line, chords, keys)
    borrowed = tuple(find_borrowed(table, keys, chords))
    form = correct_form(table, line, find_form(table, line, under, phrases), user.sections)
    return Reading(
        song=_song(table),
        order=tuple(OrderSpan(o.start_quarters, o.end_quarters, o.passing) for o in sounding_order(table)),
        keys=keys,
        chords=chords,
        borrowed=borrowed,
        phrases=phrases,
        ends=phrase_ends(line, phrases, chords, keys),
        form=form,
        returns=find_returns(table, line, under, chords, form.sections, phrases),
        rubs=find_rubs(table, line, under, chords),
        bassline=find_bassline(chords, line),
        voice=profile(table, line, phrases),
        warnings=(*table.warnings, *_assumed(table)),
        corrected=bool(user),
        hanging=find_hanging(table, line, phrases, chords, keys),
        modes=find_modes(table, keys, borrowed),
    )


def overlay(found: Sequence[_Span], corrected: Sequence[_Span]) -> tuple[_Span, ...]:
    """The engine's spans with the user's laid over them; what stands under a correction is cut away."""
    kept = list(found)
    for mine in corrected:
        parts: list[_Span] = []
        for span in kept:
            if span.end <= mine.start + SMALL or span.start >= mine.end - SMALL:
                parts.append(span)
                continue
            if span.start < mine.start - SMALL:
                parts.append(replace(span, end=mine.start))
            if span.end > mine.end + SMALL:
                parts.append(replace(span, start=mine.end))
        parts.append(replace(mine, corrected=True))
        kept = parts
    return tuple(sorted(kept, key=lambda s: (s.start, s.end)))


def settle(table: NoteTable, chords: Sequence[ChordSpan], keys: Sequence[KeySpan]) -> tuple[ChordSpan, ...]:
    """The chords after a correction: places told anew, numerals in the key that now stands, evidence from the notes."""
    spans = Spans(keys)
    out = []
    for chord in chords:
        if not chord.corrected:
            at = spans.index(chord.start)
            key = keys[at] if at is not None else None
            if key is not None and key.name != chord.key:
                root, tonic = PitchClass.parse(chord.root), PitchClass.parse(key.tonic)
                figure = figure_for(root, chord.quality, chord.inversion, tonic, key.mode)
                chord = replace(chord, figure=figure, key=key.name)
            bar, beat = table.bar_at(chord.start).number, table.beat_at(chord.start)
            chord = replace(chord, bar=bar, beat=beat)
        else:
            chord = _evidenced(table, chord)
        out.append(chord)
    return tuple(out)


def _evidenced(table: NoteTable, chord: ChordSpan) -> ChordSpan:
    """A chord named by a person, with what really sounds of it: members in their order, and what is no member."""
    sounding = {
        n.pitch.pitch_class.name
        for n in table.notes
        if not n.grace and n.onset_quarters < chord.end - SMALL and n.end_quarters > chord.start + SMALL
    }
    members = [t.name for t in tones_of(PitchClass.parse(chord.root), chord.quality)]
    foreign = sorted(sounding.difference(members), key=lambda name: PitchClass.parse(name).fifths)
    return replace(chord, tones=tuple(t for t in members if t in sounding), nonchord=tuple(foreign))


def _song(table: NoteTable) -> SongInfo:
    return SongInfo(
        title=table.title,
        composer=table.composer,
        format=table.format,
        sha256=table.sha256,
        bars=len(table.measures),
        length_ql=table.length_quarters,
        parts=tuple(PartInfo(p.id, p.name, p.role) for p in table.parts),
    )


def _assumed(table: NoteTable) -> tuple[str, ...]:
    clock = Clock(table)
    if not clock.assumed:
        return ()
    return (f"The score has no tempo: {clock.first_bpm:g} quarter notes a minute are assumed",)
