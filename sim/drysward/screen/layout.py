"""Documents as text: tables as wide as the terminal lets them be, words never cut.

Widths are those of a terminal's cells, which wide characters take two of.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from drysward.screen.document import Cell, Column, Heading, Notes, Part, Row, Table
from drysward.screen.visible import visible

_GAP = 2
_TIGHT_GAP = 1  # where this keeps a table in one piece
_BLOCK_GAP = 4
# A single word longer than this may be cut, so that one name cannot push a table off the screen.
_LONGEST_WORD = 40
_READABLE = 16  # of what names the rows, before a block goes below instead of beside
_MOST_HEAD_LINES = 2
_WRAPPING = Console(width=1000, color_system=None)


@dataclass(frozen=True)
class _Strip:
    """A column of text: heads and cells, and the block that it belongs to."""

    head: str
    unit: str
    cells: tuple[str, ...]
    to_right: bool
    whole: bool
    block: str = ""

    @property
    def least(self) -> int:
        """Width at which no word is cut."""
        longest = max((_longest_word(cell, self.whole) for cell in self.cells), default=0)
        return max(_longest_word(self.head, False), cell_len(self.unit), longest)

    @property
    def readable(self) -> int:
        """Width at which words do not make a tower of lines."""
        return self.least if self.whole else max(self.least, min(self.most, _READABLE))

    @property
    def most(self) -> int:
        """Width at which each cell has one line."""
        lines = [line for cell in self.cells for line in cell.split("\n")]
        return max((cell_len(line) for line in (*lines, self.unit)), default=0)


def text_lines(parts: Iterable[Part], width: int) -> Iterator[Text]:
    """Lines of a document, none with blanks at its end."""
    for line in _lines(parts, width):
        line.plain = visible(line.plain)
        line.rstrip()
        yield line


def _lines(parts: Iterable[Part], width: int) -> Iterator[Text]:
    was: Part | None = None
    for part in parts:
        if was is not None and not (isinstance(part, type(was)) and isinstance(part, str | Notes)):
            after_heading = isinstance(was, Heading)
            if not after_heading:
                yield Text()
        was = part
        if isinstance(part, Table):
            yield from _table(part, width)
        elif isinstance(part, Notes):
            yield from _notes(part, width)
        elif isinstance(part, Heading):
            yield from (Text(line, style="bold") for line in _wrapped(part.text, width))
        else:
            yield from map(Text, _wrapped(part, width))


def _notes(part: Notes, width: int) -> Iterator[Text]:
    named = max((cell_len(name) for name, _ in part.pairs), default=0)
    for name, text in part.pairs:
        for i, line in enumerate(_wrapped(text, width - named - _GAP) or [""]):
            yield Text(f"{_padded(name if i == 0 else '', named)}{' ' * _GAP}{line}")


# Tables


def _table(table: Table, width: int) -> Iterator[Text]:
    yield from (Text(line, style="bold") for line in _wrapped(table.title, width))
    if not table.by:
        yield from _printed(*_strips(table, table.rows), width)
        return
    values = list(dict.fromkeys(row[table.by] for row in table.rows))
    if table.one_head:
        was = [None, *(row[table.by] for row in table.rows)]
        marks = {
            i: table.blocks.get(row[table.by], str(row[table.by]))
            for i, row in enumerate(table.rows)
            if row[table.by] != was[i]
        }
        yield from _printed(*_strips(table, table.rows), width, marks)
        return
    blocks: list[tuple[list[str], list[Text]]] = []
    for value in values:
        rows = [row for row in table.rows if row[table.by] == value]
        lines = list(_printed(*_strips(table, rows), width))
        same = [heads for heads, known in blocks if table.alike_once and known == lines]
        heads = same[0] if same else []
        heads.append(table.blocks.get(value, str(value)))
        if not same:
            blocks.append((heads, lines))
    for i, (heads, lines) in enumerate(blocks):
        if i:
            yield Text()
        yield from (Text(head, style="bold") for head in heads)
        yield from lines


def _strips(table: Table, rows: Sequence[Row]) -> tuple[list[_Strip], list[_Strip]]:
    """Columns of text: those that name the rows, and the others."""
    shown = [cell for cell in table.shown if not {table.by, table.across} & set(cell.keys)]
    lead = [cell for cell in shown if set(cell.keys) <= set(table.lead)]
    rest = [cell for cell in shown if cell not in lead]
    named = list(dict.fromkeys(tuple(row[key] for key in table.lead) for row in rows))
    if not table.across:
        return _lead(lead, rows), [_strip(cell, rows) for cell in rest]
    strips: list[_Strip] = []
    for value in dict.fromkeys(row[table.across] for row in rows):
        at = {_name(table, row): row for row in rows if row[table.across] == value}
        block = table.blocks.get(value, str(value))
        strips += [_strip(cell, [at.get(name) for name in named], block) for cell in rest]
    first = [next(row for row in rows if _name(table, row) == name) for name in named]
    return _lead(lead, first), strips


def _name(table: Table, row: Row) -> tuple[object, ...]:
    return tuple(row[key] for key in table.lead)


def _lead(cells: Sequence[Column | Cell], rows: Sequence[Row]) -> list[_Strip]:
    """What names a row; blank where all to its left and it itself repeat the row above."""
    strips, same = [], [n > 0 for n in range(len(rows))]
    for i, cell in enumerate(cells):
        strip = _strip(cell, rows)
        texts = strip.cells
        same = [s and texts[n] == texts[n - 1] for n, s in enumerate(same)]
        is_last = i == len(cells) - 1
        kept = texts if is_last else tuple(
            "" if again else text for again, text in zip(same, texts, strict=True)
        )  # fmt: skip
        strips.append(replace(strip, cells=kept))
    return strips


def _strip(cell: Column | Cell, rows: Sequence[Row | None], block: str = "") -> _Strip:
    texts = tuple(
        "" if row is None else cell.write(*(row[key] for key in cell.keys)) for row in rows
    )
    return _Strip(cell.head, cell.unit, texts, cell.is_number, cell.whole or cell.is_number, block)


def _printed(
    lead: Sequence[_Strip],
    rest: Sequence[_Strip],
    width: int,
    marks: Mapping[int, str] | None = None,
) -> Iterator[Text]:
    """The columns in as many pieces as the width needs, whole blocks where they fit; each piece
    repeats what names the rows.

    ``marks``: lines that stand above a row.
    """
    whole = [*lead, *rest]
    for gap in (_GAP, _TIGHT_GAP):
        if _needed(whole, gap) <= width:
            yield from _piece(whole, width, gap, marks or {})
            return
    blocks = list(dict.fromkeys(strip.block for strip in rest))
    units = [[strip for strip in rest if strip.block == block] for block in blocks]
    gaps = [
        gap
        for gap in (_GAP, _TIGHT_GAP)
        if len(blocks) > 1 and all(_needed([*lead, *unit], gap) <= width for unit in units)
    ]
    if not gaps:
        units = [[strip] for strip in rest]
    gap = gaps[0] if gaps else _GAP
    for i, piece in enumerate(_pieces(lead, units, width, gap)):
        if i:
            yield Text()
        yield from _piece(piece, width, gap, marks or {})


def _pieces(
    lead: Sequence[_Strip], units: Sequence[Sequence[_Strip]], width: int, gap: int
) -> Iterator[Sequence[_Strip]]:
    """As many units side by side as fit, be they whole blocks or single columns."""
    piece = list(lead)
    for unit in units:
        if len(piece) > len(lead) and _needed([*piece, *unit], gap) > width:
            yield piece
            piece = list(lead)
        piece += unit
    yield piece


def _needed(strips: Sequence[_Strip], gap: int) -> int:
    """Width of columns side by side, those of several blocks with readable names of the rows."""
    several = len({strip.block for strip in strips if strip.block}) > 1
    widths = (s.readable if several and not s.block else s.least for s in strips)
    return sum(widths) + sum(_gaps(strips, gap))


def _gaps(strips: Sequence[_Strip], gap: int) -> list[int]:
    """Blanks before each column."""
    return [
        0 if i == 0 else _BLOCK_GAP if strips[i - 1].block not in ("", strip.block) else gap
        for i, strip in enumerate(strips)
    ]


def _piece(
    strips: Sequence[_Strip], width: int, gap: int, marks: Mapping[int, str]
) -> Iterator[Text]:
    gaps = _gaps(strips, gap)
    widths = _widths(strips, width - sum(gaps))
    total = sum(widths) + sum(gaps)
    yield from _block_heads(strips, widths, gaps)
    heads = [_wrapped(strip.head, w) for strip, w in zip(strips, widths, strict=True)]
    high = max(map(len, heads))
    has_units = any(strip.unit for strip in strips)
    lines = [[*[""] * (high - len(head)), *head] for head in heads]
    if has_units:
        lines = [[*head, strip.unit] for head, strip in zip(lines, strips, strict=True)]
    if any(strip.head for strip in strips):
        yield from _side_by_side(strips, lines, widths, gaps)
        yield Text("─" * total)
    for row in range(len(strips[0].cells)):
        if row in marks:
            yield Text(marks[row], style="bold")
        cells = [_wrapped(s.cells[row], w) for s, w in zip(strips, widths, strict=True)]
        high = max(1, *map(len, cells))
        filled = [[*cell, *[""] * (high - len(cell))] for cell in cells]
        yield from _side_by_side(strips, filled, widths, gaps)


def _block_heads(
    strips: Sequence[_Strip], widths: Sequence[int], gaps: Sequence[int]
) -> Iterator[Text]:
    """A line above the heads that names each block, wrapped in the width of its columns."""
    spans: list[tuple[str, int, int]] = []  # text, where it begins, how wide it is
    place = 0
    for strip, w, gap in zip(strips, widths, gaps, strict=True):
        place += gap
        if spans and strip.block and spans[-1][0] == strip.block:
            text, begin, _ = spans[-1]
            spans[-1] = (text, begin, place + w - begin)
        elif strip.block:
            spans.append((strip.block, place, w))
        place += w
    wrapped = [_wrapped(text, w) for text, _, w in spans]
    for i in range(max(map(len, wrapped), default=0)):
        line = ""
        for texts, (_, begin, _) in zip(wrapped, spans, strict=True):
            line = _padded(line, begin) + (texts[i] if i < len(texts) else "")
        yield Text(line, style="bold")


def _side_by_side(
    strips: Sequence[_Strip],
    lines: Sequence[Sequence[str]],
    widths: Sequence[int],
    gaps: Sequence[int],
) -> Iterator[Text]:
    for i in range(max(map(len, lines))):
        line = ""
        for strip, texts, w, gap in zip(strips, lines, widths, gaps, strict=True):
            line += " " * gap + _padded(texts[i], w, strip.to_right)
        yield Text(line)


def _widths(strips: Sequence[_Strip], room: int) -> list[int]:
    """The least widths, and what is left given to words first and then to heads."""
    widths = [strip.least for strip in strips]
    left = room - sum(widths)
    if left < 0:
        # One word is longer than the screen: the widest column gives way and cuts it.
        while sum(widths) > max(room, len(widths)):
            widths[widths.index(max(widths))] -= 1
        return widths
    while left > 0 and (i := _tightest(strips, widths)) is not None:
        widths[i] += 1
        left -= 1
    while left > 0:
        lines = [len(_wrapped(s.head, w)) for s, w in zip(strips, widths, strict=True)]
        i = lines.index(max(lines))
        if lines[i] <= _MOST_HEAD_LINES:
            break
        widths[i] += 1
        left -= 1
    return widths


def _tightest(strips: Sequence[_Strip], widths: Sequence[int]) -> int | None:
    """The column whose longest cell takes the most lines; None when each has one line."""
    needs = [
        strip.most / w if strip.most > w else 0.0 for strip, w in zip(strips, widths, strict=True)
    ]
    return needs.index(max(needs)) if max(needs, default=0.0) > 0.0 else None


# Words


def _longest_word(text: str, whole: bool) -> int:
    if whole:
        return max(cell_len(line) for line in text.split("\n"))
    return min(max((cell_len(word) for word in text.split()), default=0), _LONGEST_WORD)


def _wrapped(text: str, width: int) -> list[str]:
    """Lines of a text, broken between words where any word fits."""
    out: list[str] = []
    for line in text.split("\n"):
        if cell_len(line) <= width:
            out.append(line)
        else:
            out += [part.plain.rstrip() for part in Text(line).wrap(_WRAPPING, max(width, 1))]
    return out if text else []


def _padded(text: str, width: int, to_right: bool = False) -> str:
    blanks = " " * (width - cell_len(text))
    return blanks + text if to_right else text + blanks
