"""Every filled row and column accounted for: taken as animals, named for what it is, or asked; nothing drops in silence."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import accumulate, pairwise

from intake.errors import Finding, quoted
from intake.library.names import Names
from intake.packing.asking import Inquiry, Question, slug
from intake.packing.columns import ColumnMap, Header
from intake.packing.counts import count_in
from intake.packing.fields import NEEDLESS, field_of, plain_heading, role_of
from intake.packing.figures import DecimalMark, number_of
from intake.packing.grid import Cell, Sheet, column_letters
from intake.packing.list_names import Match, match
from intake.packing.row_words import not_sent_word, waybill_in
from intake.packing.rows import Row
from intake.packing.table_blocks import knows

__all__ = ["Account", "accounted"]

_WEIGHT = re.compile(r"(?:^|\d)\s*(kgs?|kilos?|g|grams?|lbs?|pounds?)\.?$", re.IGNORECASE)
_NAMES = {
    "sum": ("subtotal or total", "subtotals and totals"),
    "money": ("total of money", "totals of money"),
    "goods": ("row of goods that are no animals", "rows of goods that are no animals"),
    "heading": ("section heading", "section headings"),
    "section": ("section heading", "section headings"),
    "header": ("header", "headers"),
    "waybill": ("title", "titles"),
    "title": ("title", "titles"),
    "remark": ("remark", "remarks"),
    "not sent": ("line not shipped", "lines not shipped"),
    "loose": ("row of loose figures", "rows of loose figures"),
    "left": ("row left out on your word", "rows left out on your word"),
}


@dataclass(slots=True)
class Account:
    """Lines found, what sections say of them, and how many rows were taken for what."""

    lines: list[Row] = field(default_factory=list)
    sections: dict[int, dict[str, Cell]] = field(default_factory=dict)
    kinds: Counter[str] = field(default_factory=Counter)
    texts: list[int] = field(default_factory=list)
    """Rows of titles, remarks and totals, in which totals may be stated in words."""
    goods: list[int] = field(default_factory=list)

    def told(self, titles: int) -> str:
        """How many of the filled rows are what."""
        kinds = Counter(self.kinds)
        kinds["title"] += titles
        whole = sum(kinds.values())
        parts = []
        for name, number in sorted(kinds.items(), key=lambda each: (each[0] != "line", -each[1])):
            if number and name == "line":
                parts.append(f"{number:,} animal line{'s' if number != 1 else ''}")
            elif number:
                parts.append(f"{number:,} {_NAMES[name][number != 1]}")
        return f"{whole:,} of {whole:,} rows: {', '.join(parts)}"


def accounted(
    rows: Sequence[Row], facts: tuple[Sheet, Header, ColumnMap, DecimalMark], names: Names, inquiry: Inquiry
) -> Account:
    """Sort the rows out, and ask for each kind of row that stays open, once for all like rows."""
    sheet, header, _, _ = facts
    account = Account()
    carried: dict[str, Cell] = {}
    first = next(
        (found for row in range(1, header.top) for cell in sheet.filled(row) if (found := waybill_in(cell.text))), ""
    )
    left_out = False
    for place, row in enumerate(rows):
        if row.kind == "waybill":
            first = first or row.why
            left_out = row.why != first and _another_shipment(sheet, row, inquiry)
        if left_out:
            account.kinds["left"] += 1
            continue
        if row.kind == "section":
            for name, text in row.says.items():
                carried[name] = Cell(row.number, 1, text, text, sheet.place(row.number))
        if row.kind == "heading":
            carried.pop("name", None), carried.pop("genus", None)
            if _heads_the_nameless(rows[place + 1 :], facts):
                carried["name"] = Cell(row.number, 1, row.text, row.text, sheet.place(row.number))
            elif not _is_heading(row, rows[place + 1 :], facts, names, inquiry):
                row = _as_line(row)
            elif (genus := names.genus(row.text)) is not None:
                carried["genus"] = Cell(row.number, 1, genus.accepted, genus.accepted, sheet.place(row.number))
        _take(account, row, facts, carried, inquiry)
    _note(rows, sheet, facts[2], inquiry)
    return account


def _as_line(row: Row) -> Row:
    return Row(row.number, "line", text=row.text)


def _take(
    account: Account,
    row: Row,
    facts: tuple[Sheet, Header, ColumnMap, DecimalMark],
    carried: Mapping[str, Cell],
    inquiry: Inquiry,
) -> None:
    sheet, _, columns, _ = facts
    kind: str = row.kind
    if kind == "line" and _by_weight(sheet, columns, row):
        kind = "goods"
    if kind == "unsure":
        kind = "line" if _line_after_all(row, sheet, inquiry) else "sum"
    if kind == "line" and not _was_sent(row, sheet, columns, inquiry):
        kind = "not sent"
    elif kind == "not sent":
        _zero(row, facts, inquiry)
    elif kind == "loose":
        kind = _loose(row, facts, inquiry)
    if kind == "line":
        account.lines.append(row)
        if carried:
            account.sections[row.number] = {name: cell for name, cell in carried.items() if name != "stated"}
    elif kind == "goods":
        account.goods.append(row.number)
    else:
        account.texts.append(row.number)
    account.kinds[kind] += 1


def _by_weight(sheet: Sheet, columns: ColumnMap, row: Row) -> bool:
    """Whether a line is sold by weight, as rock and salt are."""
    texts = [sheet.cell(row.number, column).text for name in ("measure", "count") if (column := columns.column(name))]
    return any(_WEIGHT.search(text) for text in texts)


def _note(rows: Iterable[Row], sheet: Sheet, columns: ColumnMap, inquiry: Inquiry) -> None:
    for row in rows:
        where = sheet.place(row.number)
        if row.kind == "sum":
            inquiry.note(f"{where} is a sum of {row.stated} animals: {row.why}")
        elif row.kind == "line" and _by_weight(sheet, columns, row):
            inquiry.note(f"{where} is sold by weight and is no animal")
        elif row.kind == "goods":
            inquiry.note(f"{where} {quoted(row.text[:40])} is no animal: {row.why}")
        elif row.kind not in ("unsure", "line", "section", "loose", "not sent"):
            inquiry.note(f"{where} left out, {_NAMES.get(row.kind, (row.kind,))[0]}: {row.why}")


def _another_shipment(sheet: Sheet, row: Row, inquiry: Inquiry) -> bool:
    where = sheet.place(row.number)
    what = "A title names another waybill. Are the lines below it of this shipment?"
    answer = inquiry.ask_alike(
        Question("another-shipment", what, ("this-shipment", "another-shipment"), where=where),
        f"{where}: {row.text[:60]}",
    )
    return answer == "another-shipment"


def _line_after_all(row: Row, sheet: Sheet, inquiry: Inquiry) -> bool:
    where = sheet.place(row.number)
    off = (row.stated or Decimal(0)) - (row.summed or Decimal(0))
    case = f"{where} ({quoted(row.why)}) states {row.stated} animals, the lines above add up to {row.summed} ({off:+f})"
    question = Question("totals", "A total does not fit:", ("trust-the-lines", "line-of-animals"), where=where)
    return inquiry.ask_alike(question, case) == "line-of-animals"


def _was_sent(row: Row, sheet: Sheet, columns: ColumnMap, inquiry: Inquiry) -> bool:
    """Whether a line was sent; hidden, struck-out and cancelled ones are asked, all like rows at once."""
    where = sheet.place(row.number)
    name = columns.column("name")
    doubts: list[tuple[str, str]] = []
    if row.number in sheet.hidden:
        doubts.append(("hidden-rows", "Rows with animals are hidden. Were these animals shipped?"))
    if row.number in sheet.struck:
        doubts.append(("struck-rows", "Rows with animals are struck out. Were these animals shipped?"))
    for cell in sheet.filled(row.number):
        word = not_sent_word(cell.text) if cell.kind == "text" and cell.column != name else ""
        if word:
            doubts.append((f"says:{slug(word)}", f"Rows say {quoted(word)}. Were these animals shipped?"))
            break
    shown = " ".join(cell.text for cell in sheet.filled(row.number))[:60]
    for key, what in doubts:
        if (
            inquiry.ask_alike(Question(key, what, ("shipped", "not-shipped"), where=where), f"{where}: {shown}")
            == "not-shipped"
        ):
            return False
    return True


def _zero(row: Row, facts: tuple[Sheet, Header, ColumnMap, DecimalMark], inquiry: Inquiry) -> None:
    """A line of none: plain where the list also says what was ordered, otherwise asked once."""
    sheet, header, columns, _ = facts
    label = plain_heading(columns.label("count"))
    ordered = any(role_of(each) == "ordered" for each in header.labels)
    if ordered or any(word in label.split() for word in ("packed", "shipped", "sent", "delivered", "actual")):
        inquiry.note(f"{sheet.place(row.number)} {quoted(row.text[:40])} was not shipped: {quoted(row.why)}")
        return
    where = sheet.place(row.number)
    question = Question(
        "zero-counts", "Lines have a count of none. Were they not shipped?", ("not-shipped",), where=where
    )
    inquiry.ask_alike(question, f"{where} {quoted(row.text[:40])}: {quoted(row.why)}")


_UNDECIDED = frozenset({"columns", "count-missing"})


def _loose(row: Row, facts: tuple[Sheet, Header, ColumnMap, DecimalMark], inquiry: Inquiry) -> str:
    """Figures without a name: a sum of their columns, or asked."""
    sheet, header, _, mark = facts
    cells = [cell for cell in sheet.filled(row.number) if number_of(cell, mark) is not None]
    if cells and all(_sums(sheet, header, cell, mark) for cell in cells):
        inquiry.note(f"{sheet.place(row.number)} holds sums of its columns")
        return "money"
    if _UNDECIDED & inquiry.open.keys():  # which columns name and count is asked first: these may be animals yet
        return "loose"
    where = sheet.place(row.number)
    shown = ", ".join(f"{cell.address} {cell.text[:30]}" for cell in sheet.filled(row.number))
    question = Question(
        "loose-rows", "Rows hold figures but no name and no count. Are they no animals?", ("no-animals",), where=where
    )
    inquiry.ask_alike(question, f"{where}: {shown}")
    return "loose"


def _sums(sheet: Sheet, header: Header, cell: Cell, mark: DecimalMark) -> bool:
    above = [number_of(sheet.cell(row, cell.column), mark) for row in range(header.bottom + 1, cell.row)]
    numbers = [number for number in above if number is not None]
    return len(numbers) > 1 and sum(numbers, Decimal(0)) == number_of(cell, mark)


def _is_heading(
    row: Row,
    below: Sequence[Row],
    facts: tuple[Sheet, Header, ColumnMap, DecimalMark],
    names: Names,
    inquiry: Inquiry,
) -> bool:
    """Whether a name alone in its row heads a section; one that could be a line without its count is asked."""
    sheet, _, columns, _ = facts
    found = names.exact(row.text)
    if not found and not knows(row.text, names):
        return True
    following = next((each for each in below if each.kind != "remark"), None)
    if found and found[0].rank != "species" and following is not None and following.kind == "line":
        other = match(sheet.cell(following.number, columns.column("name")).text, names)
        taxon = other.taxon if isinstance(other, Match) else None
        if taxon is not None and (taxon.genus == found[0].genus or _kind(taxon.group) == _kind(found[0].group)):
            return True
    where = sheet.place(row.number)
    what = "Names stand alone in their rows. Headings, or lines of animals?"
    question = Question("name-alone", what, ("headings", "lines"), where=where)
    return inquiry.ask_alike(question, f"{where}: {quoted(row.text[:50])}") != "lines"


def _heads_the_nameless(below: Sequence[Row], facts: tuple[Sheet, Header, ColumnMap, DecimalMark]) -> bool:
    """Whether a name alone in its row is followed by a line without a name: it is the name of what stands below."""
    sheet, _, columns, _ = facts
    following = below[0] if below else None
    named = [column for column in (columns.column("name"), columns.column("common_name")) if column]
    return (
        following is not None
        and following.kind == "line"
        and not any(sheet.cell(following.number, column).text for column in named)
    )


def _kind(group: str) -> str:
    return group.split("_")[0]


def unread_columns(
    facts: tuple[Sheet, Header, ColumnMap, DecimalMark],
    rows: Sequence[Row],
    read: frozenset[int],
    settled: bool,
    inquiry: Inquiry,
) -> None:
    """Columns left out: listed, and asked where they hold numbers that nothing proves to be needless.

    ``settled``: the figures prove the count, or the supplier's columns are remembered.
    """
    sheet, header, columns, mark = facts
    taken = {each.column for each in columns.columns} | read
    asked = []
    for column in range(1, sheet.width + 1):
        if column in taken:
            continue
        cells = [cell for row in rows[:300] if (cell := sheet.cell(row.number, column)).value is not None]
        if not cells:
            continue
        label = header.labels[column - 1] if column <= len(header.labels) else ""
        named = f" {quoted(label, 40)}" if label else ""
        shown = f"column {column_letters(column)}{named}: {', '.join(cell.text[:20] for cell in cells[:3])}"
        inquiry.note(f"not read: {shown}")
        known = (
            bool(role_of(label))
            or field_of(label) == "count"
            or (bool(label) and plain_heading(label) in NEEDLESS)
            or _counts_rows(cells, mark)
            or _adds_up(sheet, columns, rows, column, mark)
        )
        numeric = sum(count_in(cell, mark) is not None for cell in cells) * 2 >= len(cells)
        if numeric and not known and not settled:
            asked.append(shown)
    if inquiry.open.keys() & {"columns", "count-missing"}:
        return  # which columns are read is not known yet
    for shown in asked:
        question = Question("unread-columns", "Columns of figures are not read. Are they not needed?", ("not-needed",))
        inquiry.ask_alike(question, shown)


def _counts_rows(cells: Sequence[Cell], mark: DecimalMark) -> bool:
    numbers = [number_of(cell, mark) for cell in cells]
    return len(numbers) > 2 and all(
        one is not None and two is not None and two - one == 1 for one, two in pairwise(numbers)
    )


def _adds_up(sheet: Sheet, columns: ColumnMap, rows: Sequence[Row], column: int, mark: DecimalMark) -> bool:
    """Whether a column holds sums of the count: running, or of the lines of a box beside its first or last one."""
    count = columns.column("count")
    if not count:
        return False
    lines = [row.number for row in rows if row.kind == "line"]
    counted = [number_of(sheet.cell(row, count), mark) or Decimal(0) for row in lines]
    told = [number_of(sheet.cell(row, column), mark) for row in lines]
    filled = [at for at, value in enumerate(told) if value is not None]
    if told == counted:
        return True  # the count once more
    if len(lines) < 3 or not filled:
        return False
    if len(filled) == len(lines):
        return told == list(accumulate(counted))
    starts, ends = [*filled, len(lines)], [-1, *filled]
    first = filled[0] == 0 and all(told[low] == sum(counted[low:high]) for low, high in pairwise(starts))
    last = filled[-1] == len(lines) - 1 and all(
        told[high] == sum(counted[low + 1 : high + 1]) for low, high in pairwise(ends)
    )
    return first or last


def unsaved_refused(sheet: Sheet, header: Header, inquiry: Inquiry) -> None:
    """Formulas whose result was never saved: each is refused by its cell, since what it counts cannot be known."""
    for row, column in sorted(sheet.unsaved)[:50]:
        if row > header.bottom:
            cell = sheet.cell(row, column)
            words = "Open it in the spreadsheet program, save it, and read it again."
            inquiry.fault(Finding(cell.address, "a formula without a saved result", "a value", words))
    if sheet.unsaved:
        inquiry.note(f"{len(sheet.unsaved)} formulas have no saved result")


def other_sheets(sheets: Sequence[Sheet], names: Names, inquiry: Inquiry) -> int:
    """Sheets without a table: listed; one that names animals is asked about. Gives how many rows they hold."""
    whole = 0
    for sheet in sheets:
        filled = [row for row in sheet.numbers() if sheet.filled(row)]
        whole += len(filled)
        animals = any(
            knows(cell.text, names) for row in filled[:400] for cell in sheet.filled(row) if cell.kind == "text"
        )
        if animals:
            question = Question(
                "other-sheets", "Sheets name animals but hold no table. Are they not needed?", ("not-needed",)
            )
            inquiry.ask_alike(question, sheet.name)
        else:
            inquiry.note(f"sheet {quoted(sheet.name)} holds no table and was left out: {len(filled)} rows")
    return whole
