"""Places in a song as a musician names them: printed bar and beat, and the offsets they mean."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tutor.errors import SidecarError, plain
from tutor.music.table import MeasureRow, NoteTable


class Places:
    """Turns printed bars and beats into offsets and back.

    Where a number is printed twice, the second bar of that number is '12#2'. The rest of a bar that is split in two, as
    at a repeat, continues its beats; it is found by itself too, as 'X1', 'X2', which is how MusicXML files name such
    halves in order, or as the second bar of its number.

    Args:
        table: The song.
        where: Name of the file that names the places, for messages.
        small_beats: Count beats of compound metres in the lower figure (six in a bar of 6/8).
    """

    def __init__(self, table: NoteTable, where: str, *, small_beats: bool = False) -> None:
        self._table = table
        self._where = where
        self._small = small_beats
        self._names: list[str] = []
        self._bars: dict[str, range] = {}
        seen: dict[str, int] = {}
        again: list[int] = []
        for index, bar in enumerate(table.measures):
            if index and bar.number == table.measures[index - 1].number:
                again.append(index)
            first = table.printed_start(index)
            if first < index:
                self._names.append(self._names[first])
                self._bars[self._names[first]] = range(first, index + 1)
                continue
            seen[bar.number] = seen.get(bar.number, 0) + 1
            name = bar.number if seen[bar.number] == 1 else f"{bar.number}#{seen[bar.number]}"
            self._names.append(name)
            self._bars.setdefault(name, range(index, index + 1))
        for count, index in enumerate(again, 1):
            number = table.measures[index].number
            nth = 1 + sum(bar.number == number for bar in table.measures[:index])
            for name in (f"X{count}", f"{number}#{nth}"):
                self._bars.setdefault(name, range(index, index + 1))

    def error(self, what: str, *, line: int = 0) -> SidecarError:
        """An error in the file that names the places."""
        return SidecarError(what, where=f"{self._where}, line {line}" if line else self._where)

    def _unit(self, bar: MeasureRow) -> float:
        return 4.0 / bar.denominator if self._small else bar.beat_quarters

    def _rows(self, number: str, line: int = 0) -> range:
        rows = self._bars.get(number)
        if rows is None:
            raise self.error(f"the song has no bar {plain(number)[:12]}", line=line)
        return rows

    def end(self, number: str) -> float:
        """Where a bar ends, in quarters.

        Raises:
            SidecarError: the song has no such bar.
        """
        return self._table.measures[self._rows(number)[-1]].end_quarters

    def offset(self, number: str, beat: float, *, line: int = 0) -> float:
        """The offset of a beat, in quarters; at most the bar's end.

        Raises:
            SidecarError: the song has no such bar, or the bar no such beat.
        """
        rows = self._rows(number, line)
        bar = self._table.measures[rows[0]]
        missing = self._table.lacking(rows[0])
        inside = (beat - 1) * self._unit(bar) - missing
        if not -1e-6 <= inside <= self._table.measures[rows[-1]].end_quarters - bar.start_quarters + 1e-6:
            if missing and -missing - 1e-6 <= inside < 0:
                inside = 0.0  # an analysis may count the whole bar that the up-beat stands for
            else:
                raise self.error(f"bar {plain(number)[:12]} has no beat {beat:g}", line=line)
        return round(bar.start_quarters + inside, 6)

    def place(self, offset: float) -> tuple[str, float]:
        """Bar and beat of an offset; the end of the song is the beat after its last."""
        index = self._table.bar_index(offset)
        bar = self._table.measures[index]
        inside = offset - bar.start_quarters + self._table.lacking(index)
        return self._names[index], 1 + inside / self._unit(bar)

    def bars(self, start: float, end: float) -> tuple[str, str]:
        """Printed numbers of the first and last bar of a stretch."""
        last = self._table.bar_at(max(start, end - 1e-4))
        return self._table.bar_at(start).number, last.number

    def span(self, entry: Mapping[str, Any]) -> tuple[float, float]:
        """Start and end of an entry with 'from' and 'to', each a list of bar and beat; 'to' is where it stops.

        Raises:
            SidecarError: they are missing, unknown or in the wrong order.
        """
        start, end = self._named(entry.get("from"), "from"), self._named(entry.get("to"), "to")
        if end <= start:
            raise self.error("'to' does not come after 'from'")
        return start, end

    def _named(self, value: object, what: str) -> float:
        if value == "end" and what == "to":
            return self._table.length_quarters
        if (
            not isinstance(value, list)
            or len(value) != 2
            or not isinstance(value[0], str)
            or isinstance(value[1], bool)
            or not isinstance(value[1], int | float)
        ):
            raise self.error(f"'{what}' is not a bar and a beat, as in {what} = [\"12\", 1]")
        return self.offset(value[0], float(value[1]))

    def written(self, start: float, end: float) -> list[str]:
        """The lines of an entry that `span` reads."""
        lines = []
        for word, at in (("from", start), ("to", end)):
            if word == "to" and at >= self._table.length_quarters - 1e-6:
                lines.append('to = "end"')
            else:
                bar, beat = self.place(at)
                lines.append(
                    f'{word} = ["{bar}", {round(beat, 6):g}]' if beat % 1 == 0 else f'{word} = ["{bar}", {beat!r}]'
                )
        return lines

    @staticmethod
    def counts_small(table: NoteTable, named: Sequence[tuple[str, float]]) -> bool:
        """Whether an analysis counts compound metres in their lower figure: it then names beats beyond the last."""
        most = {
            bar.number: bar.bar_quarters / bar.beat_quarters
            for bar in table.measures
            if bar.beat_quarters != 4.0 / bar.denominator
        }
        return any(beat >= most[number] + 1 for number, beat in named if number in most)
