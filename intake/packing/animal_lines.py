"""One row of the table to one line of animals, with every doubt asked and every fault named by its cell."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from decimal import Decimal
from difflib import SequenceMatcher

from intake.errors import BadInput, Finding, quoted
from intake.library import Library
from intake.library.names import Names, Taxon
from intake.packing.asking import Inquiry, Question, slug
from intake.packing.columns import ColumnMap
from intake.packing.counts import Counted, count_in, measure_of
from intake.packing.figures import DateOrder, DecimalMark, boxes_of, readings_of
from intake.packing.grid import Cell, Sheet
from intake.packing.line import SOURCE_CODES, Line
from intake.packing.list_names import Match, Open, answered, match, set_on_rock
from intake.packing.list_prices import Purse, price_of
from intake.packing.list_tables import ONE_EACH
from intake.packing.moments import packed_at
from intake.packing.sizes import SizeReading, size_of

__all__ = ["Reader", "read_line"]

MOST_ANIMALS = 1_000_000
_BOX_BAG = re.compile(r"\s*([A-Za-z]?\d{1,4})\s*/\s*(\d{1,4}(?:\s*[-–]\s*\d{1,4})?)\s*")
_UNIT_IN_HEADING = re.compile(
    r"\b(?:pairs?|paare?|paires?|pares|dozens?|doz|dutzend|douzaines?|docenas?)\b", re.IGNORECASE
)
NO_ANIMAL = "not-an-animal"
_LIKE = 0.8  # share of like letters from which a genus is a misspelling (common practice)
_KIN = 3  # names of one unknown genus from which they share one question
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
    zone: tzinfo
    lands: datetime
    general: Mapping[str, Cell] = field(default_factory=dict)
    covered: Mapping[tuple[int, int], tuple[int, int]] = field(default_factory=dict)
    above: dict[str, Cell] = field(default_factory=dict)
    settled: dict[str, Match | Open] = field(default_factory=dict)
    sections: Mapping[int, Mapping[str, Cell]] = field(default_factory=dict)
    kin: Mapping[str, int] = field(default_factory=dict)

    def cell(self, row: int, name: str) -> Cell:
        """The cell of a field, filled within its merge, from the title rows, or from above when the user said so."""
        cell = self.own(row, name)
        if cell.value is not None:
            return cell
        if name in self.sections.get(row, {}):
            return self.sections[row][name]
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
                f"{cell.address}: empty below {quoted(above.text)} and not merged with it. What do empty cells in this "
                "column mean?",
                ("same-as-above", leave),
                where=cell.address,
            )
        )
        return Cell(cell.row, cell.column, above.text, above.value) if answer == "same-as-above" else cell


def read_line(reader: Reader, row: int, number: int) -> Line | None:
    """Read one row; what is open or wrong goes to the reader's inquiry; ``None`` for one said to be no animal."""
    written, common = reader.cell(row, "name"), reader.cell(row, "common_name")
    for name in _SAME_AS_ABOVE:
        own = reader.own(row, name)
        if own.value is not None:
            reader.above[name] = own
    text, beside = (written.text, common.text) if written.text else (common.text, "")
    if reader.inquiry.answers.get(f"name:{slug(text)}") == NO_ANIMAL:
        reader.inquiry.note(f"{reader.sheet.place(row)} {quoted(text)} is no animal, on your word")
        return None
    text = _with_genus(reader, row, text)
    size, found = _size_and_name(reader, row, text, beside)
    counted = _count(reader, row)
    count = int(counted.animals) if counted else 0
    price, currency = _price(reader, row, counted)
    boxes, bags = _boxes(reader, row)
    note = reader.cell(row, "note").text
    when = reader.cell(row, "packed")
    return Line(
        number=number,
        row=reader.sheet.origin(row)[1],
        sheet=reader.sheet.origin(row)[0],
        written=text,
        common_written=beside,
        name=found.name if found else text,
        group=_group(found, size, set_on_rock(text, beside, note)),
        how=found.why if found else "",
        size_min_mm=size[0] if size else 0.0,
        size_max_mm=size[1] if size else 0.0,
        count=count,
        boxes=boxes,
        bags=bags,
        unit_price=price,
        currency=currency,
        origin=_origin(reader, row),
        source_code=_source_code(reader, _source_cell(reader, row)),
        permit=reader.cell(row, "permit").text,
        listing=reader.cell(row, "listing").text,
        packed_at=packed_at(when, reader.order, reader.zone, reader.lands, reader.inquiry, exchanged=reader.exchanged),
        note=note,
        raw={cell.address: cell.text for cell in reader.sheet.filled(row)},
    )


def _with_genus(reader: Reader, row: int, text: str) -> str:
    """A species named alone under a heading that names its genus, as both together."""
    heading = reader.sections.get(row, {}).get("genus")
    if heading is None or not text or isinstance(match(text, reader.names), Match):
        return text
    whole = f"{heading.text.capitalize()} {text}"
    return whole if isinstance(match(whole, reader.names), Match) else text


def _size_and_name(reader: Reader, row: int, text: str, beside: str) -> tuple[tuple[float, float] | None, Match | None]:
    if text:
        size = size_of(reader.cell(row, "size"), text, reader.sizes)
        found = _name(reader, text, beside, row)
        return reader.sizes.confirmed(size, reader.cell(row, "size"), found.taxon if found else None), found
    if "empty-name" not in reader.inquiry.open:
        address = Cell(row, reader.columns.column("name") or 1).address
        where = f"{reader.sheet.place(row)}, {address}, name"
        reader.inquiry.fault(Finding(where, "", "the name of the animal"))
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
    key, where = f"name:{slug(written)}", reader.sheet.place(row)
    closest: tuple[str, ...]
    if isinstance(found, Match):
        other = reader.names.exact(common) if common else ()
        clash = found.taxon is not None and len(other) == 1 and _differ(found.taxon, other[0])
        if not clash:
            if not found.exact or found.why != "as written":
                told = "" if written == found.name else f" is {found.name}"
                inquiry.note(f"{quoted(written)}{told}: {found.why}")
            return found
        key = f"name:{slug(f'{written} {common}')}"
        what = f"{where}: {quoted(written)} and {quoted(common)} name different animals, {found.name} and {other[0].accepted}"
        closest = (found.name, other[0].accepted)
    else:
        what = f"{where}: {quoted(written)} is {found.why}"
        closest = found.closest
        kin = written.split()[0].casefold() if written.split() else ""
        if reader.kin.get(kin, 0) >= _KIN and not _misspelt(kin, closest):
            return _of_unknown_genus(reader, written, (kin, where))
    another = "another" if closest else "a"
    free = f"{another} known name, a husbandry group, NAME / GROUP, or {NO_ANIMAL}"
    answer = inquiry.ask(Question(key, what, closest, free, where))
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
        inquiry.note(f"{quoted(written)} is {settled.name}: {settled.why}")
    return settled


def _misspelt(kin: str, closest: tuple[str, ...]) -> bool:
    """Whether a genus no one lists is close to a listed one: then each name is offered its likeness."""
    listed = [name.split()[0].casefold() for name in closest]
    return any(SequenceMatcher(None, kin, genus).ratio() >= _LIKE for genus in listed)


def _of_unknown_genus(reader: Reader, written: str, found: tuple[str, str]) -> Match | None:
    """One question for all names of a genus no one listed: the husbandry group they share."""
    kin, where = found
    key = f"genus:{slug(kin)}"
    what = f"the genus {kin.capitalize()} is not listed; which husbandry group are its animals?"
    question = Question(key, what, (), "a husbandry group", where)
    answer = reader.inquiry.ask_alike(question, f"{where} {quoted(written)}")
    if answer and answer not in reader.library.groups:
        groups = f"Groups are {', '.join(sorted(reader.library.groups))}."
        reader.inquiry.fault(Finding(f"--answer {key}", answer, "a husbandry group", groups))
        return None
    return answered(answer, written, reader.names, reader.library) if answer else None


def _differ(one: Taxon, other: Taxon) -> bool:
    both_species = one.rank == other.rank == "species"
    return one.genus != other.genus or (both_species and one != other)


def _count(reader: Reader, row: int) -> Counted | None:
    """The count of a line; ``None`` while it is wrong or open."""
    if not reader.columns.column("count"):
        return Counted(Decimal(1)) if reader.inquiry.answers.get("count-missing") == ONE_EACH else None
    cell, measure = reader.cell(row, "count"), reader.cell(row, "measure")
    expected = f"a whole number of animals from 1 to {MOST_ANIMALS:,}"
    found = count_in(cell, reader.mark)
    where = f"{reader.sheet.place(row)}, {cell.address}, count"
    if found is None:
        reader.inquiry.fault(Finding(where, cell.text, expected))
        return None
    factor = (
        found.factor
        if found.factor > 1
        else _unit(reader, found.word or measure.text or _measured(reader.columns.label("count")), cell)
    )
    if not factor:
        return None
    found = Counted(found.units, factor)
    if found.factor > 1 or found.units != (count_in(cell, reader.mark) or found).units:
        reader.inquiry.note(f"{cell.address} {quoted(cell.text)}: {found.animals} animals")
    if found.animals != found.animals.to_integral_value() or not 1 <= found.animals <= MOST_ANIMALS:
        undecided = "numbers" in reader.inquiry.open and len(readings_of(cell)) == 2 and cell.kind == "text"
        if not undecided:
            reader.inquiry.fault(Finding(where, cell.text, expected))
        return None
    return found


def _measured(heading: str) -> str:
    """The unit of measure that the heading of the count names: ``Qty (pairs)``."""
    found = _UNIT_IN_HEADING.search(heading)
    return found[0] if found else ""


def _unit(reader: Reader, word: str, cell: Cell) -> int:
    """Animals in one unit of measure; asked for a word no one knows, and 0 while that is open."""
    if not word or measure_of(word):
        return measure_of(word) or 1
    key = f"measure:{slug(word)}"
    what = f"{cell.address}: counts in {quoted(word)}; how many animals are in one?"
    answer = reader.inquiry.ask(Question(key, what, (), "a whole number, such as 1", cell.address))
    if answer and not (answer.isascii() and answer.isdigit() and 0 < int(answer) <= 10_000):
        reader.inquiry.fault(Finding(f"--answer {key}", answer, "a whole number of animals, such as 1"))
        return 0
    return int(answer) if answer else 0


def _price(reader: Reader, row: int, counted: Counted | None) -> tuple[Decimal | None, str]:
    cells = (reader.cell(row, "unit_price"), reader.cell(row, "amount"))
    price = price_of(reader.sheet.place(row), counted, cells, (reader.mark, reader.columns.price_per), reader.inquiry)
    if price is None:
        return None, ""
    return price, reader.purse.code(cells[0], reader.cell(row, "currency"), cells[1])


def _boxes(reader: Reader, row: int) -> tuple[tuple[str, ...], str]:
    """Box numbers and bags; ``1 / 1-8`` is box 1 and bags 1 to 8 where the heading or a person says so."""
    cell, bags = reader.cell(row, "boxes"), reader.cell(row, "bags").text
    slash = _BOX_BAG.fullmatch(cell.text)
    if slash and not bags:
        label = reader.columns.label("boxes").casefold()
        told = "box-and-bag" if "bag" in label or "/" in label else ""
        what = f"{cell.address}: {quoted(cell.text)} may be box {slash[1]}, bags {slash[2]}, or boxes"
        told = told or reader.inquiry.ask(Question("box-slash", what, ("box-and-bag", "boxes"), where=cell.address))
        if told == "box-and-bag":
            return (slash[1],), slash[2]
    try:
        return boxes_of(cell), bags
    except BadInput as error:
        for finding in error.findings:
            reader.inquiry.fault(finding)
        return (), bags


_SOURCE_WORDS = re.compile(
    r"wild|farmed|cultured|aquacultured|maricultured|captive([- ]bred)?|tank[- ]?raised|ranched|mariculture|aquaculture",
    re.IGNORECASE,
)


def _origin(reader: Reader, row: int) -> str:
    """The country of origin; 'wild' and 'farmed' are none."""
    text = reader.cell(row, "origin").text
    return "" if _SOURCE_WORDS.fullmatch(text.strip(" ().")) else text


def _source_cell(reader: Reader, row: int) -> Cell:
    """The cell that gives the source: its own, or the origin where that says wild or farmed."""
    cell, origin = reader.cell(row, "source_code"), reader.cell(row, "origin")
    return origin if cell.value is None and _SOURCE_WORDS.fullmatch(origin.text.strip(" ().")) else cell


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
            f"{cell.address}: {quoted(cell.text)} as source. Which code is on the permit? "
            + ", ".join(f"{code} {word}" for code, word in SOURCE_CODES.items()),
            ("W", "R", "F", "C", "D", "A", "X", "I", "O", "U"),
            where=cell.address,
        )
    )
