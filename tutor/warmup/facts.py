"""What a warm-up needs to know of a song."""

from __future__ import annotations

from dataclasses import dataclass

from tutor.analysis.columns import SMALL, Line, sung_line, with_voice
from tutor.analysis.findings import Leap, Reading
from tutor.analysis.voice import Clock
from tutor.errors import PlanRefused, plain
from tutor.music.pitch import Pitch, PitchClass, pretty
from tutor.music.table import NoteRow, NoteTable
from tutor.warmup import limits
from tutor.warmup.words import interval

_MARKS = ' .,;:!?…—–-"“”„‘()'
"""Left out around a syllable that is named."""
FRAGMENT_S = 9.0
"""Longest stretch lifted from the song, seconds (a choice of ours: one breath with air to spare)."""

FRAGMENT_MOST_S = 11.0
"""Longest stretch up to the last note of a phrase where that brings it to its end, seconds (a choice of ours)."""
LEFT_OVER = 2
"""Notes that are not cut off the end of a phrase (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class LongNote:
    """A high note that is held."""

    bar: str
    pitch: str
    seconds: float


@dataclass(frozen=True, slots=True)
class SongFacts:
    """The song as the planner sees it, in the key in which it is sung."""

    title: str
    low: int
    """Lowest sung note, MIDI."""
    high: int
    """Highest sung note, MIDI."""
    compass_names: tuple[str, str]
    """The same two as printed."""
    peak: NoteRow
    """The high note the warm-up arrives at (pitch as printed)."""
    peak_bar: str
    approach: str
    held_s: float
    syllable: str
    start: float
    """Where the lifted fragment starts, quarters as written."""
    end: float
    """Where it ends."""
    interval_start: float
    """Where the note before the high note starts (the high note itself where none precedes it)."""
    bpm: float
    """Tempo at the high note, quarters a minute."""
    line: Line
    """The sung line as printed."""
    table: NoteTable
    tonic: PitchClass
    """Tonic at the high note, as printed."""
    minor: bool
    """True where the mode at the high note is minor."""
    leap: Leap | None
    """The widest leap up near the top, as printed."""
    long_note: LongNote | None
    first: int
    """First sung note, MIDI, in the key sung."""
    low_start: tuple[str, str] | None
    """Bar and pitch of a first sung note in the song's low tenth."""
    quick: str
    """Bar of the quickest text, empty where the text is not quick."""
    long_phrase: tuple[str, float] | None
    """First bar and seconds of the longest phrase, where it is long."""
    transposed: int
    """Semitones from the printed key."""

    @property
    def target(self) -> int:
        """The high note in the key sung, MIDI."""
        return self.peak.midi + self.transposed

    def spelled(self, name: str) -> str:
        """A printed pitch in the key sung, with the usual signs."""
        return pretty(spelled_interval(Pitch.parse(name), self.transposed, self.fifths).name)

    @property
    def fifths(self) -> int:
        """Key signature at the high note, as printed."""
        return self.table.measures[self.peak.measure].fifths

    @property
    def peak_end(self) -> float:
        """Where the high note ends, quarters as written."""
        return self.peak.onset_quarters + self.peak.duration_quarters

    def compass(self, start: float, end: float) -> tuple[int, int]:
        """Lowest and highest note of a stretch, MIDI, in the key sung."""
        midi = [int(self.line.midi[i]) + self.transposed for i in self.line.inside(start, end)]
        return min(midi), max(midi)


def move_of(semitones: int, fifths: int) -> tuple[int, int]:
    """The spelled interval (fifths, staff places) of a transposition that keeps the signature small.

    Args:
        semitones: size; positive is up.
        fifths: key signature to start from.
    """
    wanted = (7 * semitones) % 12
    delta = min((wanted - 12, wanted, wanted + 12), key=lambda f: (abs(fifths + f), abs(f)))
    return delta, 4 * delta - 7 * ((7 * delta - semitones) // 12)


def spelled_interval(pitch: Pitch, semitones: int, fifths: int) -> Pitch:
    """A pitch moved by a number of semitones, spelled near the key signature."""
    return pitch.moved(*move_of(semitones, fifths)) if semitones else pitch


def song_facts(table: NoteTable, reading: Reading, transpose: int = 0) -> SongFacts:
    """Gather what the planner needs.

    Args:
        table: the song's notes.
        reading: the engine's reading of the same song.
        transpose: semitones by which the singer moves the song.

    Raises:
        ScoreError: nothing in the score is sung.
        PlanRefused: the reading names no high note.
    """
    voice = next((p.id for p in reading.song.parts if p.role == "voice"), None)
    table = with_voice(table, voice)
    line = sung_line(table)
    if not len(line):
        raise PlanRefused("the song has no sung line to warm up for", where=table.title)
    peak = _peak(line, reading)
    row, clock = line.rows[peak], Clock(table)
    start, end = _fragment(line, reading, clock, peak)
    key = next((k for k in reading.keys if k.start <= row.onset_quarters + SMALL < k.end), None)
    fifths = table.measures[row.measure].fifths
    held = clock.seconds(float(line.onset[peak]), float(line.end[peak]))
    climax = reading.voice.climax
    return SongFacts(
        title=plain(reading.song.title or table.title) or "the song",
        low=int(line.midi.min()) + transpose,
        high=int(line.midi.max()) + transpose,
        compass_names=(reading.voice.low, reading.voice.high),
        peak=row,
        peak_bar=table.measures[row.measure].number,
        approach=_approach(line, peak),
        held_s=round(held, 3),
        syllable=_syllable(line, peak),
        start=start,
        end=end,
        interval_start=float(line.onset[max(peak - 1, 0)]) if start < row.onset_quarters else start,
        bpm=_tempo(table, row.onset_quarters, clock),
        line=line,
        table=table,
        tonic=PitchClass.parse(key.tonic) if key else PitchClass(fifths),
        minor=bool(key and key.mode == "minor"),
        leap=_leap(reading),
        long_note=_long_note(reading, clock),
        first=int(line.midi[0]) + transpose,
        low_start=_low_start(table, line, reading),
        quick=_quick(table, line, reading, clock),
        long_phrase=_long_phrase(reading, clock),
        transposed=transpose if climax or transpose else 0,
    )


def _peak(line: Line, reading: Reading) -> int:
    """Index of the climax in the sung line; the first highest note where the reading has none."""
    climax = reading.voice.climax
    if climax is not None:
        for i in line.inside(climax.start, climax.start + 10 * SMALL):
            return i
    return int(line.midi.argmax())


def _approach(line: Line, peak: int) -> str:
    if peak == 0:
        return "first note of the song"
    size = int(line.midi[peak] - line.midi[peak - 1])
    if size == 0:
        return "repeated note"
    way = "up" if size > 0 else "down"
    return f"{'step' if abs(size) < 3 else 'leap'} of {interval(size)} {way}"


def _syllable(line: Line, peak: int) -> str:
    for i in range(peak, max(peak - 8, -1), -1):
        if line.rows[i].syllable:
            return _shown(line.rows[i])
        if i and line.onset[i] - line.end[i - 1] > SMALL:
            break
    return ""


def _shown(row: NoteRow) -> str:
    """A syllable without punctuation, with a hyphen where its word goes on: 'mea-'."""
    before, after = ("-" * (row.syllabic in part) for part in (("middle", "end"), ("begin", "middle")))
    return f"{before}{plain(row.syllable).strip(_MARKS)}{after}"


def _tempo(table: NoteTable, at: float, clock: Clock) -> float:
    bpm = clock.first_bpm
    for mark in table.tempos:
        if mark.onset_quarters <= at + SMALL and mark.bpm > 0:
            bpm = mark.bpm
    return min(200.0, max(40.0, bpm))


def _fragment(line: Line, reading: Reading, clock: Clock, peak: int) -> tuple[float, float]:
    """Start and end of what is lifted: the phrase around the high note, cut to one easy breath."""
    at, stop = float(line.onset[peak]), float(line.end[peak])
    phrase = next((p for p in reading.phrases if p.start <= at + SMALL < p.end), None)
    first, last = peak, peak
    floor = phrase.start if phrase else at - 8.0
    while first and line.onset[first - 1] >= floor - SMALL:
        if clock.seconds(float(line.onset[first - 1]), stop) > FRAGMENT_S * 0.7:
            break
        first -= 1
    ceiling = phrase.end if phrase else stop + 2.0
    while last + 1 < len(line) and line.end[last + 1] <= ceiling + SMALL:
        gap = line.onset[last + 1] - line.end[last]
        if gap > SMALL or clock.seconds(float(line.onset[first]), float(line.end[last + 1])) > FRAGMENT_S:
            break
        last += 1
    return float(line.onset[first]), float(line.end[_rounded(line, clock, first, last, ceiling)])


def _rounded(line: Line, clock: Clock, first: int, last: int, ceiling: float) -> int:
    """Index of the last note, with the one or two that end the phrase where the breath allows them."""
    end = last
    while end + 1 < len(line) and line.end[end + 1] <= ceiling + SMALL:
        if line.onset[end + 1] - line.end[end] > SMALL:
            break
        end += 1
    length = clock.seconds(float(line.onset[first]), float(line.onset[end]))
    return end if end - last <= LEFT_OVER and length <= FRAGMENT_MOST_S else last


def _leap(reading: Reading) -> Leap | None:
    wide = [x for x in reading.voice.leaps if x.semitones >= limits.LEAP.value]
    return max(wide, key=lambda x: (x.semitones, -x.start), default=None)


def _long_note(reading: Reading, clock: Clock) -> LongNote | None:
    held = [LongNote(n.bar, n.pitch, clock.seconds(n.start, n.start + n.held_ql)) for n in reading.voice.high_notes]
    longest = max(held, key=lambda n: n.seconds, default=None)
    return longest if longest and longest.seconds >= limits.LONG_NOTE_S.value else None


def _low_start(table: NoteTable, line: Line, reading: Reading) -> tuple[str, str] | None:
    first = line.rows[0]
    if first.midi <= Pitch.parse(reading.voice.tessitura.low).midi and line.midi.max() - first.midi >= 7:
        return table.measures[first.measure].number, first.pitch.name
    return None


def _quick(table: NoteTable, line: Line, reading: Reading, clock: Clock) -> str:
    """Bar in which most syllables fall in a second, where the text is quick."""
    rates: dict[int, int] = {}
    for row in line.rows:
        if row.syllable:
            rates[row.measure] = rates.get(row.measure, 0) + 1
    best, bar = 0.0, ""
    for measure, number in rates.items():
        m = table.measures[measure]
        rate = number / max(clock.seconds(m.start_quarters, m.end_quarters), 0.1)
        if rate > best:
            best, bar = rate, m.number
    return bar if max(best, reading.voice.notes_per_s) >= limits.QUICK_NOTES.value else ""


def _long_phrase(reading: Reading, clock: Clock) -> tuple[str, float] | None:
    lengths = [(clock.seconds(p.start, p.end), p.bars[0]) for p in reading.phrases]
    seconds, bar = max(lengths, default=(0.0, ""))
    seconds = min(seconds, reading.voice.longest_phrase_s or seconds)
    return (bar, seconds) if seconds >= limits.PHRASE_S.value * 0.75 else None
