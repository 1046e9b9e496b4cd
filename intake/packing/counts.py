"""How many animals a cell says: plain numbers, ``10 x 5``, ``2 doz``, ``1 pr``, and the unit of measure beside it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from intake.errors import quoted
from intake.packing.figures import DecimalMark, number_of
from intake.packing.grid import Cell, plain_digits
from intake.packing.row_words import bare, says_free

__all__ = ["MEASURES", "Counted", "count_in", "measure_of"]

_ONE = (
    "pc; pcs; piece; pieces; ea; each; head; heads; no; nos; unit; units; animal; animals; specimen; specimens; stk; st; "
    "stuck; pza; pzas; pieza; piezas; pz; pzs; peca; pecas; pezzo; pezzi; capo; capi; ekor; ekr; con; ud; uds; un; und; "
    "frag; frags; colony; colonies; polyp; polyps; tier; tiere; ind; 匹; 尾; 個; 点; 只; 个; 條; 条; 隻; 株; 件; قطعة; حبة; قطع"
)
_TWO = "pr; prs; pair; pairs; paar; paire; paires; par; pares; paio; coppia; coppie; pasang; cap; 対; ペア; 对; 對; زوج"
_TWELVE = (
    "dz; doz; dozs; dozen; dozens; dutzend; dtzd; douzaine; douzaines; docena; docenas; duzia; duzias; dozzina; "
    "dozzine; lusin; ta; 打; ダース; دزينة"
)
MEASURES = {
    **dict.fromkeys(map(bare, _ONE.split("; ")), 1),
    **dict.fromkeys(map(bare, _TWO.split("; ")), 2),
    **dict.fromkeys(map(bare, _TWELVE.split("; ")), 12),
    "trio": 3,
    "trios": 3,
}
"""Animals in one unit of measure (general vocabulary)."""

_TIMES = re.compile(r"(\d{1,5})\s*(?:x|×|\*|✕|х)\s*(\d{1,5})", re.IGNORECASE)
_PACKS = re.compile(
    r"(\d{1,5})\s*(?:bags?|boxes|box|packs?|cups?|beutel|bolsas?|sachets?)\s*(?:of|x|×|@|à|a|de|zu)\s*(\d{1,5})",
    re.IGNORECASE,
)
_PLUS = re.compile(r"(\d{1,6})\s*\+\s*(\d{1,5})(?:\s*\(?([^\W\d_]+)\.?\)?)?")
_WORDED = re.compile(r"(\d[\d.,'’ ]*?)\s*([^\W\d_]+)\.?")
_BEFORE = re.compile(r"([^\W\d_]+)\.?\s*(\d[\d.,'’ ]*)")


@dataclass(frozen=True, slots=True)
class Counted:
    """A count: units written, animals in one unit, and the animals they make.

    ``word`` is a unit no one knows; ``plus`` are the animals behind a plus sign (``50+2``), not among the units.
    """

    units: Decimal
    factor: int = 1
    word: str = ""
    why: str = ""
    plus: int = 0

    @property
    def animals(self) -> Decimal:
        """Units times animals in a unit."""
        return self.units * self.factor


def measure_of(text: str) -> int:
    """Animals in one unit of measure; 0 for a word that is none of them."""
    return MEASURES.get(bare(text).strip(" .()/").casefold(), 0)


def count_in(cell: Cell, mark: DecimalMark) -> Counted | None:
    """The count in a cell; ``None`` when it holds none."""
    plain = number_of(cell, mark)
    if plain is not None:
        return Counted(plain)
    if not isinstance(cell.value, str) or len(cell.text) > 40:
        return None
    text = plain_digits(cell.text).strip()
    times = _TIMES.match(text) or _PACKS.match(text)
    if times and (not (rest := text[times.end() :].strip()) or measure_of(rest) == 1):
        return Counted(
            Decimal(times[1]) * Decimal(times[2]), why=f"{quoted(cell.text)} is {int(times[1]) * int(times[2])}"
        )
    plus = _PLUS.fullmatch(text)
    if plus and (not plus[3] or measure_of(plus[3]) == 1 or says_free(plus[3])):
        return Counted(Decimal(plus[1]), plus=int(plus[2]))
    for pattern, number, word in ((_WORDED, 1, 2), (_BEFORE, 2, 1)):
        found = pattern.fullmatch(text)
        if found:
            units = number_of(Cell(cell.row, cell.column, found[number], found[number]), mark)
            factor = measure_of(found[word])
            if units is not None:
                return Counted(
                    units, factor or 1, "" if factor else found[word], f"{quoted(cell.text)} is {units * factor}"
                )
    return None
