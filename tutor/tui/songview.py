"""A song as its screen shows it: what belongs to each bar, and the findings in words. Pure; no widgets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from tutor.analysis.findings import (
    BorrowedTone,
    Change,
    ChordSpan,
    KeySpan,
    ModeSpan,
    PhraseSpan,
    Reading,
    Return,
    Rub,
    Section,
)
from tutor.analysis.prose import change_count, chord_has, is_suspension, rub_size, split_or_joined, words_last
from tutor.music.chordsymbol import symbol_words
from tutor.music.phrase import Phrase, Tone
from tutor.music.pitch import Pitch, pretty
from tutor.music.roman import printed
from tutor.music.table import NoteRow
from tutor.practice.changing import change_sides
from tutor.practice.drill import Song
from tutor.practice.material import cut
from tutor.tui.widgets.staff_layout import lay_out
from tutor.tui.widgets.staff_space import bar_width

SURE = 0.9
"""Confidence from which a finding is told without a question mark."""
OPENING = 16
"""Columns kept for clef, signature and metre."""
_EPS = 1e-6


@dataclass(frozen=True, slots=True)
class BarView:
    """One bar and what was found in it."""

    index: int
    number: str
    """Printed number."""
    beat: float
    """Beat at which it begins in the printed bar: not 1 in the rest of a split bar."""
    start: float
    end: float
    chords: tuple[ChordSpan, ...]
    """Chords that begin here; the one that goes on where none begins."""
    borrowed: tuple[BorrowedTone, ...]
    rubs: tuple[Rub, ...]
    changes: tuple[Change, ...]
    """What is different here from the earlier statement."""
    back: Return | None
    """The return that this bar belongs to, or that sets off in it."""
    section: int
    """Index into the sections; -1 for none."""
    phrase: int
    """Index into the phrases; -1 for none."""
    sung: tuple[int, ...]
    """MIDI numbers sung."""
    words: str
    climax: bool


def bars_of(song: Song) -> tuple[BarView, ...]:
    """Every bar of a song with what belongs to it."""
    reading, table = song.reading, song.table
    peak = reading.voice.climax.start if reading.voice.climax else None
    by_bar: dict[int, list[NoteRow]] = defaultdict(list)
    for note in table.notes:
        if note.part == table.voice_part and not note.grace:
            by_bar[note.measure].append(note)
    out = []
    for i, bar in enumerate(table.measures):
        start, end = bar.start_quarters, bar.end_quarters

        def inside(at: float, start: float = start, end: float = end) -> bool:
            return start - _EPS <= at < end - _EPS

        begun = tuple(c for c in reading.chords if inside(c.start))
        holding = (r for r in reading.returns if r.again[0] - _EPS <= start < r.again[1] - _EPS)
        back = next(holding, None) or next((r for r in reading.returns if inside(r.again[0])), None)
        sung = by_bar[i]
        out.append(
            BarView(
                i, bar.number, table.beat_at(start) if i and table.lacking(i) else 1.0, start, end,
                begun or tuple(c for c in reading.chords if c.start < start < c.end - _EPS)[:1],
                tuple(b for b in reading.borrowed if inside(b.start)),
                tuple(r for r in reading.rubs if inside(r.start)),
                tuple(c for r in reading.returns for c in r.changes if inside(c.at)),
                back,
                _at(reading.form.sections, start, end), _at(reading.phrases, start, end),
                tuple(n.midi for n in sung), _words(sung),
                peak is not None and inside(peak),
            )
        )  # fmt: skip
    return tuple(out)


def _at(spans: Sequence[Section] | Sequence[PhraseSpan], start: float, end: float) -> int:
    """The span that holds most of a bar."""
    best, most = -1, _EPS
    for i, span in enumerate((s.start, s.end) for s in spans):
        shared = min(span[1], end) - max(span[0], start)
        if shared > most + _EPS:
            best, most = i, shared
    return best


def _words(notes: Sequence[NoteRow]) -> str:
    out = ""
    for note in notes:
        if note.syllable:
            out += note.syllable + ("" if note.syllabic in ("begin", "middle") else " ")
    return out.strip()


def section_name(section: Section) -> str:
    """The label with its primes, or in short what a section without voice is."""
    return "intro" if section.role == "introduction" else section.role or section.name


def doubt(confidence: float) -> str:
    """A question mark where the reading is not sure."""
    return "" if confidence >= SURE else "?"


def heading(reading: Reading) -> str:
    """Form, size and key of the song in one line."""
    form = reading.form.name + (f" with {reading.form.extension}" if reading.form.extension else "")
    keys = list(dict.fromkeys(_key_name(reading, k) for k in reading.keys))
    key = " to ".join(pretty_name(k) for k in keys[:3]) + (" and on" if len(keys) > 3 else "")
    return ", ".join(part for part in (form + doubt(reading.form.confidence), f"{reading.song.bars} bars", key) if part)


def _key_name(reading: Reading, key: KeySpan) -> str:
    """'D dorian' where most of the key stands in that mode, else 'D minor'."""
    for span in reading.modes:
        inside = min(span.end, key.end) - max(span.start, key.start)
        if span.tonic == key.tonic and inside > 0.6 * (key.end - key.start):
            return span.name
    return key.name


def voice_line(reading: Reading) -> str:
    """Range, where the voice mostly lies, and the climax, in one line."""
    voice = reading.voice
    if not voice.low:
        return "no sung line was found"
    line = f"Voice {pretty(voice.low)} to {pretty(voice.high)}"
    line += f", mostly {pretty(voice.tessitura.low)} to {pretty(voice.tessitura.high)}"
    if voice.climax:
        line += f"; climax {pretty(voice.climax.pitch)} in bar {voice.climax.bar}"
    return line


def pretty_name(name: str) -> str:
    """'Bb minor' → 'B♭ minor'."""
    head, _, rest = name.partition(" ")
    return f"{pretty(head)} {rest}".strip()


def details(song: Song, bar: BarView) -> list[str]:
    """Everything found in a bar, a sentence each."""
    reading = song.reading
    lines = []
    if bar.section >= 0:
        section = reading.form.sections[bar.section]
        place = f"{section.told}{doubt(section.confidence)}, bars {section.bars[0]}–{section.bars[1]}"
        lines.append(f"Section {place}." + (f" Words: {bar.words}" if bar.words else ""))
    elif bar.words:
        lines.append(f"Words: {bar.words}")
    if bar.climax and reading.voice.climax:
        climax = reading.voice.climax
        why = f" ({'; '.join(climax.why[:2])})" if climax.why else ""
        lines.append(f"Climax: {pretty(climax.pitch)}, {climax.approach}{why}.")
    lines += [
        f"Mode: {pretty_name(m.name)} in bars {m.bars[0]}–{m.bars[1]}, by its degree {_degree(m.degree)}."
        for m in reading.modes
        if m.start - _EPS <= bar.start < m.end - _EPS
    ]
    lines += [_borrowed(same, reading.mode_of(same[0])) for same in _alike(bar.borrowed)]
    lines += [_rub(r) for r in bar.rubs]
    if bar.back is not None:
        lines.append(_back(song, bar.back, bar))
    lines += [_change(c) for c in words_last(bar.changes)]
    return lines


def _alike(tones: Sequence[BorrowedTone]) -> list[list[BorrowedTone]]:
    """Borrowed tones of a bar of which the same is told, whatever their octave."""
    found: dict[object, list[BorrowedTone]] = defaultdict(list)
    for tone in tones:
        chord = tone.chord if tone.kind == "applied" else ""
        turns_on = tone.pivot if tone.kind == "modal" else ""
        found[tone.kind, tone.key, tone.degree, tone.modes, chord, turns_on, doubt(tone.confidence)].append(tone)
    return list(found.values())


def _beats(tones: Sequence[BorrowedTone]) -> str:
    beats = list(dict.fromkeys(f"{t.beat:g}" for t in tones))
    return f"beat {beats[0]}" if len(beats) == 1 else f"beats {', '.join(beats[:-1])} and {beats[-1]}"


def _degree(name: str) -> str:
    return name.replace("b", "♭").replace("#", "♯")


def _borrowed(alike: Sequence[BorrowedTone], home: ModeSpan | None) -> str:
    tone, when, degree = alike[0], _beats(alike), _degree(alike[0].degree)
    name = pretty(tone.pitch) if len({t.pitch for t in alike}) == 1 else pretty(tone.pitch.rstrip("-0123456789"))
    if home is not None:
        return f"{when.capitalize()}: {name}, degree {degree}, the mark of {pretty_name(home.name)}."
    what = f"{name} is foreign to {pretty_name(tone.key)}{doubt(tone.confidence)}"
    if tone.kind == "modal":
        lender = f"as in the {' or '.join(tone.modes[:2])} mode" if tone.modes else "from another mode"
        lender += f"; common tone {pretty(tone.pivot)}" if tone.pivot else ""
        return f"Borrowed, {when}: {what}: degree {degree}, {lender}."
    if tone.kind == "applied":
        lent = f"part of {symbol_words(tone.chord)}, a dominant lent to the next chord"
        if not chord_has(tone):
            lent = f"taken for part of a dominant lent to the next chord, over {symbol_words(tone.chord)}"
        return f"Borrowed, {when}: {what}: degree {degree}, {lent}."
    return f"Chromatic, {when}: {what}: degree {degree}, in passing."


def _rub(rub: Rub) -> str:
    solved = {
        "voice": "the voice resolves it", "accompaniment": "the piano resolves it", "none": "it stays open",
    }[rub.resolves.by]  # fmt: skip
    what = f"sung {pretty(rub.voice)} against {pretty(rub.against)}, {rub_size(rub)}"
    if is_suspension(rub):
        what = f"sung {pretty(rub.voice)}, {rub_size(rub)} to {pretty(rub.against)}"
    return f"Rub, beat {rub.beat:g}: {what}; {solved}."


def _back(song: Song, back: Return, bar: BarView) -> str:
    here = max(bar.start, back.again[0])
    first = song.table.bar_at(max(here - back.apart, 0.0)).number
    begun = f"from beat {song.table.beat_at(here):g} on " if here > bar.start + _EPS else ""
    moved = ""
    if back.transposed:
        step = "semitone" if abs(back.transposed) == 1 else "semitones"
        moved = f", {abs(back.transposed)} {step} {'higher' if back.transposed > 0 else 'lower'}"
    told = "" if back.changes else " Nothing is changed."
    if back.changes and all(c.follows_words for c in back.changes):
        told = f" {change_count(back).capitalize()}."
    return f"Returns: {begun}this is bar {first} again{moved}.{told}"


def _change(change: Change) -> str:
    was, now = change_sides(change)
    if change.follows_words:
        how = split_or_joined(change).capitalize()
        return f"{how} to fit the words, beat {change.beat:g}: {was} before, {now} now."
    kind = {"pitch": "other notes", "rhythm": "other rhythm", "harmony": "other harmony"}.get(change.what, change.what)
    return f"Changed, beat {change.beat:g}: {kind}, {was} before, {now} now."


def worth_asking(bar: BarView) -> tuple[str, str]:
    """The drill that asks about what stands in a bar, and what that is in words."""
    if any(b.kind != "chromatic" for b in bar.borrowed):
        return "borrowed", "borrowed tones"
    if bar.rubs:
        return "rub-or-rest", "rubs"
    if any(not c.follows_words for c in bar.changes):
        return "what-changed", "what changed"
    return ("high-note", "the climax") if bar.climax else ("inversions", "the chords")


def overview(song: Song) -> list[str]:
    """The whole song, a line for each kind of finding."""
    reading = song.reading
    parts = [f"{s.told}{doubt(s.confidence)} {s.bars[0]}–{s.bars[1]}" for s in reading.form.sections]
    lines = [f"Sections: {', '.join(parts)}."] if parts else []
    lines += [f"Keys: {', '.join(dict.fromkeys(pretty_name(_key_name(reading, k)) for k in reading.keys))}."]
    lines += [f"Bars {m.bars[0]}–{m.bars[1]} stand in {pretty_name(m.name)}." for m in reading.modes]
    lent = [b for b in reading.borrowed if b.kind != "chromatic" and not reading.mode_of(b)]
    names = list(dict.fromkeys(pretty(b.pitch.rstrip("-0123456789")) for b in lent))
    lines.append(f"Borrowed: {', '.join(names)}, in {_bars(lent)}." if lent else "Nothing is borrowed.")
    lines.append(f"Rubs in {_bars(reading.rubs)}." if reading.rubs else "No rubs.")
    lines += [f"Bars {_span(song, r.again)} bring back {_span(song, r.of)}{_how_changed(r)}." for r in reading.returns]
    return lines


def _how_changed(back: Return) -> str:
    """', unchanged', ', with 2 changes', ': the same tune, 1 note split to fit the words'."""
    if not back.changes:
        return ", unchanged"
    return (": " if all(c.follows_words for c in back.changes) else ", with ") + change_count(back)


def _bars(found: Sequence[BorrowedTone] | Sequence[Rub]) -> str:
    bars = list(dict.fromkeys(f.bar for f in found))
    return f"bar {bars[0]}" if len(bars) == 1 else f"bars {', '.join(bars)}"


def _span(song: Song, span: tuple[float, float]) -> str:
    first, last = song.table.bar_at(span[0]).number, song.table.bar_at(max(span[0], span[1] - 1e-3)).number
    return first if first == last else f"{first}–{last}"


def page(song: Song, start: float, end: float) -> Phrase:
    """Bars of a song on the staff, with figures below and what was found marked."""
    phrase = cut(song.table, start, end)
    reading = song.reading
    figures = tuple(
        (max(0.0, c.start - start), printed(c.figure) + doubt(c.confidence))
        for c in reading.chords
        if start - _EPS <= c.start < end - _EPS or c.start < start < c.end - _EPS
    )
    pointed = list(_pointed(reading, start, end))
    tones = tuple(replace(t, mark=_mark(t, pointed)) for t in phrase.tones)
    return replace(phrase, tones=tones, figures=figures)


def staff_widths(song: Song, bars: Sequence[BarView], *, apart: bool, large: bool) -> list[int]:
    """Columns that each bar takes on a staff.

    Args:
        song: the song.
        bars: its bars.
        apart: whether the voice has its own staff.
        large: whether the staff is drawn large.
    """
    wide = 3 if large else 2
    layouts = (lay_out(page(song, b.start, b.end), voice_apart=apart) for b in bars)
    return [sum(bar_width(x.slots, wide) for x in layout.bars) for layout in layouts]


def _pointed(reading: Reading, start: float, end: float) -> Iterator[tuple[float, int, str]]:
    """Onset within the page, MIDI number and reason of every note to point out."""
    for tone in reading.borrowed:
        if start - _EPS <= tone.start < end:
            yield tone.start - start, Pitch.parse(tone.pitch).midi, "borrowed"
    for rub in reading.rubs:
        if start - _EPS <= rub.start < end:
            yield rub.start - start, Pitch.parse(rub.voice).midi, "rub"


def _mark(tone: Tone, pointed: Sequence[tuple[float, int, str]]) -> str:
    for at, midi, reason in pointed:
        if tone.midi == midi and tone.onset_quarters - _EPS <= at < tone.end_quarters - _EPS:
            return reason
    return ""


def with_smooth_bass(song: Song, start: float, end: float) -> Phrase | None:
    """The passage with a stepwise bass: a run of root positions in it, else all of it; None where no bass is found."""
    smooth = next((s for s in song.reading.bassline.smooth if s.start < end - _EPS and s.end > start + _EPS), None)
    if smooth is None:
        from tutor.analysis.bassline import smooth_for
        from tutor.analysis.columns import sung_line, with_voice

        sung = next((p.id for p in song.reading.song.parts if p.role == "voice"), None)
        smooth = smooth_for(song.reading.chords, sung_line(with_voice(song.table, sung)), start, end)
    if smooth is None:
        return None
    chords = [c for c in song.reading.chords if smooth.start - _EPS <= c.start < smooth.end - _EPS]
    if len(chords) != len(smooth.bass):
        return None
    phrase = cut(song.table, smooth.start, smooth.end)
    kept = tuple(t for t in phrase.tones if t.line != "lower")
    bass = tuple(
        Tone(c.start - smooth.start, c.end - c.start, Pitch.parse(name), "lower", 0.7, mark="bass")
        for c, name in zip(chords, smooth.bass, strict=True)
    )
    tones = tuple(sorted(kept + bass, key=lambda t: (t.onset_quarters, t.midi)))
    return replace(phrase, tones=tones, figures=())
