"""One row of the table to one line of animals, with every doubt asked and every fault named by its cell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from intake.errors import BadInput, Finding
from intake.library import Library
from intake.library.names import Names, Taxon
from intake.packing.arithmetic import amount_agrees
from intake.packing.asking import Inquiry, Question, slug
from intake.packing.columns import ColumnMap
from intake.packing.figures import DateOrder, DecimalMark, boxes_of, number_of, readings_of
from intake.packing.grid import Cell, Sheet
from intake.packing.moments import packed_at
from intake.packing.money import Purse
from intake.packing.names import Match, Open, answered, match, set_on_rock
from intake.packing.sizes import SizeReading, size_of

__all__ = ["Line", "Reader", "read_line"]

MOST_ANIMALS = 1_000_000
SOURCE_CODES = {
    "W": "wild",
    "R": "ranched",
    "F": "born in captivity",
    "C": "bred in captivity",
    "D": "registered operation or propagated",
    "A": "propagated plant",
    "X": "marine area beyond national control",
    "I": "confiscated",
    "O": "before the convention",
    "U": "unknown",
}
"""Source codes of trade permits (the air-cargo data model that mirrors the permit form; letters only)."""
_SAME_AS_ABOVE = ("name", "common_name", "boxes")
_FILLED_IN_MERGES = frozenset(
    {
        "name",
        "common_name",
        "size",
        "boxes",
        "bags",
        "unit_price",
        "currency",
        "origin",
        "source_code",
        "permit",
        "listing",
        "packed",
    }
)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the packing list.

    Attributes
    ----------
    number
        Counted from 1 in the order of the list.
    row, sheet
        Where it stands.
    written, common_written
        Name and common name as written.
    name, group
        Name for the ledger and husbandry group; the group is empty while name or size is open.
    size_min_mm, size_max_mm
        Size class in mm; 0 while it is open.
    count
        Animals; 0 while it is open.
    raw
        Address → text of every filled cell of the row, kept for claims.
    how
        How the name was settled.
    """

    number: int
    row: int
    sheet: str
    written: str
    name: str
    group: str
    size_min_mm: float
    size_max_mm: float
    count: int
    boxes: tuple[str, ...] = ()
    bags: str = ""
    unit_price: Decimal | None = None
    currency: str = ""
    origin: str = ""
    source_code: str = ""
    permit: str = ""
    listing: str = ""
    packed_at: datetime | None = None
    note: str = ""
    common_written: str = ""
    how: str = ""
    raw: Mapping[str, str] = field(default_factory=dict)

    def as_dict(self) -> dict[str, object]:
        """The line as plain data, for ``--json``; money as text, moments in ISO form."""
        return {
            "line": self.number,
            "row": self.row,
            "sheet": self.sheet,
            "written": self.written,
            "common_written": self.common_written,
            "name": self.name,
            "group": self.group,
            "size_min_mm": self.size_min_mm,
            "size_max_mm": self.size_max_mm,
            "count": self.count,
            "boxes": list(self.boxes),
            "bags": self.bags,
            "unit_price": None if self.unit_price is None else str(self.unit_price),
            "currency": self.currency,
            "origin": self.origin,
            "source_code": self.source_code,
            "permit": self.permit,
            "listing": self.listing,
            "packed_at": self.packed_at.isoformat() if self.packed_at else None,
            "note": self.note,
            "how": self.how,
            "raw": dict(self.raw),
        }


@dataclass(slots=True)
class Reader:
    """Everything that is the same for all lines of one list, and the cells carried from the line before."""

    sheet: Sheet
    columns: ColumnMap
    mark: DecimalMark
    names: Names
    library: Library
    inquiry: Inquiry
    sizes: SizeReading
    purse: Purse
    order: DateOrder | None
    exchanged: bool
    zone: str
    lands: datetime
    general: Mapping[str, Cell] = field(default_factory=dict)
    covered: Mapping[tuple[int, int], tuple[int, int]] = field(default_factory=dict)
    above: dict[str, Cell] = field(default_factory=dict)
    settled: dict[str, Match | Open] = field(default_factory=dict)

    def cell(self, row: int, name: str) -> Cell:
        """The cell of a field, filled within its merge, from the title rows, or from above when the user said so."""
        cell = self.own(row, name)
        if cell.value is not None:
            return cell
        if name in self.general:
            return self.general[name]
        if name in _SAME_AS_ABOVE and self.columns.column(name) and name in self.above:
            return self._same_as_above(cell, name)
        return cell

    def own(self, row: int, name: str) -> Cell:
        """The cell of a field in this row, or the one its merge shows."""
        column = self.columns.column(name)
        if not column:
            return Cell(row, 1)
        cell = self.sheet.cell(row, column)
        if cell.value is None and name in _FILLED_IN_MERGES and (row, column) in self.covered:
            shown = self.sheet.cell(*self.covered[row, column])
            return Cell(row, column, shown.text, shown.value)
        return cell

    def _same_as_above(self, cell: Cell, name: str) -> Cell:
        if name == "common_name" or (name == "name" and self.own(cell.row, "common_name").value is not None):
            return cell
        above = self.above[name]
        leave = "mend-the-list" if name == "name" else "unknown"
        answer = self.inquiry.ask(
            Question(
                f"empty-{name.replace('_', '-')}",
                f"{cell.address} is empty below {above.text!r} and not merged with it. Empty cells in this "
                "column mean:",
                ("same-as-above", leave),
                where=cell.address,
            )
        )
        return Cell(cell.row, cell.column, above.text, above.value) if answer == "same-as-above" else cell


def read_line(reader: Reader, row: int, number: int) -> Line:
    """Read one row; what is open or wrong goes to the reader's inquiry."""
    written, common = reader.cell(row, "name"), reader.cell(row, "common_name")
    for name in _SAME_AS_ABOVE:
        own = reader.own(row, name)
        if own.value is not None:
            reader.above[name] = own
    text, beside = (written.text, common.text) if written.text else (common.text, "")
    size, found = _size_and_name(reader, row, text, beside)
    count = _count(reader, reader.cell(row, "count"))
    price, currency = _price(reader, row, count)
    note = reader.cell(row, "note").text
    when = reader.cell(row, "packed")
    return Line(
        number=number,
        row=row,
        sheet=reader.sheet.name,
        written=text,
        common_written=beside,
        name=found.name if found else text,
        group=_group(found, size, set_on_rock(text, beside, note)),
        how=found.why if found else "",
        size_min_mm=size[0] if size else 0.0,
        size_max_mm=size[1] if size else 0.0,
        count=count,
        boxes=_boxes(reader, reader.cell(row, "boxes")),
        bags=reader.cell(row, "bags").text,
        unit_price=price,
        currency=currency,
        origin=reader.cell(row, "origin").text,
        source_code=_source_code(reader, reader.cell(row, "source_code")),
        permit=reader.cell(row, "permit").text,
        listing=reader.cell(row, "listing").text,
        packed_at=packed_at(when, reader.order, reader.zone, reader.lands, reader.inquiry, exchanged=reader.exchanged),
        note=note,
        raw={cell.address: cell.text for cell in reader.sheet.filled(row)},
    )


def _size_and_name(reader: Reader, row: int, text: str, beside: str) -> tuple[tuple[float, float] | None, Match | None]:
    if text:
        return size_of(reader.cell(row, "size"), text, reader.sizes), _name(reader, text, beside, row)
    if "empty-name" not in reader.inquiry.open:
        address = Cell(row, reader.columns.column("name") or 1).address
        reader.inquiry.fault(Finding(f"row {row}, {address}", "", "the name of the animal"))
    return None, None


def _group(found: Match | None, size: tuple[float, float] | None, on_rock: bool) -> str:
    if found is None:
        return ""
    if found.group or found.taxon is None:
        return found.group
    return found.taxon.group_for(size[1] if size else None, on_rock)


def _name(reader: Reader, written: str, common: str, row: int) -> Match | None:
    inquiry = reader.inquiry
    if inquiry.full:
        return None
    found = reader.settled.get(written) or match(written, reader.names)
    reader.settled[written] = found
    key = f"name:{slug(written)}"
    closest: tuple[str, ...]
    if isinstance(found, Match):
        other = reader.names.exact(common) if common else ()
        clash = found.taxon is not None and len(other) == 1 and _differ(found.taxon, other[0])
        if not clash:
            if not found.exact or found.why != "as written":
                inquiry.note(f"{written!r} is {found.name}: {found.why}")
            return found
        key = f"name:{slug(f'{written} {common}')}"
        what = f"row {row}: {written!r} and {common!r} are different animals"
        closest = (found.name, other[0].accepted)
    else:
        what = f"row {row}: {written!r} is {found.why}"
        closest = found.closest
    answer = inquiry.ask(
        Question(key, what, closest, "another known name, a husbandry group, or NAME / GROUP", f"row {row}")
    )
    if not answer:
        return None
    settled = answered(answer, written, reader.names, reader.library)
    if settled is None:
        inquiry.fault(
            Finding(
                f"--answer {key}",
                answer,
                "a name of the list of names, a husbandry group, or NAME / GROUP",
                f"Groups are {', '.join(sorted(reader.library.groups))}.",
            )
        )
    else:
        inquiry.note(f"{written!r} is {settled.name}: {settled.why}")
    return settled


def _differ(one: Taxon, other: Taxon) -> bool:
    both_species = one.rank == other.rank == "species"
    return one.genus != other.genus or (both_species and one != other)


def _count(reader: Reader, cell: Cell) -> int:
    expected = f"a whole number of animals from 1 to {MOST_ANIMALS:,}"
    number = number_of(cell, reader.mark)
    if number is None:
        reader.inquiry.fault(Finding(f"row {cell.row}, {cell.address}, count", cell.text, expected))
        return 0
    if number != number.to_integral_value() or not 1 <= number <= MOST_ANIMALS:
        undecided = "numbers" in reader.inquiry.open and len(readings_of(cell)) == 2 and cell.kind == "text"
        if not undecided:
            reader.inquiry.fault(Finding(f"row {cell.row}, {cell.address}, count", cell.text, expected))
        return 0
    return int(number)


def _price(reader: Reader, row: int, count: int) -> tuple[Decimal | None, str]:
    cell, amount_cell = reader.cell(row, "unit_price"), reader.cell(row, "amount")
    inquiry = reader.inquiry
    price, amount = number_of(cell, reader.mark), number_of(amount_cell, reader.mark)
    for what, each, value in (("unit price", cell, price), ("amount", amount_cell, amount)):
        if each.value is not None and (value is None or value < 0):
            inquiry.fault(Finding(f"row {row}, {each.address}, {what}", each.text, "a sum of money, not below zero"))
    if price is None or price < 0:
        return None, ""
    if (
        count
        and amount is not None
        and not amount_agrees(Decimal(count), price, amount)
        and "numbers" not in inquiry.open
    ):
        inquiry.ask(
            Question(
                f"amount:{row}",
                f"row {row}: {count} × {price} is {count * price}, but {amount_cell.address} says {amount}; "
                "keep count and unit price as they are listed?",
                ("as-listed",),
                where=amount_cell.address,
            )
        )
    return price, reader.purse.code(cell, reader.cell(row, "currency"), amount_cell)


def _boxes(reader: Reader, cell: Cell) -> tuple[str, ...]:
    try:
        return boxes_of(cell)
    except BadInput as error:
        for finding in error.findings:
            reader.inquiry.fault(finding)
        return ()


def _source_code(reader: Reader, cell: Cell) -> str:
    text = cell.text.strip(" ().").upper()
    if not text or text in SOURCE_CODES:
        return text
    worded = [code for code, word in SOURCE_CODES.items() if word.upper() == text]
    if worded:
        return worded[0]
    return reader.inquiry.ask(
        Question(
            f"source:{slug(cell.text)}",
            f"{cell.address} says {cell.text!r} as source; the code on the permit is "
            + ", ".join(f"{code} {word}" for code, word in SOURCE_CODES.items()),
            ("W", "R", "F", "C", "D", "A", "X", "I", "O", "U"),
            where=cell.address,
        )
    )
