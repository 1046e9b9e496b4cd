"""Which column holds what: the header row found, a map proposed with its reasons, remembered, or given by the user."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Literal

from pydantic import Field

from intake.errors import BadInput, Finding, UnknownName, quoted
from intake.library.library_values import Strict
from intake.packing.counts import count_in
from intake.packing.fields import FIELDS, HEADINGS, NOT_WANTED, field_of, plain_heading, role_of
from intake.packing.figures import moment_of, readings_of
from intake.packing.grid import Cell, Sheet, column_letters, column_number
from intake.units import length_unit_in

__all__ = ["Column", "ColumnMap", "Header", "Proposal", "apply", "find_header", "overridden", "propose", "samples"]

_ROWS_LOOKED_AT = 80
_SAMPLES = 3
_SERIAL = 30_000  # whole numbers from here on may be dates as a spreadsheet keeps them
_SHORT = frozenset({"qty", "pcs", "box", "stk"})  # short headings that count among other words


class Column(Strict):
    """One field and the column it is read from.

    Attributes
    ----------
    column
        Counted from 1.
    label
        Heading as it stands.
    why
        Why this column was taken.
    samples
        Up to three values below the heading.
    """

    field: str
    column: int = Field(ge=1)
    label: str = ""
    why: str = ""
    samples: tuple[str, ...] = ()


class ColumnMap(Strict):
    """How a supplier's lists are to be read; kept per supplier and used again while the header stays the same.

    Attributes
    ----------
    fingerprint
        Digest of the header's labels in order.
    labels
        The labels themselves, to show what changed.
    numbers
        Decimal mark, empty until it is known.
    dates
        Order of day, month and year, empty until it is known.
    size_unit
        Unit of sizes that carry none, empty until it is known.
    price_per
        What a price is for: a hundred animals, a whole line, otherwise (empty) one animal.
    headed
        Whether the list has headings: without them a map says nothing of the supplier's next list.
    """

    fingerprint: str
    labels: tuple[str, ...] = ()
    columns: tuple[Column, ...] = ()
    numbers: Literal["", ".", ","] = ""
    dates: Literal["", "dmy", "mdy", "ymd"] = ""
    size_unit: Literal["", "mm", "cm", "m", "in", "ft"] = ""
    price_per: Literal["", "hundred", "line"] = ""
    headed: bool = True

    def column(self, field: str) -> int:
        """Column of a field, counted from 1; 0 when the list has none."""
        for each in self.columns:  # a plain loop: asked many times for each row
            if each.field == field:
                return each.column
        return 0

    def label(self, field: str) -> str:
        """Heading over a field, empty when the list has none."""
        return next((each.label for each in self.columns if each.field == field), "")


@dataclass(frozen=True, slots=True)
class Header:
    """The header of a table: one row, or two of which the upper spans several columns of the lower.

    ``written`` is false for a table without one: then ``bottom`` is the row above its first line.
    """

    top: int
    bottom: int
    labels: tuple[str, ...]
    fields: tuple[str, ...]
    written: bool = True

    @property
    def fingerprint(self) -> str:
        """Digest of the labels in order, by which the same kind of list is known again."""
        return sha256("|".join(plain_heading(label) for label in self.labels).encode()).hexdigest()[:16]

    @property
    def known(self) -> int:
        """How many different fields its labels name."""
        return len({field for field in self.fields if field})


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposed map, and what makes it unsure."""

    map: ColumnMap
    doubts: tuple[str, ...]


_AN_END = re.compile(r"min(?:imum)?|max(?:imum)?|from|to|von|bis|de|a|hasta|ate|da|fino a|dari|sampai|smallest|largest")
"""Words that part a size in two columns, below the heading they share."""


def find_header(sheet: Sheet) -> Header | None:
    """The header of a sheet's table: the row, or pair of rows, whose labels name the most fields."""
    best: Header | None = None
    for row in range(1, min(len(sheet.rows), _ROWS_LOOKED_AT) + 1):
        filled = sheet.filled(row)
        if not filled or any(cell.kind in ("number", "date") for cell in filled):
            continue
        for header in _candidates(sheet, row):
            # of two headers on one row the taller says more: its second line shows the units
            taller = best is not None and header.top == best.top and header.known == best.known
            if header.known >= 2 and (best is None or header.known > best.known or taller):
                best = header
    return best


def header_at(sheet: Sheet, row: int) -> Header:
    """The header that is in a given row, known words or not."""
    return _candidates(sheet, row)[0]


def _candidates(sheet: Sheet, row: int) -> list[Header]:
    upper = [cell.text for cell in sheet.cells(row)]
    found = [Header(row, row, tuple(upper), tuple(field_of(label) for label in upper))]
    below = sheet.filled(row + 1)
    if below and all(cell.kind == "text" for cell in below):
        spread = _spread(sheet, row)
        lower = [cell.text for cell in sheet.cells(row + 1)]
        pairs = list(zip(spread, lower, strict=True))
        labels = tuple(f"{above} {under}".strip() if above != under else above for above, under in pairs)
        fields = tuple(_pair_field(above, under) for above, under in pairs)
        double = Header(row, row + 1, labels, fields)
        alone = Header(row + 1, row + 1, tuple(lower), tuple(field_of(label) for label in lower))
        # A second line counts as header only if both together name more than either does alone: a title is no header.
        if (
            double.known > max(found[0].known, alone.known)
            and not _tells_facts(upper)
            and sum(bool(field_of(cell.text)) for cell in below) >= 1
        ):
            found.append(double)
        elif _tells_units(found[0], lower) or _tells_parts(found[0], double, sheet):
            told = found[0].fields if _tells_units(found[0], lower) else fields
            found.append(Header(row, row + 1, labels, told))
    return found


def _tells_parts(upper: Header, double: Header, sheet: Sheet) -> bool:
    """Whether the line below a header parts its columns: words such as min and max under a label that spans them."""
    below = sheet.filled(upper.bottom + 1)
    words = [cell.text for cell in below]
    parted = [cell for cell in below if cell.column <= len(upper.labels) and not upper.labels[cell.column - 1]]
    return (
        (len(below) >= 3 or (len(below) == 2 and all(_AN_END.fullmatch(plain_heading(word)) for word in words)))
        and upper.known >= 2
        and bool(parted)
        and double.known >= upper.known
        and not any(any(sign.isdigit() for sign in word) or len(word) > 20 for word in words)
    )


def _tells_facts(upper: Sequence[str]) -> bool:
    """Whether a row says something of this one delivery: a number of three digits or more, a label with its value."""
    return any(re.search(r"\d{3}|:\s*\S", text) for text in upper)


def _tells_units(header: Header, lower: Sequence[str]) -> bool:
    """Whether the line below a header only says in what its columns are given: a unit under a size, and no figure."""
    sizes = [under for field, under in zip(header.fields, lower, strict=True) if field == "size" and under.strip()]
    bare = [under.strip(" ()[].").lower() for under in sizes]
    return (
        bool(bare)
        and all(word and length_unit_in(word) == word for word in bare)
        and not any(char.isdigit() for under in lower for char in under)
    )


def _spread(sheet: Sheet, row: int) -> list[str]:
    """Upper labels carried over the columns they are merged across; in a CSV, over the blanks to their right."""
    merged: dict[int, str] = {}
    for merge in sheet.merges:
        if merge.top <= row <= merge.bottom:
            text = sheet.cell(merge.top, merge.left).text
            merged.update(dict.fromkeys(range(merge.left, min(merge.right, sheet.width) + 1), text))
    labels, last = [], ""
    for cell in sheet.cells(row):
        here = cell.text or merged.get(cell.column, "")
        if here:
            last = here
        labels.append(here or ("" if sheet.merges else last if sheet.cell(row + 1, cell.column).text else ""))
    return labels


def _pair_field(above: str, under: str) -> str:
    whole = f"{above} {under}".strip()
    if NOT_WANTED.search(plain_heading(whole)):
        return ""
    return field_of(whole) or field_of(under) or field_of(above)


def propose(sheet: Sheet, header: Header) -> Proposal:
    """A column map with, for each column, why it was taken and three sample values."""
    chosen: dict[str, Column] = {}
    doubts: list[str] = []
    for field in FIELDS:
        rivals = _rivals(sheet, header, field)
        if not rivals:
            continue
        chosen[field] = _column(sheet, header, field, rivals[0], "heading")
        if len(rivals) > 1 and field not in ("name", "common_name", "note", "line", "count", "bags"):
            both = ", ".join(f"{column_letters(rival)} {quoted(header.labels[rival - 1])}" for rival in rivals)
            doubts.append(f"{FIELDS[field]}: {both} both fit")
    for field, column in _by_words(sheet, header, chosen).items():
        chosen[field] = column
        if field in ("unit_price", "count") and _mostly_numbers(sheet, header, column.column):
            continue
        if field == "packed" and all(
            moment_of(sheet.cell(row, column.column), "ymd") for row in _few_rows(sheet, header, column)
        ):
            continue
        doubts.append(f"{FIELDS[field]}: {column_letters(column.column)} {quoted(column.label)} fits in part")
    if "name" not in chosen and "common_name" in chosen:
        chosen["name"] = chosen.pop("common_name").model_copy(update={"field": "name"})
    if "count" in chosen and not _mostly_numbers(sheet, header, chosen["count"].column):
        doubts.append(f"{FIELDS['count']}: few numbers in column {column_letters(chosen['count'].column)}")
    columns = tuple(chosen[field] for field in FIELDS if field in chosen)
    found = ColumnMap(fingerprint=header.fingerprint, labels=header.labels, columns=columns, headed=header.written)
    return Proposal(found, tuple(doubts))


def _rivals(sheet: Sheet, header: Header, field: str) -> list[int]:
    """Columns whose heading names a field, the plainest heading first."""
    rivals = [position for position, each in enumerate(header.fields, start=1) if each == field]
    rivals.sort(key=lambda position: _preference(field, header.labels[position - 1]))
    if len(rivals) > 1 and field == "boxes":
        rivals = [each for each in rivals if role_of(header.labels[each - 1]) != "box_count"] or rivals
    if field == "packed":
        rivals = [each for each in rivals if not _holds_counts(sheet, header, each)]
    elif field == "count":
        packed = [place for place, each in enumerate(header.fields, start=1) if each == "packed"]
        rivals += [each for each in packed if _holds_counts(sheet, header, each)]
    return rivals


def _preference(field: str, label: str) -> int:
    headings = HEADINGS[field]
    plain = plain_heading(label)
    return headings.index(plain) if plain in headings else len(headings)


def _by_words(sheet: Sheet, header: Header, chosen: Mapping[str, Column]) -> dict[str, Column]:
    """Columns whose heading holds a known one among other words, for fields that matter and are still missing."""
    taken = {column.column for column in chosen.values()}
    found: dict[str, Column] = {}
    wanted = [field for field in ("name", "count", "size", "unit_price", "boxes", "packed") if field not in chosen]
    if "common_name" in chosen:
        wanted = [field for field in wanted if field != "name"]
    for field in wanted:
        for position, label in enumerate(header.labels, start=1):
            words = set(plain_heading(label).split())
            if (
                position in taken
                or header.fields[position - 1]
                or role_of(label)
                or NOT_WANTED.search(plain_heading(label))
            ):
                continue
            part = next((h for h in HEADINGS[field] if (len(h) > 3 or h in _SHORT) and set(h.split()) <= words), "")
            if part:
                found[field] = _column(sheet, header, field, position, f"{quoted(part)} in the heading")
                taken.add(position)
                break
    return found


def _holds_counts(sheet: Sheet, header: Header, position: int) -> bool:
    """Whether a column holds small whole numbers: 'packed' over them says how many, not when."""
    rows = range(header.bottom + 1, min(len(sheet.rows), header.bottom + 200) + 1)
    told = [count_in(cell, ".") for row in rows if (cell := sheet.cell(row, position)).value is not None]
    whole = [each for each in told if each is not None and each.animals < _SERIAL and each.animals % 1 == 0]
    return bool(told) and len(whole) * 2 >= len(told)


def _few_rows(sheet: Sheet, header: Header, column: Column) -> list[int]:
    rows = range(header.bottom + 1, min(len(sheet.rows), header.bottom + 40) + 1)
    return [row for row in rows if sheet.cell(row, column.column).value is not None]


def _column(sheet: Sheet, header: Header, field: str, position: int, why: str) -> Column:
    label = header.labels[position - 1] if position <= len(header.labels) else ""
    return Column(field=field, column=position, label=label, why=why, samples=samples(sheet, header, position))


def samples(sheet: Sheet, header: Header, position: int) -> tuple[str, ...]:
    """Up to three different values below a heading."""
    texts: dict[str, None] = {}
    for row in range(header.bottom + 1, min(len(sheet.rows), header.bottom + 200) + 1):
        text = sheet.cell(row, position).text
        if text:
            texts[text[:40]] = None
        if len(texts) == _SAMPLES:
            break
    return tuple(texts)


def _mostly_numbers(sheet: Sheet, header: Header, position: int) -> bool:
    cells: list[Cell] = []
    for row in range(header.bottom + 1, min(len(sheet.rows), header.bottom + 200) + 1):
        cell = sheet.cell(row, position)
        if cell.value is not None:
            cells.append(cell)
    return not cells or sum(bool(readings_of(cell)) or count_in(cell, ".") is not None for cell in cells) * 2 >= len(
        cells
    )


def apply(sheet: Sheet, header: Header, remembered: ColumnMap) -> ColumnMap | None:
    """The remembered map laid over a sheet with fresh samples; ``None`` when the header has changed."""
    if remembered.fingerprint != header.fingerprint:
        return None
    columns = tuple(
        _column(sheet, header, each.field, each.column, "remembered for this supplier") for each in remembered.columns
    )
    return remembered.model_copy(update={"columns": columns})


def overridden(sheet: Sheet, header: Header, proposed: ColumnMap, text: str) -> ColumnMap:
    """A map with the user's own words laid over it.

    Parameters
    ----------
    text
        ``name=B,count=Qty,note=-``: field = column letter, or heading, or ``-`` for none.

    Raises
    ------
    BadInput
        A part without ``=``.
    UnknownName
        A field or a column that does not exist; the closest are offered.
    """
    chosen = {each.field: each for each in proposed.columns}
    for part in filter(None, map(str.strip, re.split(r"[,\n]", text))):
        field, equals, target = (piece.strip() for piece in part.partition("="))
        field = field.lower().replace(" ", "_")
        if field == "header":
            continue
        if not equals or not target:
            raise BadInput(Finding("--columns", part, "FIELD=COLUMN, such as name=B or count=Qty"))
        if field not in FIELDS:
            raise UnknownName("--columns", field, sorted(FIELDS), "field")
        if target == "-":
            chosen.pop(field, None)
            continue
        chosen[field] = _column(sheet, header, field, _target(header, sheet, target), "named by the user")
    return proposed.model_copy(update={"columns": tuple(chosen[field] for field in FIELDS if field in chosen)})


def header_row_in(text: str) -> int | None:
    """The row named by ``header=ROW`` in a column override, 0 for a list without one; ``None`` when none is named."""
    found = re.search(r"(?:^|[,\n])\s*header\s*=\s*(\d{1,6})\s*(?:$|[,\n])", text, re.ASCII)
    return int(found[1]) if found else None


def _target(header: Header, sheet: Sheet, target: str) -> int:
    alike = [n for n, label in enumerate(header.labels, start=1) if plain_heading(label) == plain_heading(target)]
    if len(alike) == 1:
        return alike[0]
    letters = column_number(target)
    if 1 <= letters <= sheet.width:
        return letters
    raise UnknownName("--columns", target, [label for label in header.labels if label], "column")
