"""Which encoding a text file is in: found from its marks, its bytes and the headings it then holds, or left open."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from intake.packing.fields import field_of

__all__ = ["EAST_ASIAN", "LANGUAGES", "Decoding", "legacy_decodings", "samples_of"]

EAST_ASIAN = ("cp932", "gb18030", "big5", "cp949")
_OTHERS = ("cp1252", "cp1258", "cp1256", "cp1251", "cp1250", "cp1254")
_SAMPLE = 60_000
_FOREIGN = re.compile(r"[^\W\d]*[^\x00-\x7f][^\W\d]*")
_SHOWN = 20  # characters of a sample
LANGUAGES: Mapping[str, str] = {
    "cp932": "Japanese",
    "gb18030": "Chinese, simplified",
    "big5": "Chinese, traditional",
    "cp949": "Korean",
    "cp1252": "Western European",
    "cp1258": "Vietnamese",
    "cp1256": "Arabic",
    "cp1251": "Cyrillic",
    "cp1250": "Central European",
    "cp1254": "Turkish",
}
"""Encoding → the languages written in it."""
_PARTED = str.maketrans(",;\t|", "\n\n\n\n")


@dataclass(frozen=True, slots=True)
class Decoding:
    """A text under one encoding: headings it holds that are known, and how likely its signs are (0 to 1)."""

    encoding: str
    text: str
    headings: int
    likely: float


def legacy_decodings(data: bytes) -> list[Decoding]:
    """Every reading of bytes that are no Unicode, the best first; those that tie with the first are open."""
    pairs = _in_pairs(data)
    found = []
    for encoding in (*EAST_ASIAN, *_OTHERS):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        likely = _likely(text[:_SAMPLE], encoding)
        # double bytes come in runs of two; an accent stands alone between letters
        likely *= pairs if encoding in EAST_ASIAN else (1.0 - pairs) if encoding == "cp1252" else 0.5 * (1.0 - pairs)
        found.append(Decoding(encoding, text, _headings(text), likely))
    return sorted(found, key=lambda each: (-each.headings, -each.likely))


def samples_of(data: bytes, encodings: Sequence[str]) -> tuple[str, ...]:
    """The first words beyond plain letters as each encoding reads them, for a person to see which is right."""
    found = []
    for encoding in encodings:
        text = data.decode(encoding, "replace")
        words = _FOREIGN.findall(text[:_SAMPLE])
        found.append(" ".join(dict.fromkeys(words))[:_SHOWN])
    return tuple(found)


def _in_pairs(data: bytes) -> float:
    """Share of the high bytes that stand beside another one or before a byte that may end a pair."""
    part = data[:_SAMPLE]
    high = [place for place, byte in enumerate(part) if byte >= 0x80]
    beside = set(high)
    runs = [place for place in high if place + 1 in beside or place - 1 in beside]
    accents = sum(_within_a_word(part, place, beside) for place in runs)
    return (len(runs) - accents) / max(len(high), 1)


def _within_a_word(data: bytes, place: int, high: set[int]) -> bool:
    """Whether two high bytes are accents at the end or within a word of plain small letters, as in ``wartość``."""
    first = place - 1 if place - 1 in high else place
    if first - 1 in high or first + 2 in high:
        return False
    return first > 0 and data[first - 1 : first].isalpha() and data[first - 1 : first].islower()


def _headings(text: str) -> int:
    cells = text[:_SAMPLE].translate(_PARTED).splitlines()[:4_000]
    return len({field for cell in cells if (field := field_of(cell.strip(' "')))})


def _likely(text: str, encoding: str) -> float:
    signs = [sign for sign in text if not sign.isascii()]
    if not signs:
        return 1.0
    if encoding == "cp932":
        return sum(_common(sign, "shift_jis") for sign in signs) / len(signs)
    if encoding in ("gb18030", "big5"):
        return sum(_common(sign, "gb2312" if encoding == "gb18030" else "big5") for sign in signs) / len(signs)
    return sum(sign.isalpha() or sign in "€£¥°–—’“”½¼¾×" for sign in signs) / len(signs)


def _common(sign: str, charset: str) -> bool:
    """Whether a sign is of the first level of its charset, or a mark of its writing; half-width kana are neither."""
    if "\u3000" <= sign <= "\u30ff" or "\uff01" <= sign <= "\uff5e":
        return charset == "shift_jis" or sign < "\u3040" or sign >= "\uff01"
    try:
        lead = sign.encode(charset)[0]
    except UnicodeEncodeError:
        return False
    first = {"shift_jis": (0x88, 0x98), "gb2312": (0xB0, 0xD7), "big5": (0xA4, 0xC6)}[charset]
    return first[0] <= lead <= first[1]
