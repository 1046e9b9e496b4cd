"""What the lines add up to beside every total the list states: animals, boxes, money; what does not fit is asked."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from intake.packing.account import Account
from intake.packing.asking import Inquiry, Question
from intake.packing.columns import ColumnMap, Header
from intake.packing.figures import DecimalMark, number_of
from intake.packing.grid import Sheet
from intake.packing.line import Line
from intake.packing.rows import Row
from intake.packing.stated import Stated

__all__ = ["duplicates", "reconciled"]

_CENT = Decimal("0.01")


def reconciled(
    lines: Sequence[Line],
    stated: Sequence[Stated],
    found: tuple[Account, Sequence[Row]],
    facts: tuple[Sheet, Header, ColumnMap, DecimalMark],
    inquiry: Inquiry,
) -> None:
    """Compare; each kind of total that does not fit is one question."""
    if inquiry.open or inquiry.problems:
        return  # the sums are not those of the list while something in it is open
    account, rows = found
    animals = Decimal(sum(line.count for line in lines))
    for each in stated:
        if each.kind == "animals":
            _compare(each, animals, {animals}, inquiry)
        elif each.kind == "boxes":
            boxes = {box for line in lines for box in line.boxes}
            if boxes:
                _compare(each, Decimal(len(boxes)), {Decimal(len(boxes))}, inquiry)
    _money(lines, stated, (account, rows), facts, inquiry)


def _compare(each: Stated, here: Decimal, fitting: set[Decimal], inquiry: Inquiry) -> None:
    if each.figure in fitting:
        inquiry.note(f"{each.where} states {each.figure} {each.kind}: the lines agree")
        return
    question = Question(f"stated-{each.kind}", "A stated total does not fit:", ("trust-the-lines",), where=each.where)
    inquiry.ask_alike(question, f"{each.where} states {each.figure} {each.kind}, the lines make {here}")


def _money(
    lines: Sequence[Line],
    stated: Sequence[Stated],
    found: tuple[Account, Sequence[Row]],
    facts: tuple[Sheet, Header, ColumnMap, DecimalMark],
    inquiry: Inquiry,
) -> None:
    account, rows = found
    sheet, _, columns, mark = facts
    amount = columns.column("amount")
    codes = {line.currency for line in lines if line.unit_price is not None}
    if len(codes) != 1 or any(line.unit_price is None for line in lines):
        return
    value = sum((line.unit_price * line.count for line in lines if line.unit_price is not None), Decimal(0))
    goods = (
        sum((number_of(sheet.cell(row, amount), mark) or Decimal(0) for row in account.goods), Decimal(0))
        if amount
        else 0
    )
    slack = _CENT + Decimal("0.005") * sum(line.count for line in lines)
    parts = [(each.figure, each.where) for each in stated if each.kind == "money" and each.currency in codes]
    sections = _section_sums(rows, facts)
    for row in rows:
        if row.kind in ("money", "sum") and amount:
            figure = number_of(sheet.cell(row.number, amount), mark)
            if figure is not None and figure not in sections:
                parts.append((figure, sheet.place(row.number)))
    for figure, where in parts:
        if not any(abs(figure - fit) <= slack for fit in (value, value + goods, Decimal(goods))):
            question = Question("stated-money", "A stated sum does not fit:", ("trust-the-lines",), where=where)
            inquiry.ask_alike(question, f"{where} states {figure}, the lines make {value:.2f}")


def _section_sums(rows: Sequence[Row], facts: tuple[Sheet, Header, ColumnMap, DecimalMark]) -> set[Decimal]:
    """Sums of the amounts since the last sum or section, wherever one could stand."""
    sheet, _, columns, mark = facts
    found: set[Decimal] = set()
    since_sum = since_section = Decimal(0)
    for row in rows:
        figure = number_of(sheet.cell(row.number, columns.column("amount")), mark) or Decimal(0)
        if row.kind in ("sum", "money"):
            found |= {since_sum, since_section}
            since_sum = Decimal(0)
        elif row.kind in ("section", "heading"):
            since_section = Decimal(0)
        else:
            since_sum += figure
            since_section += figure
    return found


def duplicates(lines: Sequence[Line], inquiry: Inquiry) -> None:
    """Lines of the same animal, size, box and count are never merged; that they are two is confirmed by a person."""
    seen: dict[tuple[object, ...], Line] = {}
    for line in lines:
        if not line.written:
            continue
        key = (line.name.casefold(), line.size_min_mm, line.size_max_mm, line.boxes, line.bags, line.count, line.note)
        first = seen.setdefault(key, line)
        if first is not line:
            where = f"row {line.row}"
            case = f"rows {first.row} and {line.row}: {line.name}, box {', '.join(line.boxes) or 'not stated'}, {line.count} each"
            question = Question("duplicates", "Lines look identical; keep them all?", ("both",), where=where)
            inquiry.ask_alike(question, case)
