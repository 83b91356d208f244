"""A music21 score turned into rows: one pass over parts, bars and voices.

Offsets are those of the score as music21 lays it out: quarters from the start of the first bar, so an up-beat bar
begins at 0. Within a bar `elementOffset` is read instead of walking up the hierarchy for every note.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from tutor.errors import plain
from tutor.music.table import NoteRow, TempoRow, TextRow
from tutor.score.metronome import tempos_in_words

LETTERS_IN_TEXT = 200
"""Longest text kept from one direction or syllable, in characters."""
_MOST_PIECES = 8
"""Most pieces of a direction in words that are read together."""
TIE_REACH_QUARTERS = 4.0
"""How far a tie may reach over a gap, as when a broken chord is tied into the chord that gathers it."""


@dataclass(slots=True)
class RawNote:
    """A written note before ties are merged."""

    onset: float
    duration: float
    step: str
    alter: int
    octave: int
    midi: int
    part: int
    measure: int
    voice: str
    tie: str = ""
    syllable: str = ""
    syllabic: str = ""
    verses: tuple[str, ...] = ()
    grace: bool = False
    slur_start: bool = False
    slur_end: bool = False
    fermata: bool = False
    breath: bool = False

    @property
    def end(self) -> float:
        """Where the sound stops, in quarters."""
        return self.onset + self.duration


@dataclass(slots=True)
class Gathered:
    """What one pass over a score collects."""

    notes: list[RawNote] = field(default_factory=list)
    tempos: list[TempoRow] = field(default_factory=list)
    """As printed."""
    played: list[TempoRow] = field(default_factory=list)
    """For playback only; a printed mark at the same place is the composer's."""
    modulations: dict[float, float] = field(default_factory=dict)
    """Where 'half = dotted half' or the like is printed: how many times faster the quarters become."""
    texts: list[TextRow] = field(default_factory=list)
    words: dict[tuple[float, int], list[str]] = field(default_factory=dict)
    """Directions in words as the file has them, by place and part."""
    unpitched: set[int] = field(default_factory=set)
    """Parts with percussion notes, which no row can hold."""
    microtones: int = 0
    """Notes rounded to the nearest semitone."""


def rounded(quarters: Any) -> float:
    """An offset as the table keeps it: six decimals."""
    return round(float(quarters), 6)


def short(text: Any) -> str:
    """Text from the file, cleaned and cut to a sensible length."""
    return plain(str(text or ""))[:LETTERS_IN_TEXT]


def slur_ends(score: Any) -> tuple[set[int], set[int]]:
    """Ids of the music21 notes on which slurs start and end."""
    from music21.spanner import Slur

    starts: set[int] = set()
    ends: set[int] = set()
    for slur in score.recurse().getElementsByClass(Slur):
        first, last = slur.getFirst(), slur.getLast()
        if first is not None and first is not last:
            starts.add(id(first))
            ends.add(id(last))
    return starts, ends


class Gatherer:
    """Collects the rows of one score, part by part.

    Args:
        slurs: Ids of the notes on which slurs start and end (see `slur_ends`).
    """

    def __init__(self, slurs: tuple[set[int], set[int]]) -> None:
        from music21 import chord, dynamics, expressions, harmony, note, stream, tempo

        self.found = Gathered()
        self._slurs = slurs
        self._rest: Any = note.Rest
        self._note: Any = note.Note
        self._general: Any = note.GeneralNote
        self._chord: Any = chord.Chord
        self._symbol: Any = harmony.Harmony
        self._voice: Any = stream.Voice
        self._tempo: Any = tempo.MetronomeMark
        self._dynamic: Any = dynamics.Dynamic
        self._rehearsal: Any = expressions.RehearsalMark
        self._words: Any = expressions.TextExpression
        self._tempo_text: Any = tempo.TempoText
        self._modulation: Any = tempo.MetricModulation

    def bar(self, bar: Any, part: int, measure: int, start: float) -> None:
        """Collect one bar of one part.

        Args:
            bar: The music21 measure.
            part: Index of the part.
            measure: Index of the bar.
            start: Where the bar starts, in quarters.
        """
        for element in bar.elements:
            offset = bar.elementOffset(element)
            if isinstance(element, self._voice):
                for inner in element.elements:
                    at = rounded(start + offset + element.elementOffset(inner))
                    self._element(inner, at, part, measure, str(element.id))
            else:
                self._element(element, rounded(start + offset), part, measure, "")

    def _element(self, element: Any, at: float, part: int, measure: int, voice: str) -> None:
        if isinstance(element, self._symbol):
            self._text(at, "chord", symbol_text(element), part)
        elif isinstance(element, self._general):
            self._sounding(element, at, part, measure, voice)
        elif isinstance(element, self._tempo):
            self._tempo_mark(element, at)
        elif isinstance(element, self._modulation):
            self._equal_beats(element, at)
        elif isinstance(element, self._dynamic):
            self._text(at, "dynamic", element.value, part)
        elif isinstance(element, self._rehearsal):
            self._text(at, "rehearsal", element.content, part)
        elif isinstance(element, self._words):
            self._worded(at, element.content, part)
        elif isinstance(element, self._tempo_text):
            self._worded(at, element.text, part)

    def _sounding(self, element: Any, at: float, part: int, measure: int, voice: str) -> None:
        if isinstance(element, self._rest):
            return
        if isinstance(element, self._note):
            members = [element]
        elif isinstance(element, self._chord):
            members = sorted(element.notes, key=lambda n: float(n.pitch.ps))
        else:
            self.found.unpitched.add(part)
            return
        marks = self._marks(element)
        for index, member in enumerate(members):
            raw = self._note_row(element, member, at, part, measure, voice)
            for name, value in marks.items():
                setattr(raw, name, value)
            if index == len(members) - 1:
                _add_lyrics(raw, element.lyrics or member.lyrics)
            self.found.notes.append(raw)

    def _note_row(self, element: Any, member: Any, at: float, part: int, measure: int, voice: str) -> RawNote:
        pitch = member.pitch
        alter = float(pitch.alter)
        if alter != int(alter):
            self.found.microtones += 1
            alter = int(alter)
        octave = int(pitch.octave) if pitch.octave is not None else 4
        midi = int(pitch.midi) if alter == pitch.alter else int(pitch.ps)
        tie = member.tie
        return RawNote(
            onset=at,
            duration=0.0 if element.duration.isGrace else rounded(element.duration.quarterLength),
            step=pitch.step,
            alter=int(alter),
            octave=octave,
            midi=midi,
            part=part,
            measure=measure,
            voice=voice,
            tie=str(tie.type) if tie is not None else "",
            grace=bool(element.duration.isGrace),
        )

    def _marks(self, element: Any) -> dict[str, bool]:
        marks = {}
        if id(element) in self._slurs[0]:
            marks["slur_start"] = True
        if id(element) in self._slurs[1]:
            marks["slur_end"] = True
        if any("Fermata" in mark.classes for mark in element.expressions):
            marks["fermata"] = True
        if any("BreathMark" in mark.classes or "Caesura" in mark.classes for mark in element.articulations):
            marks["breath"] = True
        return marks

    def _tempo_mark(self, mark: Any, at: float) -> None:
        bpm = mark.getQuarterBPM()
        text = "" if mark.textImplicit else short(mark.text)
        if bpm is not None and 1 <= float(bpm) <= 1000:
            kept = self.found.played if mark.number is None else self.found.tempos
            kept.append(TempoRow(at, round(float(bpm), 3), text))
        elif text:
            self._text(at, "words", text, 0)

    def _equal_beats(self, mark: Any, at: float) -> None:
        before, after = mark.oldMetronome, mark.newMetronome
        if after is not None and after.number is not None:
            self._tempo_mark(after, at)
        elif before is not None and after is not None:
            lengths = float(before.referent.quarterLength), float(after.referent.quarterLength)
            if min(lengths) > 0:
                self.found.modulations[at] = lengths[1] / lengths[0]

    def _worded(self, at: float, words: Any, part: int) -> None:
        pieces = self.found.words.setdefault((at, part), [])
        if len(pieces) < _MOST_PIECES:
            pieces.append(str(words or "")[:LETTERS_IN_TEXT])
        self._text(at, "words", words, part)

    def _text(self, at: float, kind: Any, text: Any, part: int) -> None:
        cleaned = short(text)
        if cleaned:
            self.found.texts.append(TextRow(at, kind, cleaned, part))


def symbol_text(symbol: Any) -> str:
    """A printed chord symbol in ASCII: music21 writes flats as '-' and has words of its own for two kinds."""
    if "NoChord" in symbol.classes:
        return "N.C."
    figure = str(getattr(symbol, "figure", "") or "").replace("-", "b")
    return figure.replace("dom7dim5", "7b5").replace("power", "5")


def _add_lyrics(raw: RawNote, lyrics: Any) -> None:
    """Put the text of every verse on a note; the first verse also says how its syllable is joined."""
    verses: dict[int, str] = {}
    for place, lyric in enumerate(lyrics):
        text = short(lyric.text).lstrip("\\/")  # marks of lines and verses in MIDI
        number = lyric.number if isinstance(lyric.number, int) and 1 <= lyric.number <= 30 else place + 1
        if text and number not in verses:
            verses[number] = text
            if number == 1:
                raw.syllabic = _syllabic(lyric)
    raw.syllable = verses.get(1, "")
    if verses and max(verses) > 1:
        raw.verses = tuple(verses.get(n, "") for n in range(2, max(verses) + 1))


def _syllabic(lyric: Any) -> str:
    if not lyric.isComposite:
        return str(lyric.syllabic or "single")
    pieces = [piece.syllabic for piece in lyric.components]
    opens = pieces[0] in ("middle", "end")
    closes = pieces[-1] in ("begin", "middle")
    return {(False, False): "single", (False, True): "begin", (True, True): "middle"}.get((opens, closes), "end")


def merge_ties(raws: list[RawNote]) -> list[RawNote]:
    """Join tied notes into one row each, and unisons of one part into one sounding note.

    A note that ends a tie joins the open note of the same part and sound that stops where it starts, in its own
    voice first; failing that, one begun within the last bar or so, for piano writing ties broken chords into the
    chord that gathers them. A tie out of nothing (a second ending after a tied first one) leaves the note as it
    stands.
    """
    raws.sort(key=lambda r: (r.part, r.onset, not r.grace, r.midi, -r.duration))
    kept: list[RawNote] = []
    open_ties: dict[tuple[int, int], list[RawNote]] = defaultdict(list)
    for raw in raws:
        waiting = open_ties[(raw.part, raw.midi)]
        head = _head_of(raw, waiting) if raw.tie in ("stop", "continue") else None
        if head is None:
            head = raw
            kept.append(raw)
        else:
            waiting[:] = [w for w in waiting if w is not head]
            head.duration = max(head.duration, rounded(raw.end - head.onset))
            _take_marks(head, raw)
        if raw.tie in ("start", "continue"):
            waiting.append(head)
    return _without_unisons(kept)


def _take_marks(head: RawNote, raw: RawNote) -> None:
    head.slur_end |= raw.slur_end
    head.slur_start |= raw.slur_start
    head.fermata |= raw.fermata
    head.breath |= raw.breath


def _head_of(raw: RawNote, waiting: list[RawNote]) -> RawNote | None:
    touching = [head for head in waiting if abs(head.end - raw.onset) < 1e-4]
    if touching:
        return min(touching, key=lambda head: head.voice != raw.voice)
    near = [head for head in waiting if not head.grace and 0 < raw.onset - head.onset <= TIE_REACH_QUARTERS]
    return near[-1] if near else None


def _without_unisons(kept: list[RawNote]) -> list[RawNote]:
    """One note where two voices of a part share a notehead: the longer one, with what either carries."""
    single: dict[tuple[int, float, int, bool], RawNote] = {}
    for raw in sorted(kept, key=lambda r: (r.part, r.onset, -r.duration)):
        if raw.grace:
            single[(raw.part, raw.onset, raw.midi, True)] = raw
            continue
        other = single.setdefault((raw.part, raw.onset, raw.midi, False), raw)
        if other is not raw:
            _take_marks(other, raw)
            if raw.syllable and not other.syllable:
                other.syllable, other.syllabic, other.verses = raw.syllable, raw.syllabic, raw.verses
    return list(single.values())


def note_row(raw: RawNote) -> NoteRow:
    """The row of a settled note."""
    return NoteRow(
        onset_quarters=raw.onset,
        duration_quarters=raw.duration,
        step=raw.step,
        alter=raw.alter,
        octave=raw.octave,
        part=raw.part,
        measure=raw.measure,
        voice=raw.voice,
        syllable=raw.syllable,
        syllabic=raw.syllabic if raw.syllable else "",
        verses=raw.verses,
        grace=raw.grace,
        slur_start=raw.slur_start,
        slur_end=raw.slur_end,
        fermata=raw.fermata,
        breath=raw.breath,
    )


_MOST_MODULATIONS = 100
"""No song has more."""


def tempo_rows(found: Gathered, beat_at: Callable[[float], float]) -> tuple[TempoRow, ...]:
    """Tempo marks, one a position, with the words printed at the same place.

    Printed marks go before those for playback, and both before marks that stand in words.
    """
    words: dict[float, str] = {}
    for printed in found.texts:
        if printed.kind == "words":
            words.setdefault(printed.onset_quarters, printed.text)
    rows: dict[float, TempoRow] = {}
    worded = tempos_in_words(found.words, beat_at)
    for row in (*sorted(found.tempos, key=_untitled), *sorted(found.played, key=_untitled), *worded):
        if row.onset_quarters not in rows:
            text = row.text or words.get(row.onset_quarters, "")
            rows[row.onset_quarters] = replace(row, text=text)
    for at, faster in sorted(found.modulations.items())[:_MOST_MODULATIONS]:
        before = max((x for x in rows if x < at), default=None)
        if before is not None and at not in rows:
            rows[at] = TempoRow(at, round(rows[before].bpm * faster, 3), words.get(at, ""))
    return tuple(rows[at] for at in sorted(rows))


def _untitled(row: TempoRow) -> bool:
    return not row.text


def text_rows(found: Gathered) -> tuple[TextRow, ...]:
    """Dynamics, chord symbols, rehearsal marks and words, each once, in order."""
    unique = {(t.onset_quarters, t.kind, t.text, t.part): t for t in found.texts}
    return tuple(sorted(unique.values(), key=lambda t: (t.onset_quarters, t.part, t.kind, t.text)))
