"""What S, M and L mean where a list says it: ``S = 2-4 cm`` in a title, a remark or a sheet of its own."""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import pairwise

from intake.errors import BadInput
from intake.packing.grid import Sheet
from intake.packing.row_words import bare
from intake.units import length_range_mm

__all__ = ["legend_of", "size_word"]

_WORDS = {
    "xxs": "xxs", "xs": "xs", "s": "s", "sm": "s", "m": "m", "md": "m", "med": "m", "ml": "ml", "m/l": "ml", "l": "l", "lg": "l",
    "xl": "xl", "xxl": "xxl", "small": "s", "medium": "m", "large": "l", "klein": "s", "mittel": "m", "gross": "l", "petit": "s",
    "moyen": "m", "grand": "l", "pequeno": "s", "mediano": "m", "medio": "m", "grande": "l", "piccolo": "s", "kecil": "s",
    "sedang": "m", "besar": "l", "nho": "s", "vua": "m", "lon": "l", "小": "s", "中": "m", "大": "l", "صغير": "s", "متوسط": "m",
    "كبير": "l", "extra large": "xl",
}  # fmt: skip
_LABEL = r"(?<![^\W\d_])([^\W\d_]{1,8}(?:/[^\W\d_])?|extra large)"
_RANGE = (
    r"(\d[\d.,/½¼¾]*\s*(?:mm|cm|in|\"|″)?\s*(?:-|–|to|bis|a)\s*\d[\d.,/½¼¾]*\s*(?:mm|cm|inch|inches|in|\"|″)|"
    r"\d[\d.,/½¼¾]*\s*(?:mm|cm|inch|inches|in|\"|″))"
)
_ENTRY = re.compile(_LABEL + r"\s*[=:(\-–]\s*" + _RANGE, re.IGNORECASE)
_SPACED = re.compile(_LABEL + r"\s+" + _RANGE, re.IGNORECASE)


def size_word(text: str) -> str:
    """The size a word names (``Medium`` → ``m``); empty when it names none."""
    return _WORDS.get(bare(text).strip(" .()").casefold(), "")


def legend_of(sheets: Iterable[tuple[Sheet, Iterable[int]]]) -> dict[str, tuple[float, float]]:
    """Size word → both ends in mm, from the rows of each sheet that are no lines."""
    found: dict[str, tuple[float, float]] = {}
    clash: set[str] = set()
    for sheet, rows in sheets:
        for row in rows:
            filled = sheet.filled(row)
            texts = [cell.text for cell in filled if cell.kind == "text"]
            texts += [f"{one.text} = {two.text}" for one, two in pairwise(filled) if size_word(one.text)]
            for text in texts:
                for word, size in (*_entries(text[:400], _ENTRY), *_listed(text[:400])):
                    if found.setdefault(word, size) != size:
                        clash.add(word)
    return {word: size for word, size in found.items() if word not in clash}


def _listed(text: str) -> list[tuple[str, tuple[float, float]]]:
    """Entries without a sign between word and size, believed only where two or more stand together."""
    found = list(_entries(text, _SPACED))
    return found if len(found) > 1 else []


def _entries(text: str, pattern: re.Pattern[str]) -> Iterable[tuple[str, tuple[float, float]]]:
    for hit in pattern.finditer(text):
        word = size_word(hit[1])
        if not word:
            continue
        for mark in (".", ","):
            try:
                yield word, length_range_mm(re.sub(r"\b(bis|a)\b", "to", hit[2]), "", mark)
                break
            except BadInput:
                continue
