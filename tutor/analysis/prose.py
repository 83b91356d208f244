"""A reading told to a person, in plain text of a given width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from tutor.analysis.findings import BorrowedTone, Change, ChordSpan, Reading, Return, Rub
from tutor.analysis.likeness import Likeness, SharedTurn
from tutor.music.chordsymbol import parse_symbol
from tutor.music.pitch import Pitch
from tutor.music.quality import tones_of

SURE = 0.9
"""Confidence from which a finding is told without a question mark."""
_MOST = 12
"""Rows of a list before the rest is only counted."""


def reading_text(reading: Reading, *, width: int = 80, full: bool = False) -> str:
    """The reading as text.

    Args:
        reading: what the engine found.
        width: columns.
        full: list everything; otherwise long lists are cut and the rest is counted.
    """
    blocks = [
        _head(reading),
        _form(reading),
        _harmony(reading, full),
        _borrowed(reading, full),
        _returns(reading, full),
        _rubs(reading, full),
        _bass(reading),
        _voice(reading),
        ["A question mark follows what the engine is not sure of (under 9 chances in 10)."],
    ]
    lines: list[str] = []
    for block in blocks:
        for line in block:
            lines.extend(_wrapped(line, width))
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


def in_one_line(reading: Reading) -> str:
    """Title, form, keys, range and climax of a song."""
    keys = list(dict.fromkeys(k.name for k in reading.keys))
    form = reading.form.name + (f" with {reading.form.extension}" if reading.form.extension else "")
    voice = reading.voice
    peak = f", climax {voice.climax.pitch} in bar {voice.climax.bar}" if voice.climax else ""
    return (
        f"{reading.song.title or 'Untitled'}; {form}{_doubt(reading.form.confidence)}, {reading.song.bars} bars, "
        f"{' to '.join(keys[:3])}{' and on' if len(keys) > 3 else ''}; {voice.low} to {voice.high}{peak}"
    )


_CHANCE, _UNRELATED, _VARIANTS = 0.57, 0.65, 0.80
"""Likeness of folk tunes of different titles, middle and 99 of 100 (80 pairs), and what half of 40 pairs of one title
reach and no other pair does (`tests.bench.likeness`)."""
_PHRASE_ALIKE = 0.8
"""Likeness from which two phrases are told: of 70 pairs of songs by different composers 3 in 100 have such phrases, and
26 in 100 have phrases of .7. Of the same pairs 23 in 100 share a turn of 5 notes with its rhythm (4 in 100 one of 6),
and 34 in 100 the steps of 7 notes (6 in 100 those of 8)."""


def likeness_text(found: Likeness, one: str, two: str, *, width: int = 80) -> str:
    """What two melodies share, as text of so many columns."""
    step = "semitone" if abs(found.transposed) == 1 else "semitones"
    way = "up" if found.transposed > 0 else "down"
    moved = f"the first moved {way} by {abs(found.transposed)} {step}" if found.transposed else "both as written"
    most = max(found.similarity, found.similarity_any_order)
    lines = [
        f"{one}  ·  {two}",
        f"  alike from beginning to end: {found.similarity:.0%}; phrase by phrase in any order: "
        f"{found.similarity_any_order:.0%}",
        f"  {_verdict(most)}: two unrelated tunes come to about {_CHANCE:.0%}, seldom to more than {_UNRELATED:.0%}",
        f"  measured by {found.measure}; {moved}",
        f"PHRASES MUCH ALIKE  ({_PHRASE_ALIKE:.0%} or more, which unrelated songs seldom have)",
    ]
    pairs = [p for p in sorted(found.phrases, key=lambda p: -p.similarity) if p.similarity >= _PHRASE_ALIKE]
    lines += [f"  {_span(p.a_bars)} and {_span(p.b_bars)}: {p.similarity:.0%}" for p in pairs[:8]] or ["  none"]
    lines.append("TURNS THEY SHARE  (many unrelated songs share 5 notes with their rhythm, or the steps of 7)")
    turns = [f"  {_span(t.a_bars)} and {_span(t.b_bars)}: {t.notes} notes, {_shared(t)}" for t in found.turns]
    lines += list(dict.fromkeys(turns))[:_MOST] or ["  none"]
    return "\n".join(line for told in lines for line in _wrapped(told, width)) + "\n"


def _shared(turn: SharedTurn) -> str:
    if turn.kind == "cell":
        return "same intervals and rhythm"
    return "same steps and rhythm, other intervals" if turn.in_rhythm else "same steps, other rhythm"


def _wrapped(line: str, width: int) -> list[str]:
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.wrap(line, width, subsequent_indent=indent, drop_whitespace=True) or [""]


def _verdict(likeness: float) -> str:
    if likeness >= _VARIANTS:
        return "as alike as variants of one tune"
    return "more alike than chance" if likeness > _UNRELATED else "no more alike than chance"


def _span(bars: tuple[str, str]) -> str:
    return f"bar {bars[0]}" if bars[0] == bars[1] else f"bars {bars[0]}–{bars[1]}"


def _head(reading: Reading) -> list[str]:
    song = reading.song
    title = song.title or "Untitled"
    by = f" · {song.composer}" if song.composer else ""
    parts = ", ".join(f"{p.name or p.id} ({p.role})" for p in song.parts)
    lines = [f"{title}{by}", f"{song.bars} bars. Parts: {parts}."]
    lines += [f"Note: {warning}" for warning in reading.warnings]
    if reading.corrected:
        lines.append("Corrections stand in place of the engine's own reading where they apply.")
    return lines


def _form(reading: Reading) -> list[str]:
    form = reading.form
    if not form.sections:
        return ["FORM", "  no sections found"]
    more = f", then {form.extension}" if form.extension else ""
    lines = [f"FORM  {form.name}{more}{_doubt(form.confidence)}"]
    width = max(20, *(len(s.told) for s in form.sections))
    lines += [f"  {s.told:<{width}} {_span(s.bars)}{_doubt(s.confidence)}" for s in form.sections]
    return lines


def _harmony(reading: Reading, full: bool) -> list[str]:
    lines = ["KEYS"]
    lines += [f"  from bar {_bar(reading, k.start)}: {k.name}{_doubt(k.confidence)}" for k in reading.keys]
    lines += [
        f"  {_span(m.bars)}: {m.name}, by its degree {m.degree} (so {m.share:.0%} of the time it sounds)"
        for m in reading.modes
    ]
    lines.append("CHORDS  (figure, lead-sheet symbol; a figure of 6 means that the third is lowest)")
    rows: list[tuple[str, list[ChordSpan]]] = []
    for chord in reading.chords:
        if rows and rows[-1][0] == chord.bar:
            rows[-1][1].append(chord)
        else:
            rows.append((chord.bar, [chord]))
    told = [
        f"  bar {bar:>4}  "
        + "   ".join(f"{c.figure.replace('%', 'ø')} {c.symbol}{_doubt(c.confidence)}" for c in chords)
        for bar, chords in rows
    ]
    return lines + _cut(told, full, "bars")


def _borrowed(reading: Reading, full: bool) -> list[str]:
    def tell(tones: list[BorrowedTone]) -> str:
        tone = tones[0]
        bars = ", ".join(dict.fromkeys(t.bar for t in tones))
        place = f"bar {bars}" if "," not in bars else f"bars {bars}"
        pitches = ", ".join(dict.fromkeys(t.pitch for t in tones))
        doubt = _doubt(min(t.confidence for t in tones))
        return f"  {place}: {tone.degree} in {tone.key} ({pitches}), {_why(reading, tone)}{doubt}"

    groups: dict[tuple[object, ...], list[BorrowedTone]] = {}
    for tone in reading.borrowed:
        home = reading.mode_of(tone)
        applied = tone.chord if tone.kind == "applied" else ""
        here = (home,) if home else (tone.bar, tone.degree, tone.kind, tone.key, applied)
        groups.setdefault(here, []).append(tone)
    told = [tell(tones) for tones in groups.values()]
    return ["BORROWED TONES", *(_cut(told, full, "lines") or ["  none: every note belongs to its key"])]


def chord_has(tone: BorrowedTone) -> bool:
    """Whether the chord named beside a foreign tone has it, by sound."""
    if not tone.chord:
        return False
    chord = parse_symbol(tone.chord)
    return Pitch.parse(tone.pitch).midi % 12 in {t.chroma % 12 for t in tones_of(chord.root, chord.quality)}


def _why(reading: Reading, tone: BorrowedTone) -> str:
    if home := reading.mode_of(tone):
        return f"the mark of {home.name}"
    if tone.kind == "applied":
        held = "belongs to the applied chord" if chord_has(tone) else "taken for part of an applied chord, over"
        return f"{held} {tone.chord}"
    if tone.kind == "chromatic":
        return "melodic: passing or neighbouring"
    lent = f"lent by {', '.join(tone.modes)}" if tone.modes else "lent by another mode"
    return f"{lent}; common tone {tone.pivot}" if tone.pivot else lent


def change_count(back: Return) -> str:
    """'no change', '1 change', '3 changes'; what follows the words is counted apart.

    'the same tune, 1 note split to fit the words', '2 changes, and notes joined in 3 places to fit the words'.
    """
    fitted = [c for c in back.changes if c.follows_words]
    count = len(back.changes) - len(fitted)
    counted = "1 change" if count == 1 else f"{count} changes"
    if not fitted:
        return counted if count else "no change"
    how = " or ".join(sorted({split_or_joined(c) for c in fitted}, reverse=True))
    what = f"notes {how} in {len(fitted)} places"
    if len(fitted) == 1:
        notes = len(fitted[0].before)
        what = f"{notes} {'note' if notes == 1 else 'notes'} {how}"
    return f"{f'{counted}, and' if count else 'the same tune,'} {what} to fit the words"


def split_or_joined(change: Change) -> str:
    """Which of the two has become of a note that follows the words."""
    return "split" if len(change.before) < len(change.after) else "joined"


def words_last(changes: Iterable[Change]) -> list[Change]:
    """The changes in their order, those that only follow the words after the others."""
    return sorted(changes, key=lambda c: c.follows_words)


def _returns(reading: Reading, full: bool) -> list[str]:
    def tell(back: Return) -> Iterator[str]:
        step = "semitone" if abs(back.transposed) == 1 else "semitones"
        moved = f", {abs(back.transposed)} {step} {'higher' if back.transposed > 0 else 'lower'}"
        yield (
            f"  bar {_bar(reading, back.again[0])} brings back bar {_bar(reading, back.of[0])}"
            f"{moved if back.transposed else ''}: " + ("the same" if not back.changes else change_count(back))
        )
        for c in words_last(back.changes)[: None if full else 3]:
            if c.follows_words:
                yield f"    bar {c.bar}, beat {_beat(c.beat)}: {_fitted(c)}"
                continue
            was, now = (text.replace("%", "ø") or "nothing" for text in (c.was, c.now))
            yield f"    bar {c.bar}, beat {_beat(c.beat)}: {c.what}, was {was}, now {now}"

    lines = [line for back in reading.returns for line in tell(back)]
    return ["WHAT COMES BACK", *(_cut(lines, full, "lines") or ["  nothing comes back"])]


def _fitted(change: Change) -> str:
    """'G4 for 2 quarters is split into 1 + 1 to fit the words'."""
    lengths = " + ".join(f"{round(n.quarters, 3):g}" for n in change.after)
    verb = "is" if len(change.before) == 1 else "are"
    return f"{change.was} {verb} {split_or_joined(change)} into {lengths} to fit the words"


_SIZES = {
    "m2": "a semitone", "m9": "a semitone and an octave or more", "M7": "a major seventh",
    "M14": "a major seventh and an octave or more", "TT": "a tritone",
}  # fmt: skip


def rub_size(rub: Rub) -> str:
    """What a rub is, in words: 'a semitone', 'a 7–6 suspension'."""
    return _SIZES.get(rub.interval, f"a {rub.interval.replace('-', '–')} suspension")


def is_suspension(rub: Rub) -> bool:
    """True where the sung note is held or repeated from the chord before and falls: `against` is where it falls to."""
    return rub.interval not in _SIZES


def _rubs(reading: Reading, full: bool) -> list[str]:
    def tell(rub: Rub) -> str:
        solved = {"voice": "the voice resolves", "accompaniment": "the piano resolves", "none": "it stays open"}
        what = f"{rub.voice} against {rub.against} of {rub.chord}, {rub_size(rub)}"
        if is_suspension(rub):
            what = f"{rub.voice} over {rub.chord}, {rub_size(rub)} to {rub.against}"
        return f"  bar {rub.bar}, beat {_beat(rub.beat)}: {what}; {solved[rub.resolves.by]}"

    return ["RUBS", *(_cut([tell(r) for r in reading.rubs], full, "rubs") or ["  none"])]


def _bass(reading: Reading) -> list[str]:
    bass = reading.bassline
    line = f"BASS  {bass.root_position_share:.0%} of the time the root is lowest"
    if bass.runs:
        longest = max(bass.runs, key=lambda r: r.length)
        line += f"; longest run of root positions: {longest.length} chords from bar {_bar(reading, longest.start)}"
    return [line]


def _voice(reading: Reading) -> list[str]:
    v = reading.voice
    lines = [
        "VOICE",
        f"  range {v.low} to {v.high} ({v.span_semitones} semitones); "
        f"lies mostly {v.tessitura.low} to {v.tessitura.high}, centre {v.tessitura.centre}",
        f"  sung for {v.dose.time_s:.0f} s, about {v.dose.cycles:,.0f} vibrations; "
        f"longest phrase {v.longest_phrase_s:.1f} s"
        + (" (tempo assumed: the score has none)" if v.tempo_assumed else ""),
    ]
    if v.climax:
        lines.append(f"  climax: {v.climax.pitch} at bar {v.climax.bar}, {v.climax.approach}")
        lines += [f"    {why}" for why in v.climax.why]
    return lines


def _bar(reading: Reading, at: float) -> str:
    """Printed number of the bar of the chord, phrase or section that starts nearest to an offset."""
    places: Iterable[tuple[float, str]] = (
        *((c.start, c.bar) for c in reading.chords),
        *((p.start, p.bars[0]) for p in reading.phrases),
        *((s.start, s.bars[0]) for s in reading.form.sections),
    )
    return min(places, key=lambda p: abs(p[0] - at), default=(0.0, "1"))[1]


def _beat(beat: float) -> str:
    return f"{round(beat, 2):g}"


def _doubt(confidence: float) -> str:
    return "" if confidence >= SURE else "?"


def _cut(lines: list[str], full: bool, what: str) -> list[str]:
    if full or len(lines) <= _MOST:
        return lines
    return [*lines[:_MOST], f"  … and {len(lines) - _MOST} more {what} (--full shows all)"]
