"""Every table of a file: further headers down a sheet, tables side by side, sheets that go on without a header."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from intake.library.names import Names
from intake.packing.columns import Header, find_header, header_at
from intake.packing.fields import field_of, plain_heading
from intake.packing.figures import number_of
from intake.packing.grid import Merge, Sheet, column_letters
from intake.packing.row_words import section_of, sum_word

__all__ = [
    "Block",
    "blocks_of",
    "continued",
    "header_by_content",
    "header_less",
    "laid_out",
    "stood_up",
    "taxa_column",
]

_LOOKED_AT = 400
_MOSTLY = 0.5


@dataclass(frozen=True, slots=True)
class Block:
    """One table: its header and the rows and columns it takes up in its sheet, both ends included."""

    sheet: Sheet
    header: Header
    first: int
    last: int
    left: int
    right: int

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of its own columns."""
        return self.header.labels[self.left - 1 : self.right]


def blocks_of(sheet: Sheet, header: Header) -> list[Block]:
    """Tables of a sheet whose main header is known, from top to bottom, side by side from left to right."""
    heads = [header, *_further(sheet, header)]
    heads.sort(key=lambda each: each.top)
    blocks: list[Block] = []
    for number, head in enumerate(heads):
        last = heads[number + 1].top - 1 if number + 1 < len(heads) else len(sheet.rows)
        for left, right in _side_by_side(head, sheet.width):
            blocks.append(Block(sheet, head, head.bottom + 1, last, left, right))
    return blocks


def _further(sheet: Sheet, header: Header) -> list[Header]:
    """Other headers of the same sheet: rows of text that name an animal and a number; a repeated one is none."""
    heads = [header]
    for row in sheet.numbers():
        if header.top <= row <= header.bottom:
            continue
        raw = [cell for cell in sheet.rows[row - 1] if cell not in (None, "")]
        if len(raw) < 2 or not all(isinstance(cell, str) for cell in raw) or not _names_a_table(raw):
            continue
        if not any(_repeated(sheet, row, head) for head in heads):
            heads.append(header_at(sheet, row))
    return heads[1:]


def _repeated(sheet: Sheet, row: int, header: Header) -> bool:
    """Whether a row says again what a header says, column by column."""
    filled = sheet.filled(row)
    places = range(len(header.labels) + 1)
    return all(
        cell.column in places[1:] and plain_heading(cell.text) == plain_heading(header.labels[cell.column - 1])
        for cell in filled
    )


def _names_a_table(texts: Iterable[object]) -> bool:
    fields = {field_of(str(text)) for text in texts}
    return bool(fields & {"name", "common_name"}) and "count" in fields


def _side_by_side(header: Header, width: int) -> list[tuple[int, int]]:
    """Column ranges of tables that stand beside each other under one header: their fields come again in order."""
    labelled = [number for number, label in enumerate(header.labels, start=1) if label]
    for parts in (2, 3, 4):
        size, rest = divmod(len(labelled), parts)
        if rest or size < 2:
            continue
        groups = [labelled[part * size : (part + 1) * size] for part in range(parts)]
        words = [[plain_heading(header.labels[number - 1]) for number in group] for group in groups]
        if all(each == words[0] for each in words) and _names_a_table(words[0]):
            starts = [group[0] for group in groups]
            starts[0] = 1
            return list(zip(starts, [*(start - 1 for start in starts[1:]), max(width, starts[-1])], strict=True))
    return [(1, max(width, 1))]


def taxa_column(sheet: Sheet, names: Names, rows: Iterable[int]) -> int:
    """The column in which most cells name an animal we know; 0 where none does."""
    hits: dict[int, int] = {}
    filled: dict[int, int] = {}
    for row in rows:
        for cell in sheet.filled(row):
            if cell.kind == "text" and not sum_word(cell.text) and not section_of([cell.text]):
                filled[cell.column] = filled.get(cell.column, 0) + 1
                if knows(cell.text, names):
                    hits[cell.column] = hits.get(cell.column, 0) + 1
    fit = {column: number for column, number in hits.items() if number >= _MOSTLY * filled[column]}
    return max(fit, key=lambda column: (fit[column], -column), default=0)


def knows(text: str, names: Names) -> bool:
    """Whether a text is a name of the list, or begins with a genus of it."""
    if not any(sign.isalpha() for sign in text):
        return False
    if names.exact(text):
        return True
    words = text.split()
    if len(words) > 1 and len(words[0].rstrip(".")) == 1:
        return any(
            taxon.rank == "species"
            and taxon.accepted[0] == words[0][0]
            and taxon.accepted.split()[-1] == words[1].lower()
            for taxon in names.taxa.values()
        )
    return len(words) > 1 and names.genus(words[0]) is not None


def header_by_content(sheet: Sheet, names: Names) -> Header | None:
    """The row of texts above the first animals of a sheet in whose words no heading is known."""
    rows = range(1, min(len(sheet.rows), _LOOKED_AT) + 1)
    column = taxa_column(sheet, names, rows)
    first = next((row for row in rows if column and knows(sheet.cell(row, column).text, names)), 0)
    for row in range(first - 1, 0, -1):
        filled = sheet.filled(row)
        if len(filled) >= 3 and all(cell.kind == "text" and not cell.text[:1].isdigit() for cell in filled):
            return header_at(sheet, row)
    return None


def stood_up(sheet: Sheet) -> Sheet | None:
    """A table that lies on its side, headings down a column and a line of animals in each further one, turned upright.

    Each cell keeps its address.  ``None`` unless the turned table has the headings of name and count that the sheet lacks.
    """
    told_apart = sheet.merges or sheet.unsaved or sheet.hidden or sheet.struck  # rows that mean something as rows
    if told_apart or len(sheet.rows) > _MOST_HEADINGS or sheet.width < _LEAST_TURNED:
        return None
    cells = [[replace(cell, at=cell.address) for cell in sheet.cells(row)] for row in sheet.numbers()]
    rows = tuple(tuple(row[place] for row in cells) for place in range(sheet.width))
    upright = tuple(tuple(cell if cell.value is not None else None for cell in row) for row in rows)
    turned = Sheet(sheet.name, upright, turned=True)
    head = find_header(turned)
    known = {"name" if field == "common_name" else field for field in head.fields} if head is not None else set()
    return turned if {"name", "count"} <= known else None


_MOST_HEADINGS = 40
_LEAST_TURNED = 3
"""A column of headings and two of animals: of one line alone nothing shows which way it lies."""


def header_less(sheet: Sheet, names: Names, first: int = 0) -> Header | None:
    """A table of animals without a row of headings: its columns go by their letters, and what stands above are titles.

    Parameters
    ----------
    first
        Row of its first line where no name in it is known.
    """
    rows = range(1, min(len(sheet.rows), _LOOKED_AT) + 1)
    column = taxa_column(sheet, names, rows)
    first = next((row for row in rows if column and knows(sheet.cell(row, column).text, names)), first)
    if not first or not sheet.width:
        return None
    first = min((row for row in range(1, first) if column and _like_a_line(sheet, row, first, column)), default=first)
    labels = tuple(f"column {column_letters(place)}" for place in range(1, sheet.width + 1))
    return Header(first - 1, first - 1, labels, ("",) * len(labels), written=False)


def _like_a_line(sheet: Sheet, row: int, known: int, column: int) -> bool:
    """Whether a row above the first known name holds a text where that stands and a figure where that row has one."""
    if sheet.cell(row, column).kind != "text":
        return False
    figures = {cell.column for cell in sheet.filled(known) if number_of(cell, ".") is not None}
    return any(cell.column in figures and number_of(cell, ".") is not None for cell in sheet.filled(row))


def continued(sheet: Sheet, before: Block, names: Names) -> Block | None:
    """A sheet without a header that goes on under the header of the one before it: its animals stand in that column."""
    column = taxa_column(sheet, names, range(1, min(len(sheet.rows), _LOOKED_AT) + 1))
    fields = before.header.fields
    if column and column <= len(fields) and fields[column - 1] in ("name", "common_name"):
        return Block(sheet, before.header, 1, len(sheet.rows), 1, max(sheet.width, 1))
    return None


def laid_out(blocks: Sequence[Block]) -> tuple[Sheet, Header]:
    """All blocks under one header, each cell with its address in the file; a lone block stays as it is."""
    first = blocks[0]
    if len(blocks) == 1 and first.left == 1:
        return first.sheet, first.header
    several = len({id(block.sheet) for block in blocks}) > 1
    keys: list[str] = []
    for block in blocks:
        keys.extend(key for key in _keys(block) if key not in keys)
    lines = _Lines(keys, several)
    for row in range(1, first.header.top):
        lines.add(first, row, whole=True)
    lines.head([_label(blocks, key) for key in keys], first)
    top = len(lines.rows)
    for number, block in enumerate(blocks):
        lines.block(block, above=_above(blocks, number))
    sheet = Sheet(
        first.sheet.name,
        tuple(lines.rows),
        tuple(lines.merges),
        origins=tuple(lines.origins),
        hidden=frozenset(lines.hidden),
        struck=frozenset(lines.struck),
        unsaved=frozenset(lines.unsaved),
    )
    return sheet, header_at(sheet, top)


def _above(blocks: Sequence[Block], number: int) -> range:
    """Rows over a block's header that no block before it has taken in: titles of a further sheet."""
    block = blocks[number]
    begun = any(other.sheet is block.sheet for other in blocks[:number])
    return range(0) if number == 0 or begun or block.first == 1 else range(1, block.header.top)


def _keys(block: Block) -> list[str]:
    keys: list[str] = []
    for place, label in enumerate(block.labels):
        key = plain_heading(label) or f"column {place}"
        keys.append(key if key not in keys else f"{key} {place}")
    return keys


def _label(blocks: Sequence[Block], key: str) -> str:
    return next(
        (block.labels[_keys(block).index(key)] for block in blocks if key in _keys(block)),
        "",
    )


class _Lines:
    """Rows as they are put under one another."""

    def __init__(self, keys: list[str], several: bool) -> None:
        self.keys, self.several = keys, several
        self.rows: list[tuple[object, ...]] = []
        self.origins: list[tuple[str, int]] = []
        self.merges: list[Merge] = []
        self.hidden: set[int] = set()
        self.struck: set[int] = set()
        self.unsaved: set[tuple[int, int]] = set()

    def head(self, labels: list[str], first: Block) -> None:
        """Put the common header down."""
        self.rows.append(tuple(labels))
        self.origins.append((first.sheet.name, first.header.bottom))

    def block(self, block: Block, above: range) -> None:
        """Put down a block, and the titles that stand over it."""
        for row in above:
            self.add(block, row, whole=True)
        offset = len(self.rows) + 1 - block.first
        place = {column: self.keys.index(key) + 1 for column, key in enumerate(_keys(block), start=block.left)}
        for merge in block.sheet.merges:
            if merge.top >= block.first and merge.bottom <= block.last and merge.left in place:
                right = place.get(min(merge.right, block.right), place[merge.left])
                left = place[merge.left]
                self.merges.append(Merge(merge.top + offset, left, merge.bottom + offset, max(left, right)))
        for row in range(block.first, block.last + 1):
            self.add(block, row, whole=False, place=place)

    def add(self, block: Block, row: int, *, whole: bool, place: dict[int, int] | None = None) -> None:
        """Put down one row: all of it, or the columns of its block."""
        sheet = block.sheet
        cells: list[object] = [None] * len(self.keys)
        for cell in sheet.filled(row):
            if not whole and not block.left <= cell.column <= block.right:
                continue
            target = (place or {}).get(cell.column, cell.column)
            while len(cells) < target:
                cells.append(None)
            cells[target - 1] = cell_at(cell, sheet.name if self.several else "")
        number = len(self.rows) + 1
        self.rows.append(tuple(cells))
        self.origins.append((sheet.name, row))
        if row in sheet.hidden:
            self.hidden.add(number)
        if row in sheet.struck:
            self.struck.add(number)
        self.unsaved.update(
            (number, (place or {}).get(column, column)) for line, column in sheet.unsaved if line == row
        )


def cell_at(cell: object, sheet: str) -> object:
    """A cell that keeps its address in the file, with its sheet where there are several."""
    from intake.packing.grid import Cell

    assert isinstance(cell, Cell)  # noqa: S101  # only cells of a sheet come here
    return replace(cell, at=f"{sheet}!{cell.address}" if sheet else cell.address)
