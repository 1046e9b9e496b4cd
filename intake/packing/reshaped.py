"""Tables turned to one animal, size and box a row: columns of sizes or boxes, genus beside species, boxes times pieces."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise

from intake.errors import BadInput, quoted
from intake.library.names import Names
from intake.packing.columns import Header
from intake.packing.counted_names import parted_counts
from intake.packing.fields import field_of, plain_heading, role_of
from intake.packing.figures import boxes_of, number_of
from intake.packing.grid import Cell, Sheet
from intake.packing.list_names import Match, match
from intake.packing.row_words import is_ditto, section_of, sum_word
from intake.units import length_unit_in

__all__ = ["SIZE_WORDS", "Reshaped", "per_box_columns", "reshaped"]

SIZE_WORDS = re.compile(r"(xxs|xs|s|sm|m|md|ml|m/l|s/m|l|lg|xl|xxl|small|medium|large|jumbo|show)", re.IGNORECASE)
_NUMBER = r"\d[\d.,/½¼¾]*"
_SIZE = re.compile(
    rf"\(?\s*(?:(?:xxs|xs|s|m|ml|l|xl|xxl|small|medium|large)\W+)?{_NUMBER}\s*(?:(?:-|–|to)\s*{_NUMBER})?\s*"
    r"(mm|cm|in|inch|inches|\"|″)?\s*\)?\+?",
    re.IGNORECASE,
)
_BOX = re.compile(
    r"(?:(?:box|ctn|carton|caja|caixa|karton|kiste|colis|scatola|boks|thung|thùng|箱|"
    r"صندوق)\s*(?:no|nr|#)?[.: ]*)([a-z]?\d{1,4}|[a-z])",
    re.IGNORECASE,
)
_SMALLEST = re.compile(r"\b(min|minimum|smallest|from|mini|von|desde|dari)\b")
_LARGEST = re.compile(r"\b(max|maximum|largest|to|maxi|bis|hasta|sampai)\b")
_SPAN = re.compile(r"\d{1,4}\s*(?:-|–|—|to)\s*\d{1,4}")
_LEAST = 0.6
_LONGEST_DITTO = 20


@dataclass(frozen=True, slots=True)
class Reshaped:
    """A sheet under its header after reshaping, and the sentences that say what was done."""

    sheet: Sheet
    header: Header
    told: tuple[str, ...] = ()
    read: frozenset[int] = frozenset()


def reshaped(sheet: Sheet, header: Header, names: Names) -> Reshaped:
    """Fill ditto marks, join genus and species and wrapped names, multiply boxes, part columns of sizes or boxes."""
    now = _counts_parted(_genus_joined(_dittoed(sheet, header), header, names), names)
    return _summed(_parted(_multiplied(_ends_joined(unwrapped(now, names)))))


def _counts_parted(now: Reshaped, names: Names) -> Reshaped:
    sheet, header, told = parted_counts(now.sheet, now.header, names)
    return replace(now, sheet=sheet, header=header, told=(*now.told, told)) if told else now


def _ends_joined(now: Reshaped) -> Reshaped:
    """Smallest and largest size in two columns joined to one range."""
    sheet, header = now.sheet, now.header
    ends = []
    for pattern in (_SMALLEST, _LARGEST):
        fit = [place for place, label in enumerate(header.labels, start=1) if pattern.search(plain_heading(label))]
        ends.append(fit[0] if len(fit) == 1 else 0)
    low, high = ends
    if not low or not high or low == high or not _say_size(header, (low, high)):
        return now
    rows: list[tuple[object, ...]] = list(sheet.rows)
    for number in range(header.bottom + 1, len(rows) + 1):
        one, two = sheet.cell(number, low), sheet.cell(number, high)
        if number_of(one, ".") is not None and two.value is not None:
            text = one.text if one.text == two.text else f"{one.text}-{two.text}"
            row = list(rows[number - 1])
            row[low - 1] = Cell(number, low, text, text, one.address)
            rows[number - 1] = tuple(row)
    fields = [
        ("size" if place == low else "" if place == high else name) for place, name in enumerate(header.fields, start=1)
    ]
    told = f"{quoted(header.labels[low - 1])} to {quoted(header.labels[high - 1])} is the size"
    head = replace(header, fields=tuple(fields))
    return Reshaped(replace(sheet, rows=tuple(rows)), head, (*now.told, told), now.read | {high})


def _say_size(header: Header, ends: tuple[int, int]) -> bool:
    words = " ".join(plain_heading(header.labels[place - 1]) for place in ends).split()
    return any(header.fields[place - 1] == "size" for place in ends) or any(field_of(word) == "size" for word in words)


def _summed(now: Reshaped) -> Reshaped:
    """Columns of sorts whose sum stands beside them: the sum counts the animals."""
    sheet, header = now.sheet, now.header
    if "count" in header.fields:
        return now
    parts = [
        place
        for place, label in enumerate(header.labels, start=1)
        if label and not header.fields[place - 1] and not role_of(label) and _holds_numbers(sheet, header, place)
    ]
    sums = [
        place
        for place in range(1, len(header.labels) + 1)
        if place not in parts and _is_row_sum(sheet, header, place, parts)
    ]
    if len(parts) < 2 or len(sums) != 1:
        return now
    fields = ["count" if place == sums[0] else name for place, name in enumerate(header.fields, start=1)]
    told = (
        f"{quoted(header.labels[sums[0] - 1])} is the sum of {', '.join(header.labels[place - 1] for place in parts)}"
    )
    return Reshaped(sheet, replace(header, fields=tuple(fields)), (*now.told, told), now.read | frozenset(parts))


def _dittoed(sheet: Sheet, header: Header) -> Sheet:
    """The sheet with each ditto mark replaced by the cell it stands for: the last one above in its column."""
    rows: list[tuple[object, ...]] = list(sheet.rows)
    last: dict[int, Cell] = {}
    changed = False
    for number in range(header.bottom + 1, len(rows) + 1):
        raw = rows[number - 1]
        for place, value in enumerate(raw):
            if isinstance(value, Cell) or value is None or value == "":
                text = value.text if isinstance(value, Cell) else ""
            else:
                text = value if isinstance(value, str) else "x"
            if not text:
                continue
            if len(text) <= _LONGEST_DITTO and is_ditto(text) and place in last:
                above = last[place]
                here = sheet.cell(number, place + 1)
                new = list(rows[number - 1])
                new[place] = Cell(number, place + 1, above.text, above.value, here.address)
                rows[number - 1] = tuple(new)
                changed = True
            else:
                last[place] = sheet.cell(number, place + 1)
    return replace(sheet, rows=tuple(rows)) if changed else sheet


def unwrapped(now: Reshaped, names: Names) -> Reshaped:
    """Names written over two rows put together: the second part stands alone below its line, or the first above it."""
    sheet, header = now.sheet, now.header
    column = next((place for place, name in enumerate(header.fields, start=1) if name == "name"), 0)
    if not column:
        return now
    rows: list[tuple[object, ...]] = list(sheet.rows)
    told: list[str] = []
    for number in range(header.bottom + 1, len(rows) + 1):
        filled = sheet.filled(number)
        if len(filled) != 1 or filled[0].column != column or filled[0].kind != "text":
            continue
        for other, first in ((number - 1, False), (number + 1, True)):
            line = sheet.cell(other, column) if header.bottom < other <= len(rows) else Cell(other, column)
            if line.kind != "text" or len(sheet.filled(other)) < 2:
                continue
            parts = (filled[0].text, line.text) if first else (line.text, filled[0].text)
            if _one_name(parts, names):
                text = " ".join(parts)
                row = list(rows[other - 1])
                row[column - 1] = Cell(other, column, text, text, line.address)
                rows[other - 1], rows[number - 1] = tuple(row), ()
                told.append(f"{line.address} and {filled[0].address} together are the name {quoted(text)}")
                break
    return replace(now, sheet=replace(sheet, rows=tuple(rows)), told=(*now.told, *told)) if told else now


def _one_name(parts: tuple[str, str], names: Names) -> bool:
    """Whether two parts are one name: together they are known word for word, and the second alone names nothing."""
    whole = match(" ".join(parts), names)
    if not isinstance(whole, Match) or whole.taxon is None or names.exact(parts[1]) or section_of(list(parts[:1])):
        return False
    if names.genus(parts[0].split()[0]) is None and not whole.exact:
        return False
    species = whole.taxon.rank == "species" or whole.name.count(" ") == 1
    return species and not any(found.rank == "species" for found in names.exact(parts[0]))


def _multiplied(now: Reshaped) -> Reshaped:
    """A column more: animals in a box × boxes, where the headings name both."""
    per, boxes = per_box_columns(now.header)
    if not per or not boxes:
        return now
    sheet, header = now.sheet, now.header
    named = _boxes_by_number(sheet, header, boxes)
    if named is None:
        return now  # 1, 2, 3 under "Boxes" may be how many or which: a person is asked for the count
    width = max(sheet.width, len(header.labels))
    rows: list[tuple[object, ...]] = list(sheet.rows)
    for number in range(header.bottom + 1, len(rows) + 1):
        one = number_of(sheet.cell(number, per), ".")
        many = named.get(number) if named else number_of(sheet.cell(number, boxes), ".")
        if one is not None and many is not None:
            raw = [*rows[number - 1], *[None] * (width - len(rows[number - 1]))]
            product = one * many
            where = f"{sheet.cell(number, per).address}×{sheet.cell(number, boxes).address}"
            rows[number - 1] = (*raw, Cell(number, width + 1, f"{product}", product, where))
    label = f"{header.labels[per - 1]} × {header.labels[boxes - 1]}"
    fields = [name if place not in (per, boxes) else "" for place, name in enumerate(header.fields, start=1)]
    if named:
        fields[boxes - 1] = "boxes"
    fields = [*fields, *[""] * (width - len(fields))]
    labels = [*header.labels, *[""] * (width - len(header.labels)), label]
    counted = "count" not in fields
    head = replace(header, labels=tuple(labels), fields=(*fields, "count" if counted else ""))
    told = f"{label} is the number of animals" if counted else f"{label} beside the number of animals"
    return Reshaped(replace(sheet, rows=tuple(rows)), head, (*now.told, told), now.read | {per, boxes, width + 1})


def _boxes_by_number(sheet: Sheet, header: Header, column: int) -> dict[int, Decimal] | None:
    """Boxes of each row where a column says which they are (``1-2``); empty: it says how many; ``None``: either."""
    cells = [sheet.cell(row, column) for row in range(header.bottom + 1, len(sheet.rows) + 1)]
    filled = [cell for cell in cells if cell.value is not None]
    if any(_SPAN.fullmatch(cell.text) for cell in filled):
        found: dict[int, Decimal] = {}
        for cell in filled:
            with suppress(BadInput):
                found[cell.row] = Decimal(len(boxes_of(cell)))
        return found
    numbers = [number for cell in filled if (number := number_of(cell, ".")) is not None]
    plain = plain_heading(header.labels[column - 1]).split()
    runs = len(numbers) > 1 and numbers[0] == 1 and all(after - before == 1 for before, after in pairwise(numbers))
    return None if runs and len(plain) == 1 else {}


def _genus_joined(sheet: Sheet, header: Header, names: Names) -> Reshaped:
    genus, epithet = _genus_columns(sheet, header, names)
    if not genus:
        return Reshaped(sheet, header)
    rows: list[tuple[object, ...]] = list(sheet.rows)
    for number in range(header.bottom + 1, len(rows) + 1):
        first, second = sheet.cell(number, genus), sheet.cell(number, epithet)
        if first.text and names.genus(first.text):
            text = f"{first.text} {second.text}".strip()
            row = list(rows[number - 1])
            row[genus - 1] = Cell(number, genus, text, text, first.at)
            if second.text:
                row[epithet - 1] = None
            rows[number - 1] = tuple(row)
    labels, fields = list(header.labels), list(header.fields)
    told = f"{quoted(labels[genus - 1])} and {quoted(labels[epithet - 1])} together are the name"
    labels[genus - 1] = f"{labels[genus - 1]} {labels[epithet - 1]}".strip()
    fields[genus - 1], fields[epithet - 1] = "name", ""
    fields = ["common_name" if field == "name" and place != genus - 1 else field for place, field in enumerate(fields)]
    return Reshaped(
        replace(sheet, rows=tuple(rows)), replace(header, labels=tuple(labels), fields=tuple(fields)), (told,)
    )


def _genus_columns(sheet: Sheet, header: Header, names: Names) -> tuple[int, int]:
    """Columns of genus and species by what is in them; 0, 0 where there are none."""
    rows = range(header.bottom + 1, min(header.bottom + 300, len(sheet.rows)) + 1)
    for column in range(1, len(header.labels)):
        pairs = [(sheet.cell(row, column).text, sheet.cell(row, column + 1).text) for row in rows]
        filled = [(one, two) for one, two in pairs if one and two]
        if not filled or len(filled) < _LEAST * sum(bool(one) for one, _ in pairs):
            continue
        fit = sum(
            names.genus(one) is not None and bool(re.fullmatch(r"[a-z]{3,}\.?|spp?\.?|cf\. [a-z]+", two))
            for one, two in filled
        )
        if fit >= _LEAST * len(filled):
            return column, column + 1
    return 0, 0


def _parted(now: Reshaped) -> Reshaped:
    kind, columns = _value_columns(now.sheet, now.header)
    if not kind:
        return now
    sheet, header = now.sheet, now.header
    width = max(sheet.width, len(header.labels))
    value = width + 1
    rows: list[tuple[object, ...]] = []
    origins: list[tuple[str, int]] = []
    extra: dict[str, set[int]] = {"hidden": set(), "struck": set()}
    for number in sheet.numbers():
        for row in _rows_of(sheet, header, number, columns, width):
            rows.append(row)
            origins.append(sheet.origin(number))
            for name in extra:
                if number in getattr(sheet, name):
                    extra[name].add(len(rows))
    labels = [*header.labels, *[""] * (width - len(header.labels)), "Size" if kind == "size" else "Box", "Qty"]
    fields = [*header.fields, *[""] * (width - len(header.fields)), "size" if kind == "size" else "boxes", "count"]
    for column in columns:
        fields[column - 1] = ""
    others = [place for place in range(1, width + 1) if place not in columns]
    sums = frozenset(place for place in others if _is_row_sum(sheet, header, place, columns))
    for place in others:
        if fields[place - 1] in ("count", fields[value - 1]) or place in sums:
            fields[place - 1] = ""
    unit = length_unit_in(" ".join(header.labels[column - 1] for column in columns))
    labels[value - 1] += f" ({unit})" if unit and kind == "size" else ""
    shown = ", ".join(header.labels[column - 1] for column in columns)
    told = f"columns {shown} hold the numbers of one {kind} each"
    hidden, struck = frozenset(extra["hidden"]), frozenset(extra["struck"])
    new = replace(sheet, rows=tuple(rows), origins=tuple(origins), merges=(), hidden=hidden, struck=struck)
    head = replace(header, labels=tuple(labels), fields=tuple(fields))
    return Reshaped(new, head, (*now.told, told), now.read | frozenset(columns) | sums)


def _rows_of(sheet: Sheet, header: Header, number: int, columns: Sequence[int], width: int) -> list[tuple[object, ...]]:
    """The rows a row becomes: itself above the table or without numbers, otherwise one for each number in it."""
    raw = list(sheet.rows[number - 1])
    raw += [None] * (width - len(raw))
    cells = [sheet.cell(number, column) for column in columns]
    filled = [cell for cell in cells if cell.value is not None]
    if number <= header.bottom or not filled or not any(number_of(cell, ".") is not None for cell in filled):
        return [tuple(raw)]
    if any(cell.kind == "text" and sum_word(cell.text) for cell in sheet.filled(number)):
        whole = sum((number_of(cell, ".") or Decimal(0) for cell in filled), Decimal(0))
        return [(*(None if place + 1 in columns else value for place, value in enumerate(raw)), None, whole)]
    base = [None if place + 1 in columns else _kept(sheet, number, place + 1, value) for place, value in enumerate(raw)]
    rows = []
    for column, cell in zip(columns, cells, strict=True):
        if cell.value is not None:
            label = _label_of(header.labels[column - 1])
            rows.append((*base, Cell(number, column, label, label, cell.address), replace(cell, at=cell.address)))
    return rows


def _kept(sheet: Sheet, number: int, column: int, value: object) -> object:
    cell = sheet.cell(number, column)
    return value if cell.value is None else replace(cell, at=cell.address)


def _label_of(label: str) -> str:
    box = _BOX.fullmatch(label.strip())
    return box[1] if box else label


def _value_columns(sheet: Sheet, header: Header) -> tuple[str, list[int]]:
    """``size`` or ``box`` and the columns headed by one each, with numbers below; empty when there are fewer than two."""
    sizes, boxes = [], []
    for place, label in enumerate(header.labels, start=1):
        last = label.split("/")[-1].strip() if "/" not in label else label.strip()
        if header.fields[place - 1] not in ("", "boxes", "line") or not last:
            continue
        if SIZE_WORDS.fullmatch(last) or (
            _SIZE.fullmatch(last) and (length_unit_in(last) or re.search(r"\d\s*[-–]\s*\d", last))
        ):
            sizes.append(place)
        elif _BOX.fullmatch(last):
            boxes.append(place)
    for kind, columns in (("size", sizes), ("box", boxes)):
        if len(columns) >= 2 and all(_holds_numbers(sheet, header, column) for column in columns):
            return kind, columns
    return "", []


def _holds_numbers(sheet: Sheet, header: Header, column: int) -> bool:
    cells = [sheet.cell(row, column) for row in range(header.bottom + 1, min(header.bottom + 300, len(sheet.rows)) + 1)]
    filled = [cell for cell in cells if cell.value is not None]
    return bool(filled) and sum(number_of(cell, ".") is not None for cell in filled) * 2 >= len(filled)


def _is_row_sum(sheet: Sheet, header: Header, column: int, columns: Sequence[int]) -> bool:
    """Whether a column holds the sum of the parted ones in most rows."""
    same = told = 0
    for row in range(header.bottom + 1, min(header.bottom + 300, len(sheet.rows)) + 1):
        here = number_of(sheet.cell(row, column), ".")
        parts = [number for each in columns if (number := number_of(sheet.cell(row, each), ".")) is not None]
        if here is not None and parts:
            told += 1
            same += here == sum(parts, Decimal(0))
    return told > 0 and same * 2 > told


def per_box_columns(header: Header) -> tuple[int, int]:
    """Columns of animals in a box and of boxes, by their headings; 0, 0 where there is no such pair."""
    roles = [role_of(label) for label in header.labels]
    if "per_box" in roles:
        boxes = next((place for place, role in enumerate(roles, start=1) if role == "box_count"), 0)
        boxes = boxes or next(
            (
                n
                for n, label in enumerate(header.labels, start=1)
                if field_of(label) in ("boxes", "bags") and plain_heading(label).endswith("s")
            ),
            0,
        )
        return roles.index("per_box") + 1, boxes
    return 0, 0
