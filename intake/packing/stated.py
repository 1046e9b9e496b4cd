"""Totals a list states in words, above, below or in its headings: animals, boxes, money."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from intake.errors import quoted
from intake.packing.columns import Header
from intake.packing.figures import DecimalMark, currency_of, number_of
from intake.packing.grid import Cell, Sheet, plain_digits
from intake.packing.number_words import in_figures
from intake.packing.row_words import bare

__all__ = ["Stated", "stated_in"]

_TOTAL = (
    r"total|totals|grand total|sum|summe|gesamt|gesamtzahl|insgesamt|totale|totaal|"
    r"suma|jumlah|tong(?: cong)?|tong so|合計|総数|総計|合计|共计|共計|总计|總計|"
    r"المجموع|الاجمالي|اجمالي"
)
_ANIMALS = (
    r"pcs|pc|pieces|animals|heads|specimens|qty|quantity|stuck|stk|tiere|anzahl|pieces|animaux|piezas|animales|unidades|pecas|"
    r"animais|pezzi|animali|ekor|con|匹|点|個|只|尾|件|个|قطعة|حيوان|قطع"
)
_BOXES = r"box(?:es)?|cartons?|ctns?|kartons?|kisten|colis|cajas?|caixas?|scatole|colli|boks|koli|thung|箱|صندوق|صناديق"
_FIGURE = r"(\d[\d.,'’ ]*)"
_COUNTED = {
    name: re.compile(
        rf"(?:{_TOTAL})?[^\d\w]*(?:no\.? of |number of |of |de |di |"
        rf"so )?(?:{words})(?![a-z]){gap}{_FIGURE}(?!\s*(?:mm|cm|kg))|"
        rf"(?<![\w.,/-]){_FIGURE}\s*(?:{words})(?![^\W\d_])",
        re.IGNORECASE,
    )
    for name, words, gap in (("animals", _ANIMALS, r"\W{0,4}"), ("boxes", _BOXES, r"\s*[:=]\s*"))
}
_SAY = re.compile(r"^\W*say\b|\bin words\b|\bamount in words\b")
_NO_BRACKETS = str.maketrans("()[]", "    ")
_IN_BRACKETS = re.compile(r"\([^()]*\)")
_OWN_FIGURES = re.compile(r"\d[\d.,'’]*")
_CENTS = re.compile(r"\s(?:and|y|et|e|und)?\s*(?:cents?\s*)?(\d{1,2})\s*/\s*100")
_LAST_FIGURE = re.compile(r"(\d+)(?!.*\d)")
_HAS_TOTAL = re.compile(rf"(?<![^\W\d_])(?:{_TOTAL})(?![a-z])", re.IGNORECASE)
_BARE_TOTAL = re.compile(rf"^\W*(?:{_TOTAL})\W*$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Stated:
    """A total in words: ``animals``, ``boxes`` or ``money``; the figure and where it stands."""

    kind: str
    figure: Decimal
    where: str
    currency: str = ""


def stated_in(sheet: Sheet, header: Header, rows: list[int], mark: DecimalMark) -> tuple[Stated, ...]:
    """Every total stated in the rows given (titles and remarks, not lines) and in the headings."""
    found: list[Stated] = []
    for row in (*range(1, header.top), *rows):
        filled = sheet.filled(row)
        for position, cell in enumerate(filled):
            if cell.kind != "text":
                continue
            found.extend(_of_text(cell, cell.text, mark))
            beside = filled[position + 1] if position + 1 < len(filled) else None
            if beside is not None and not _figures(cell.text) and number_of(beside, mark) is not None:
                found.extend(_of_text(cell, f"{cell.text.rstrip(': ')} {beside.text}", mark))
    for label in header.labels:
        inside = re.search(r"\((\d{1,7})\)", label)
        if inside and header.fields[header.labels.index(label)] == "count":
            found.append(Stated("animals", Decimal(inside[1]), f"the heading {quoted(label)}"))
    return tuple(dict.fromkeys(found))


def _figures(text: str) -> bool:
    return any(sign.isdigit() for sign in text)


def _of_text(cell: Cell, text: str, mark: DecimalMark) -> list[Stated]:
    """Totals in one text; it must say total, or name animals or boxes as a label that stands before its figure."""
    plain = plain_digits(bare(text)).lower()
    if len(plain) > 300:
        return []
    worded = _worded(plain)
    own = _IN_BRACKETS.sub(" ", _CENTS.sub(" ", plain)) if worded else plain
    told = _of_plain(cell, text, own, mark)
    return [*told, *(one for one in (_of_plain(cell, text, worded, mark) if worded else ()) if one not in told)]


def _worded(plain: str) -> str:
    """The text with its numbers in words as figures and its own figures left out; empty where it has none in words."""
    cents = _CENTS.search(plain)
    bare_words = _OWN_FIGURES.sub(" ", plain[: cents.start()] if cents else plain).translate(_NO_BRACKETS)
    read = in_figures(bare_words)
    if read == bare_words:
        return ""
    said = f"total {read}" if _SAY.search(read) else read
    return _LAST_FIGURE.sub(rf"\1.{int(cents[1]):02d}", said, count=1) if cents else said


def _of_plain(cell: Cell, text: str, plain: str, mark: DecimalMark) -> list[Stated]:
    if not _figures(plain) or not _HAS_TOTAL.search(plain):
        return []
    found = []
    for kind, pattern in _COUNTED.items():
        for hit in pattern.finditer(plain):
            number = _whole(hit[1] or hit[2], mark)
            if number is not None:
                found.append(Stated(kind, number, cell.address))
                break
    code = currency_of(text)
    if code and not found:
        money = re.search(_FIGURE, plain)
        value = _number(money[1], mark) if money else None
        if value is not None:
            found.append(Stated("money", value, cell.address, code))
    return found


def _number(text: str, mark: DecimalMark) -> Decimal | None:
    bare_text = text.strip(" .,'’")
    return number_of(Cell(1, 1, bare_text, bare_text), mark)


def _whole(text: str, mark: DecimalMark) -> Decimal | None:
    number = _number(text, mark)
    return number if number is not None and number == number.to_integral_value() else None
