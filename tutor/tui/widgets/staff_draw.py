"""Drawing a staff in plain characters.

In the compact density a row is one staff space: a note on a line fills its row, a note in a space takes the lower half
of the row above and the upper half of the row below, so every head stands where an engraver would put it. In the
large density a row is half a space. `Signs` holds the characters, in blocks and box drawing or in bare ASCII.
"""

from __future__ import annotations

from tutor.music.phrase import Phrase
from tutor.tui.widgets.staff_layout import LINES, TOP, Bar, Clef, Head, Layout, Slot, Stack, lay_out
from tutor.tui.widgets.staff_signs import ASCII, BLOCKS, WORDS, Canvas, Style, System, stretched
from tutor.tui.widgets.staff_space import bar_width, before, fit, head_width, sign_places, slot_size

__all__ = ["Style", "System", "draw_staff"]


def draw_staff(phrase: Phrase, width: int, style: Style | None = None) -> list[System]:
    """Draw a phrase as systems no wider than ``width`` columns.

    Args:
        phrase: what to draw.
        width: columns at hand; a bar wider than that is broken between notes.
        style: density, alphabet and rows wanted.
    """
    style = style or Style()
    layout = lay_out(phrase, voice_apart=style.voice_apart, clef=style.clef)
    out: list[System] = []
    wide = 3 if style.large else 2
    rest = [(bar, slot_run) for bar in layout.bars for slot_run in fit(bar, layout, width, wide)]
    while rest:
        line = [rest.pop(0)]
        used = head_width(layout, first=not out) + bar_width(line[0][1], wide)
        while rest and used + bar_width(rest[0][1], wide) <= width - 1:
            used += bar_width(rest[0][1], wide)
            line.append(rest.pop(0))
        out.append(_System(layout, line, width - 1 - used, style, first=not out, last=not rest).drawn(width))
    return out


class _System:
    """One system while it is drawn."""

    def __init__(
        self, layout: Layout, line: list[tuple[Bar, list[Slot]]], spare: int, style: Style, *, first: bool, last: bool
    ) -> None:
        self.layout, self.line, self.style = layout, line, style
        self.signs = ASCII if style.ascii else BLOCKS
        self.first, self.last = first, last
        self.canvas = Canvas()
        self.wide = 3 if style.large else 2
        self._heads: set[tuple[int, int, int]] = set()
        self.bases = self._bases()
        slots = sum(len(run) for _, run in line)
        # Short excerpts keep their natural spacing; a nearly full line is spread to the edge.
        self.gap = min(3, spare // slots) if slots else 0

    def _bases(self) -> list[int]:
        """Row of each block's top line, far enough apart for stems, ledger lines and syllables."""
        self.bases = [0] * len(self.layout.blocks)
        out, row = [], 0
        self.lyric_row: int | None = None
        for block in range(len(self.layout.blocks)):
            above, below = self._extent(block)
            row += above
            out.append(row)
            row += below + 1
            if block == 0 and len(self.layout.blocks) > 1 and self.style.words:
                self.lyric_row = row
            row += 1
        return out

    def _extent(self, block: int) -> tuple[int, int]:
        """Rows needed above and below the top line of a block."""
        clef = self.layout.blocks[block]
        rows = [self.y(block, LINES[clef][-1])[0], -1 if clef != "bass" else 0]
        for stack in (st for _, run in self.line for s in run for st in s.stacks.get(block, [])):
            rows += [self.y(block, h.place)[0] - self.y(block, h.place)[1] * (h.place > TOP[clef]) for h in stack.heads]
            if stack.value.stem:
                rows.append(self.tip(block, stack))
        return -min(rows), max(rows)

    @property
    def _stem(self) -> int:
        return self.style.stem * (2 if self.style.large else 1)

    def y(self, block: int, place: int) -> tuple[int, bool]:
        """Row of a staff place, and whether it straddles that row and the one above."""
        steps = TOP[self.layout.blocks[block]] - place
        if self.style.large:
            return self.bases[block] + steps, False
        return self.bases[block] + (steps + 1) // 2, steps % 2 == 1

    def drawn(self, width: int) -> System:
        columns: list[tuple[float, int]] = []
        col = head_width(self.layout, first=self.first)
        edges = [0] if len(self.layout.blocks) > 1 or self.layout.blocks[0] == "great" else []
        starts: list[tuple[int, str]] = []
        for bar, run in self.line:
            if not run or run[0] is bar.slots[0]:
                starts.append((col - 1 if columns else 0, bar.number))
            for slot in run:
                left, right = slot_size(slot, self.wide)
                columns.append((slot.at, col + left))
                col += left + right + self.gap
            edges.append(col)
            col += 2
        end = edges[-1]
        self._staff(end, edges)
        self._opening()
        for (_at, x), slot in zip(columns, [s for _, run in self.line for s in run], strict=True):
            self._slot(slot, x)
        self._beams(columns)
        self._around(columns, starts)
        top = self.canvas.top
        last = self.line[-1]
        stop = last[0].end if last[1] and last[1][-1] is last[0].slots[-1] else last[1][-1].at
        return System(
            tuple(self.canvas.rows(max(width, end + 1))), columns[0][0] if columns else self.line[0][0].start,
            stop, tuple(columns), self.bases[0] - top,
        )  # fmt: skip

    def _staff(self, end: int, edges: list[int]) -> None:
        for block, clef in enumerate(self.layout.blocks):
            for place in LINES[clef]:
                self.canvas.put(self.y(block, place)[0], 0, self.signs.line * (end + 1), "line")
            top, bottom = self.y(block, LINES[clef][0])[0], self.y(block, LINES[clef][-1])[0]
            for edge in edges:
                for row in range(top, bottom + 1):
                    self.canvas.put(row, edge, self.signs.bar, "bar")

    def _opening(self) -> None:
        for block, clef in enumerate(self.layout.blocks):
            for staff in ("treble", "bass") if clef == "great" else (clef,):
                self._clef(block, staff)
                self._signature(block, staff)
                if self.first:
                    self._metre(block, staff)

    def _clef(self, block: int, staff: Clef) -> None:
        art = self.signs.treble if staff == "treble" else self.signs.bass
        row = self.y(block, TOP[staff])[0] - (1 if staff == "treble" else 0)
        if self.style.large:
            art, row = stretched(art), self.y(block, TOP[staff])[0] - (3 if staff == "treble" else 1)
        for i, text in enumerate(art):
            for j, char in enumerate(text):
                if char != " ":
                    self.canvas.put(row + i, 1 + j, char, "clef")

    def _signature(self, block: int, staff: Clef) -> None:
        # F5 C5 G5 D5 A4 E5 B4 and B4 E5 A4 D5 G4 C5 F4; two places lower in the bass clef, an octave and a third.
        sharps, flats = (38, 35, 39, 36, 33, 37, 34), (34, 37, 33, 36, 32, 35, 31)
        sign = self.signs.accidentals[0 if self.layout.fifths > 0 else 1]
        places = sharps if self.layout.fifths > 0 else flats
        for i in range(min(7, abs(self.layout.fifths))):
            place = places[i] - (14 if staff == "bass" else 0)
            row, straddles = self.y(block, place)
            self.canvas.put(row - straddles, 6 + i, sign, "key")

    def _metre(self, block: int, staff: Clef) -> None:
        col = 6 + abs(self.layout.fifths) + (0 if self.layout.fifths == 0 else 1)
        top = TOP[staff]
        for place, figure in ((top - 2, self.layout.numerator), (top - 6, self.layout.denominator)):
            self.canvas.put(self.y(block, place)[0], col, str(figure), "key")

    def _slot(self, slot: Slot, x: int) -> None:
        for block, value in slot.rests.items():
            self._rest(block, value.hollow, value.stem, value.flags, x)
        for block, stacks in slot.stacks.items():
            for stack in stacks:
                if stack.value.stem:
                    self._draw_stem(block, stack, x, self.tip(block, stack))
                if stack.value.flags and stack.beam < 0:
                    column = self.x(stack, x) + (self.wide + 1 if stack.up else 0)
                    self.canvas.put_free(self.tip(block, stack), column, self._beam_sign(stack), "stem")
        for block, stacks in slot.stacks.items():
            for stack in stacks:
                for head in stack.heads:
                    self._ledgers(block, head, self.x(stack, x))
                for head in stack.heads:
                    self._head(block, stack, head, self.x(stack, x))
            self._accidentals(block, stacks, x)

    def _ledgers(self, block: int, head: Head, x: int) -> None:
        lines = LINES[self.layout.blocks[block]]
        place = head.place
        wanted = [p for p in range(lines[0] + 2, place + 1, 2)] + [p for p in range(lines[-1] - 2, place - 1, -2)]
        if self.layout.blocks[block] == "great" and place == 28:
            wanted.append(28)
        for line in wanted:
            self.canvas.put_free(
                self.y(block, line)[0], x - 1 + (self.wide + 1) * head.side, self.signs.line * (self.wide + 2), "ledger"
            )

    def _head(self, block: int, stack: Stack, head: Head, x: int) -> None:
        signs, value = self.signs, head.value
        if (block, x, head.place) in self._heads and not head.mark:
            return
        self._heads.add((block, x, head.place))
        role = "wrong" if head.mark == "wrong" else "mark" if head.mark else stack.line
        col = x + head.side * (self.wide + (1 if stack.value.stem else 0))
        wide = bool(head.mark) and head.mark != "wrong"
        shapes = (
            signs.wrong if head.mark == "wrong"
            else (signs.hollow_marked if value.hollow else signs.solid_marked) if wide
            else signs.hollow if value.hollow else signs.solid
        )  # fmt: skip
        row, straddles = self.y(block, head.place)
        if self.style.large:
            self._large(row, col, head, role)
        elif straddles:
            self._half(row - 1, col - wide, shapes[1], role)
            self._half(row, col - wide, shapes[2], role)
        elif (
            not value.hollow
            and not self.style.ascii
            and self.canvas.cells.get((row - 1, col), ("", ""))[0] == signs.solid[0][0]
        ):
            self.canvas.put(row, col - wide, shapes[0].replace("█", "▇"), role)
        else:
            below = self._at(row + 1, col) == signs.solid[0][0] and not value.hollow
            self.canvas.put(row, col - wide, shapes[0], role)
            if below and not self.style.ascii:
                self.canvas.put(row + 1, col, "▇▇", self.canvas.cells[row + 1, col][1])
        if value.dots:
            self.canvas.put_free(
                row - straddles, col + self.wide + (1 if stack.value.stem else 0) + wide, signs.dots[straddles], role
            )
        if head.tied:
            self.canvas.put_free(row, col - 1 - wide, signs.tie, role)

    def _at(self, row: int, col: int) -> str:
        return self.canvas.cells.get((row, col), ("", ""))[0]

    def _large(self, row: int, col: int, head: Head, role: str) -> None:
        """A head three rows tall: half a row above its place, its row, half a row below."""
        kind = 4 if head.mark == "wrong" else (2 if head.mark else 0) + (1 if head.value.hollow else 0)
        shape = self.signs.large[kind]
        self._half(row - 1, col - (len(shape[0]) - 3) // 2, shape[0], role)
        self.canvas.put(row, col - (len(shape[1]) - 3) // 2, shape[1], role)
        self._half(row + 1, col - (len(shape[2]) - 3) // 2, shape[2], role)

    def _half(self, row: int, col: int, text: str, role: str) -> None:
        """Half a head; where another head has the other half of the cells, a line parts the two."""
        middle = col + (len(text) - self.wide) // 2
        there = self.canvas.cells.get((row, middle), ("", ""))
        if there[1].partition(" ")[0] not in ("voice", "upper", "lower", "mark", "wrong"):
            self.canvas.put(row, col, text, role)
        elif there[0] in self.signs.solid[1] + self.signs.solid[2]:
            self.canvas.put(row, middle, (self.signs.both * 2)[: self.wide], f"{role} parted")
        elif there[0] not in self.signs.both:
            self.canvas.put(row, middle, self.signs.large_hollow if self.style.large else self.signs.both_hollow, role)

    def _accidentals(self, block: int, stacks: list[Stack], x: int) -> None:
        table = dict(zip("#bn", self.signs.accidentals, strict=True))
        heads = [h for s in stacks for h in s.heads]
        start = x - before(stacks, self.wide)
        for column, head in sign_places(heads):
            text = "".join(table[c] for c in head.accidental)
            row, straddles = self.y(block, head.place)
            self.canvas.put(row - straddles, start - 2 * column - len(text), text, "accidental")

    def x(self, stack: Stack, x: int) -> int:
        """Column of a stack's heads."""
        return x + stack.shift * (self.wide + 1)

    def tip(self, block: int, stack: Stack) -> int:
        """Row where the stem ends."""
        if stack.up:
            row, straddles = self.y(block, stack.heads[-1].place)
            return row - straddles - self._stem + straddles
        return (
            self.y(block, stack.heads[0].place)[0] + self._stem - (1 if self.y(block, stack.heads[0].place)[1] else 0)
        )

    def _draw_stem(self, block: int, stack: Stack, x: int, tip: int) -> None:
        low, _ = self.y(block, stack.heads[0].place)
        high, straddles = self.y(block, stack.heads[-1].place)
        if stack.up:
            rows, col, sign = range(tip, low), self.x(stack, x) + self.wide, self.signs.stem_up
        else:
            rows, col, sign = range(high - straddles + 1, tip + 1), self.x(stack, x) - 1, self.signs.stem_down
        for row in rows:
            self.canvas.put_free(row, col, sign, "stem")

    def _beam_sign(self, stack: Stack) -> str:
        return self.signs.beams[(0 if stack.up else 2) + (1 if stack.value.flags > 1 else 0)]

    def _beams(self, columns: list[tuple[float, int]]) -> None:
        groups: dict[int, list[tuple[int, int, Stack]]] = {}
        slots = [s for _, run in self.line for s in run]
        for (_at, x), slot in zip(columns, slots, strict=True):
            for block, stacks in slot.stacks.items():
                for stack in stacks:
                    if stack.beam >= 0:
                        groups.setdefault(stack.beam, []).append((block, x, stack))
        for members in groups.values():
            up = members[0][2].up
            tips = [self.tip(b, s) for b, _, s in members]
            tip = min(tips) if up else max(tips)
            cols = [self.x(s, x) + (self.wide if up else -1) for _, x, s in members]
            for block, x, stack in members:
                self._draw_stem(block, stack, x, tip)
            sign = min((s for _, _, s in members), key=lambda s: s.value.flags)
            self.canvas.put_free(tip, cols[0] + 1, self._beam_sign(sign) * (cols[-1] - cols[0] - 1), "stem")

    def _rest(self, block: int, hollow: bool, stem: bool, flags: int, x: int) -> None:
        clef = self.layout.blocks[block]
        row = self.y(block, TOP[clef] - 4)[0]
        if hollow:
            upper = self.y(block, TOP[clef] - 2)[0]
            self.canvas.put_free(row if stem else upper, x, self.signs.rest_long[1 if stem else 0], "rest")
            if stem:
                self.canvas.put(row, x, self.signs.rest_long[1], "rest")
        elif not flags:
            self.canvas.put(row - 1, x, self.signs.rest_quarter[0], "rest")
            self.canvas.put(row, x, self.signs.rest_quarter[1], "rest")
        else:
            self.canvas.put(row, x, self.signs.rest_short * flags, "rest")

    def _around(self, columns: list[tuple[float, int]], starts: list[tuple[int, str]]) -> None:
        slots = [s for _, run in self.line for s in run]
        top = self.canvas.top - 1
        # The row is there even when it is empty, so that nothing moves when music starts.
        self.canvas.put(top, 0, " ", "")
        for col, number in starts:
            if number:
                self.canvas.put(top, col, number, "number")
        if self.style.now is not None and columns and self._holds_now(slots):
            x = max((c for c in columns if c[0] <= self.style.now + 1e-6), default=columns[0])[1]
            self.canvas.put(top, x, self.signs.now * 2, "now")
        if not self.style.words:
            return
        below = self.canvas.bottom
        for attribute, role in (("syllable", "lyric"), ("figure", "figure")):
            if any(getattr(s, attribute) for s in slots):
                between = attribute == "syllable" and self.lyric_row is not None
                below += 0 if between else 1
                row = self.lyric_row if between and self.lyric_row is not None else below
                for (_at, x), slot in zip(columns, slots, strict=True):
                    text = getattr(slot, attribute)
                    if text:
                        self.canvas.put(row, x - (1 if len(text) > 2 else 0), self._plain(text), role)
        self._pointers(below + 1, columns, slots)

    def _plain(self, text: str) -> str:
        if not self.style.ascii:
            return text
        return text.replace("♯", "#").replace("♭", "b").encode("ascii", "replace").decode()

    def _holds_now(self, slots: list[Slot]) -> bool:
        now = self.style.now or 0.0
        return bool(slots) and slots[0].at - 1e-6 <= now < max(self.line[-1][0].end, slots[-1].at + 1e-3)

    def _pointers(self, row: int, columns: list[tuple[float, int]], slots: list[Slot]) -> None:
        marked = [(x, s.marks) for (_at, x), s in zip(columns, slots, strict=True) if s.marks]
        said: list[str] = []
        for i, (x, marks) in enumerate(marked):
            words = " ".join(WORDS.get(m, m) for m in marks)
            room = (marked[i + 1][0] if i + 1 < len(marked) else 10_000) - x - 3
            text = self.signs.mark
            if marks != said and len(words) <= room:
                text, said = f"{self.signs.mark} {words}", marks
            self.canvas.put(row, x, text, "word")
