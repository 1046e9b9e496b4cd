"""Embedded type faces and text that wraps or shrinks instead of being clipped.

DejaVu covers Latin, Greek and Cyrillic; Chinese and Japanese characters print as empty boxes.
"""

from __future__ import annotations

import io
import re
import unicodedata
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

__all__ = [
    "BOLD",
    "LEADING",
    "LEAST_SIZE",
    "NARROW",
    "NARROW_BOLD",
    "REGULAR",
    "clean",
    "lay",
    "load_faces",
    "one_line",
    "unprintable",
]

REGULAR = "Paper"
BOLD = "PaperBold"
NARROW = "PaperNarrow"
NARROW_BOLD = "PaperNarrowBold"
LEADING = 1.2
LEAST_SIZE = 5.5
_FILES = {
    REGULAR: "DejaVuSans.ttf",
    BOLD: "DejaVuSans-Bold.ttf",
    NARROW: "DejaVuSansCondensed.ttf",
    NARROW_BOLD: "DejaVuSansCondensed-Bold.ttf",
}
_UNPRINTABLE = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029]")
_INVISIBLE = re.compile("[\xad\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]")
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=[%°]|(?:mL|L|mg|mg/L|g|kg|mm|m²|h|min|PSU)\b)")
_SURROGATE = re.compile("[\ud800-\udfff]")


@cache
def load_faces() -> None:
    """Register the four faces once a process; a later call costs nothing."""
    folder = resources.files("forms") / "fonts"
    for name, file in _FILES.items():
        pdfmetrics.registerFont(TTFont(name, io.BytesIO((folder / file).read_bytes())))


def clean(text: str) -> str:
    """Text fit to print: composed characters, no control or direction characters, line breaks kept."""
    if text.isascii() and text.isprintable():
        return text
    text = _SURROGATE.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))
    return unicodedata.normalize("NFC", _INVISIBLE.sub("", _UNPRINTABLE.sub(" ", text)))


def unprintable(text: str, face: str) -> set[str]:
    """Characters of a text that a face cannot print as written: those it has no form for, and those read from the right.

    Right-to-left letters are joined and reversed by no one here; printed as they come they would say something else.
    """
    if text.isascii():
        return set()
    load_faces()
    font: Any = pdfmetrics.getFont(face)  # the stubs know no faces of TrueType
    known = font.face.charToGlyph
    return {one for one in text if ord(one) not in known or unicodedata.bidirectional(one) in {"R", "AL"}}


def _width(text: str, face: str, size: float) -> float:
    load_faces()
    return pdfmetrics.stringWidth(text, face, size)


@lru_cache(maxsize=60_000)
def widest_word(text: str, face: str, size: float) -> float:
    """Width in points of the widest word of `text`."""
    return max((_width(word, face, size) for word in _words(clean(text))), default=0.0)


def _words(text: str) -> list[str]:
    """Words between plain spaces and line breaks; a unit stays with its number."""
    return [word for word in _BEFORE_UNIT.sub("\xa0", text).replace("\n", " ").split(" ") if word]


def _broken(word: str, face: str, size: float, width: float) -> list[str]:
    """Pieces of one over-long word (a hash, an address) that each fit `width`."""
    pieces, piece = [], ""
    for character in word:
        if piece and _width(piece + character, face, size) > width:
            pieces.append(piece)
            piece = ""
        piece += character
    return [*pieces, piece]


def _wrapped(paragraph: str, face: str, size: float, width: float) -> list[str]:
    lines: list[str] = []
    line = ""
    for word in _words(paragraph):
        trial = f"{line} {word}" if line else word
        if _width(trial, face, size) <= width:
            line = trial
            continue
        if line:
            lines.append(line)
        pieces = [word] if _width(word, face, size) <= width else _broken(word, face, size, width)
        lines.extend(pieces[:-1])
        line = pieces[-1]
    return [*lines, line]


@lru_cache(maxsize=60_000)
def lay(text: str, face: str, size: float, width: float, least: float = LEAST_SIZE) -> tuple[tuple[str, ...], float]:
    """Lines of `text` set in `width` and the size used.

    Words are never split while shrinking down to `least` saves them; only longer ones are broken.

    Parameters
    ----------
    text
        Any text; control characters are dropped, line breaks kept.
    face
        One of the names of this module.
    size
        Wanted size in points.
    width
        Room in points, above 0.
    least
        Size below which nothing is shrunk, points.

    Returns
    -------
    tuple
        The lines, none wider than `width`, and the size in points at which that holds.
    """
    text = clean(text)
    if not text.strip():
        return (), size
    widest = widest_word(text, face, size)
    if widest > width:
        size = max(min(size, least), size * width / widest * 0.999)
    lines: list[str] = []
    for paragraph in text.split("\n"):
        lines.extend(_wrapped(paragraph, face, size, width))
    return tuple(lines), size


def one_line(text: str, face: str, size: float, width: float) -> tuple[str, float] | None:
    """`text` on one line with the size at which it fits `width`, or None when it would fall below `LEAST_SIZE`."""
    text = " ".join(clean(text).split())
    needed = _width(text, face, size)
    if needed > width:
        size = size * width / needed * 0.999
    return None if size < LEAST_SIZE else (text, size)
