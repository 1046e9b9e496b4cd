"""Single cells to single facts: numbers, money, box numbers and moments, each under a reading that is given."""

from __future__ import annotations

import re
from datetime import datetime, time, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import Literal

from intake.errors import BadInput, Finding
from intake.packing.grid import Cell, plain_digits
from intake.units import decimal_of

__all__ = ["DateOrder", "DecimalMark", "boxes_of", "currency_of", "moment_of", "number_of", "orders_of", "readings_of"]

DecimalMark = Literal[".", ","]
DateOrder = Literal["dmy", "mdy", "ymd"]

CODES = frozenset(
    {"AED", "AUD", "BRL", "CAD", "CHF", "CNY", "CZK", "DKK", "EUR", "FJD", "GBP", "HKD", "IDR", "ILS", "INR", "JPY"}
    | {"KES", "KRW", "LKR", "MUR", "MXN", "MYR", "NOK", "NZD", "PHP", "PLN", "PGK", "SAR", "SBD", "SEK", "SGD", "THB"}
    | {"TOP", "TRY", "TWD", "TZS", "USD", "VND", "VUV", "XPF", "ZAR"}
)
"""ISO 4217 codes looked for in cells and headings (a selection, from memory)."""
_SIGNS = {
    "US$": "USD",
    "R$": "BRL",
    "MX$": "MXN",
    "NT$": "TWD",
    "RM": "MYR",
    "CN¥": "CNY",
    "RMB": "CNY",
    "JP¥": "JPY",
    "円": "JPY",
    "元": "CNY",
    "₱": "PHP",
    "₫": "VND",
    "฿": "THB",
    "₹": "INR",
    "U$S": "USD",
    "A$": "AUD",
    "AU$": "AUD",
    "S$": "SGD",
    "HK$": "HKD",
    "NZ$": "NZD",
    "C$": "CAD",
    "CA$": "CAD",
    "FJ$": "FJD",
    "€": "EUR",
    "£": "GBP",
    "Rp": "IDR",
}
_SIGN = re.compile(
    "|".join(rf"(?<![A-Za-z]){re.escape(sign)}(?![A-Za-z])" for sign in sorted(_SIGNS, key=len, reverse=True))
)
_MONEY_WORDS = {
    **dict.fromkeys(("euro", "euros"), "EUR"),
    **dict.fromkeys(("us dollar", "us dollars", "u.s. dollars", "u.s. dollar", "dolares americanos"), "USD"),
    **dict.fromkeys(("australian dollars", "australian dollar"), "AUD"),
    **dict.fromkeys(("singapore dollars", "singapore dollar"), "SGD"),
    **dict.fromkeys(("canadian dollars", "canadian dollar"), "CAD"),
    **dict.fromkeys(("fiji dollars", "fijian dollars"), "FJD"),
    **dict.fromkeys(("pounds sterling", "pound sterling", "sterling"), "GBP"),
    **dict.fromkeys(("rupiah",), "IDR"),
    **dict.fromkeys(("reais", "real brasileiro"), "BRL"),
    **dict.fromkeys(("japanese yen", "yen", "日本円"), "JPY"),
    **dict.fromkeys(("yuan", "renminbi", "人民币", "人民幣"), "CNY"),
    **dict.fromkeys(("philippine pesos", "philippine peso"), "PHP"),
}
_MONEY_WORD = re.compile(r"(?<!\w)(?:" + "|".join(map(re.escape, _MONEY_WORDS)) + r")(?!\w)", re.IGNORECASE)
_AMBIGUOUS_SIGNS = ("$", "¥")

_NUMBER = re.compile(r"[+-]?\d[\d.,'’ \u202f]*\d[.,]?|[+-]?\d[.,]?|[+-]?[.,]\d+", re.ASCII)
_COUNT_WORDS = re.compile(
    r"^(pcs?|pieces?|pzs?|ea|each|heads?|nos?|units?|animals?|specimens?|stk|st)\.?$", re.IGNORECASE
)
_BOX_RANGE = re.compile(r"([A-Za-z]*)\s*(\d{1,5})\s*(?:-|–|—|\bto\b)\s*([A-Za-z]*)\s*(\d{1,5})", re.ASCII)
_BOX_WORD = re.compile(r"^(box(es)?|ctns?|cartons?|nos?|#)[\s.:#]*", re.IGNORECASE)
_MOST_BOXES = 500
_DATE = re.compile(
    r"(\d{1,4})\s*[./-]\s*(\d{1,2})\s*[./-]\s*(\d{1,4})(?:[T ,]+(\d{1,2})[:.h](\d{2})(?::\d{2})?\s*([ap]\.?m\.?)?)?",
    re.ASCII | re.IGNORECASE,
)
_DATE_WORDS = re.compile(
    r"(?:(\d{1,2})[ .-]+([a-z]{3,9})|([a-z]{3,9})\.? +(\d{1,2})(?:st|nd|rd|th)?)[ .,-]+(\d{4})"
    r"(?:[T ,]+(\d{1,2})[:.h](\d{2})(?::\d{2})?\s*([ap]\.?m\.?)?)?",
    re.ASCII | re.IGNORECASE,
)
_SERIAL = re.compile(r"\d{5}(?:\.\d+)?", re.ASCII)
_FIRST_SERIAL, _LAST_SERIAL = 36526, 73051  # 1 January 2000 and 1 January 2100
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def number_of(cell: Cell, decimal: DecimalMark) -> Decimal | None:
    """The number in a cell, currency and counting words set aside; ``None`` when there is none under this mark."""
    if isinstance(cell.value, Decimal):
        return cell.value
    if not isinstance(cell.value, str) or len(cell.text) > 40:
        return None
    return _number_in(cell.text, decimal)


@lru_cache(maxsize=16384)
def _number_in(written: str, decimal: DecimalMark) -> Decimal | None:
    text = plain_digits(written).replace("−", "-").replace("\u00a0", " ")
    found = _NUMBER.search(text)
    if found is None:
        return None
    before, after = text[: found.start()].strip(), text[found.end() :].strip()
    if not all(not rest or _beside_a_number(rest) for rest in (before, after)):
        return None
    negative = before == "(" and after == ")"
    try:
        value = decimal_of(
            found[0].strip().rstrip(".,") if found[0].strip()[-1:] in ".," else found[0].strip(), decimal
        )
    except BadInput:
        return None
    return -value if negative else value


def _beside_a_number(rest: str) -> bool:
    bare = rest.strip(" .:/()-")
    if not bare:
        return rest.strip() in {"(", ")", ".", ".-", ",-", "/-", ""}
    return bool(_COUNT_WORDS.match(bare)) or bare.upper() in CODES or bare in _SIGNS or bare in _AMBIGUOUS_SIGNS


def readings_of(cell: Cell) -> dict[DecimalMark, Decimal]:
    """Every number a cell can be read as, by decimal mark."""
    marks: tuple[DecimalMark, ...] = (".", ",")
    return {mark: number for mark in marks if (number := number_of(cell, mark)) is not None}


def currency_of(text: str) -> str:
    """Currency named in a text: an ISO 4217 code, a bare sign that stands for several, or empty."""
    words: list[str] = re.findall(r"\b[A-Z]{3}\b", text)
    codes = {word for word in words if word in CODES}
    if len(codes) == 1:
        return codes.pop()
    sign = _SIGN.search(text)
    if sign:
        return _SIGNS[sign[0]]
    worded = _MONEY_WORD.search(text)
    if worded:
        return _MONEY_WORDS[worded[0].lower()]
    return next((sign for sign in _AMBIGUOUS_SIGNS if sign in text), "")


def boxes_of(cell: Cell) -> tuple[str, ...]:
    """Box numbers in a cell: ``3``, ``4, 5``, ``1-3``, ``A1-A3``.

    Raises
    ------
    BadInput
        A range that runs backwards or is longer than any shipment, or a date into which a spreadsheet turned ``1-3``.
    """
    if cell.value is None:
        return ()
    if cell.kind == "date":
        met = f"{cell.text}, a date the spreadsheet made of it"
        raise BadInput(Finding(f"{cell.address}, boxes", met, "box numbers, such as 1-3", "Write them as text."))
    if isinstance(cell.value, Decimal) and (cell.value != cell.value.to_integral_value() or cell.value < 0):
        raise BadInput(Finding(f"{cell.address}, boxes", cell.text, "a box number, such as 4, or 4-6"))
    boxes: list[str] = []
    for part in re.split(r"[,;&+]|\band\b", cell.text):
        boxes.extend(_box_part(_BOX_WORD.sub("", part.strip()), cell))
    return tuple(dict.fromkeys(boxes))


def _box_part(part: str, cell: Cell) -> list[str]:
    found = _BOX_RANGE.fullmatch(part)
    if not found:
        return [part[:40]] if part else []
    first, last = int(found[2]), int(found[4])
    if found[3] and found[3] != found[1]:
        return [part]
    if not first <= last < first + _MOST_BOXES:
        raise BadInput(Finding(f"{cell.address}, boxes", cell.text, "a range of box numbers, the smaller first"))
    width = len(found[2]) if found[2].startswith("0") else 0
    return [f"{found[1]}{number:0{width}d}" for number in range(first, last + 1)]


def orders_of(cell: Cell) -> frozenset[DateOrder] | None:
    """Orders under which a cell is a date; ``None`` when the order does not matter (typed, or month by name)."""
    if cell.kind != "text" or _DATE_WORDS.search(cell.text):
        return None
    orders: tuple[DateOrder, ...] = ("dmy", "mdy", "ymd")
    return frozenset(order for order in orders if moment_of(cell, order) is not None)


def moment_of(cell: Cell, order: DateOrder) -> datetime | None:
    """The moment in a cell under one order of day, month and year, without a time zone; ``None`` when it is none."""
    if isinstance(cell.value, datetime):
        return cell.value
    serial = _serial(cell)
    if serial is not None or not isinstance(cell.value, str):
        return serial
    text = plain_digits(cell.text[:60])
    worded = _DATE_WORDS.fullmatch(text)
    if worded:
        month = (worded[2] or worded[3])[:3].lower()
        if month not in _MONTHS:
            return None
        day = int(worded[1] or worded[4])
        return _moment(int(worded[5]), _MONTHS.index(month) + 1, day, (worded[6], worded[7], worded[8]))
    found = _DATE.fullmatch(text)
    if not found:
        return None
    parts = dict(zip(order, (found[1], found[2], found[3]), strict=True))
    if len(parts["y"]) not in (2, 4) or len(parts["d"]) > 2 or len(parts["m"]) > 2:
        return None
    if order == "ymd" and len(parts["y"]) != 4:
        return None
    year = int(parts["y"]) + (2000 if len(parts["y"]) == 2 else 0)
    return _moment(year, int(parts["m"]), int(parts["d"]), (found[4], found[5], found[6]))


def _serial(cell: Cell) -> datetime | None:
    """The moment a spreadsheet keeps as days since 30 December 1899, where such a number lies in this century."""
    number = cell.value if isinstance(cell.value, Decimal) else None
    if number is None and isinstance(cell.value, str) and _SERIAL.fullmatch(cell.text):
        number = Decimal(cell.text)
    if number is None or not _FIRST_SERIAL <= number < _LAST_SERIAL:
        return None
    minutes = int((number * 1440).to_integral_value())
    return datetime(1899, 12, 30) + timedelta(minutes=minutes)  # noqa: DTZ001  # zone is the supplier's


def _moment(year: int, month: int, day: int, clock: tuple[str | None, str | None, str | None]) -> datetime | None:
    hour, minute, half = int(clock[0] or 0), int(clock[1] or 0), (clock[2] or "").lower()
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half.startswith("p") else 0)
    try:
        moment = datetime.combine(datetime(year, month, day), time(hour, minute))  # noqa: DTZ001  # zone is the supplier's
    except ValueError:
        return None
    return moment if 2000 <= year <= 2099 else None
