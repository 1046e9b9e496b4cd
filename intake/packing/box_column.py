"""Which column holds box numbers where no heading says so: by its numbers, the stated boxes and who shares them, or asked."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise

from intake.errors import BadInput, quoted
from intake.packing.asking import Inquiry, Question
from intake.packing.columns import Column, ColumnMap, Header, samples
from intake.packing.fields import NEEDLESS, field_of, plain_heading, role_of
from intake.packing.figures import boxes_of
from intake.packing.free_animals import says_free
from intake.packing.grid import Sheet, column_letters

__all__ = ["NOT_BOXES", "box_column_decided"]

NOT_BOXES = "not-boxes"
_NUMBER = re.compile(r"([A-Za-z#]{0,3})0*(\d{1,3})", re.ASCII)
_MOST_BOXES = 400
_LONGEST_SHOWN = (
    40  # a heading longer than that, or with signs no one can type, is shown, and answered, by the letter of its column
)
_MOST_LINE_NUMBERS = 60  # 1, 2, 3 … beside more lines than that numbers the lines (common practice, no source)
_MORE_THAN_GRADES = 6  # grades and sections of a list are seldom as many (common practice, no source)
_MOSTLY = 0.5  # share of the lines that say a number; where a box is named once, the lines below it are empty


@dataclass(frozen=True, slots=True)
class _Numbered:
    """A column of numbers 1 to ``last``: the numbers of each row, and its heading or letter."""

    column: int
    shown: str
    rows: dict[int, tuple[int, ...]]
    last: int

    @property
    def first_rows(self) -> str:
        """What the first rows hold, to show."""
        return ", ".join(
            "-".join(map(str, dict.fromkeys((each[0], each[-1])))) for each in list(self.rows.values())[:4]
        )

    @property
    def shared(self) -> bool:
        """Whether a row has several numbers, or a number several rows."""
        every = [number for each in self.rows.values() for number in each]
        return len(every) != len(self.rows) or len(set(every)) != len(every)

    @property
    def rising(self) -> bool:
        """Whether no row goes back behind the row above it."""
        return all(before[-1] <= after[0] for before, after in pairwise(self.rows.values()))


def box_column_decided(
    sheet: Sheet, header: Header, columns: ColumnMap, facts: tuple[Sequence[int], Sequence[int]], inquiry: Inquiry
) -> tuple[ColumnMap, frozenset[int]]:
    """The map with the column of box numbers, and the columns a person said hold none.

    Numbers are those of boxes when the list states as many boxes as they count to, or when they rise from 1, kinds of
    animal share one and a kind stands in two, more often than grades do.  Otherwise a person is asked.
    ``facts`` are the rows of animals and the totals of boxes that the list states.
    """
    rows, stated = facts
    if columns.column("boxes") or not columns.column("name"):
        return columns, frozenset()
    found = [each for each in _numbered(sheet, header, columns, rows) if _may_be_boxes(header, each, rows, stated)]
    proved = [each for each in found if each.last in stated]
    by_animals = [
        each for each in found if each.last >= _MORE_THAN_GRADES and each.rising and _holds_kinds(sheet, columns, each)
    ]
    for fit, why in ((proved, "as many as the list states"), (by_animals, "kinds share one, and one kind is in two")):
        if len(fit) == 1:
            inquiry.note(f"{quoted(fit[0].shown)} holds box numbers 1 to {fit[0].last}: {why}")
            return _with(sheet, header, columns, fit[0]), frozenset()
    if not found:
        return columns, frozenset()
    shown = "; ".join(f"{each.shown}: {each.first_rows}, up to {each.last}" for each in found)
    choices = tuple(dict.fromkeys(each.shown for each in found))
    what = f"Numbers under headings no one knows: {shown}. Are they box numbers?"
    answer = inquiry.ask(Question("box-column", what, (*choices, NOT_BOXES)))
    chosen = next((each for each in found if each.shown == answer), None)
    if chosen is not None:
        return _with(sheet, header, columns, chosen), frozenset()
    # not asked again whether they are needed: the answer says what they are not, and the question showed them
    return columns, frozenset(each.column for each in found)


def _numbered(sheet: Sheet, header: Header, columns: ColumnMap, rows: Sequence[int]) -> list[_Numbered]:
    """Columns no one knows that count from 1 without a gap."""
    taken = {each.column for each in columns.columns}
    found: list[_Numbered] = []
    for column, label in enumerate(header.labels, start=1):
        if column in taken or field_of(label) or role_of(label) or says_free(label) or plain_heading(label) in NEEDLESS:
            continue
        numbers = _numbers(sheet, column, rows)
        every = {number for each in numbers.values() for number in each}
        last = max(every, default=0)
        if 2 <= last <= _MOST_BOXES and every == set(range(1, last + 1)) and len(numbers) >= _MOSTLY * len(rows):
            letters = f"column {column_letters(column)}"
            plain = (
                0 < len(label) <= _LONGEST_SHOWN and label.isprintable() and label not in (each.shown for each in found)
            )
            found.append(_Numbered(column, label if plain else letters, numbers, last))
    return found


def _numbers(sheet: Sheet, column: int, rows: Sequence[int]) -> dict[int, tuple[int, ...]]:
    """Numbers of each row, one sign before all of them set aside; empty where a cell holds anything else."""
    found: dict[int, tuple[int, ...]] = {}
    signs: set[str] = set()
    for row in rows:
        cell = sheet.cell(row, column)
        if cell.value is None:
            continue
        told: list[int] = []
        with suppress(BadInput):
            for box in boxes_of(cell):
                number = _NUMBER.fullmatch(box)
                if number:
                    signs.add(number[1])
                    told.append(int(number[2]))
                else:
                    told.clear()
                    break
        if not told or len(signs) > 1:
            return {}
        found[row] = tuple(told)
    return found


def _may_be_boxes(header: Header, each: _Numbered, rows: Sequence[int], stated: Sequence[int]) -> bool:
    """Whether numbers may be those of boxes: not the lines counted without a heading, or so many of them."""
    if each.shared or each.last in stated:
        return True
    return bool(header.labels[each.column - 1]) and len(rows) <= _MOST_LINE_NUMBERS


def _holds_kinds(sheet: Sheet, columns: ColumnMap, each: _Numbered) -> bool:
    """Whether a number is shared by kinds of animal, and a kind stands under two numbers."""
    name = columns.column("name")
    kinds: dict[int, set[str]] = defaultdict(set)
    numbers: dict[str, set[int]] = defaultdict(set)
    for row, told in each.rows.items():
        kind = sheet.cell(row, name).text.casefold()
        if len(told) == 1:
            kinds[told[0]].add(kind)
            numbers[kind].add(told[0])
    return any(len(one) > 1 for one in kinds.values()) and any(len(one) > 1 for one in numbers.values())


def _with(sheet: Sheet, header: Header, columns: ColumnMap, chosen: _Numbered) -> ColumnMap:
    label = header.labels[chosen.column - 1]
    why = samples(sheet, header, chosen.column)
    new = Column(field="boxes", column=chosen.column, label=label, why="by its figures", samples=why)
    return columns.model_copy(update={"columns": (*columns.columns, new)})
