"""What a packing list can say of a line, and the headings suppliers write over it (common practice, no source)."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import lru_cache
from typing import Literal

from intake.packing.headings import COUNT_OF_BOXES, ORDERED, PER_BOX, WRITTEN

__all__ = ["FIELDS", "HEADINGS", "NEEDLESS", "NOT_WANTED", "field_of", "plain_heading", "role_of"]

FIELDS: Mapping[str, str] = {
    "line": "number of the line",
    "name": "name, scientific if there is one",
    "common_name": "common or trade name",
    "size": "size of one animal",
    "count": "number of animals",
    "boxes": "box number or numbers",
    "bags": "bag number or number of bags",
    "unit_price": "price of one animal",
    "amount": "price of the line",
    "currency": "currency of the prices",
    "origin": "country of origin",
    "source_code": "source code of the permit (W, F, C …)",
    "permit": "number of the permit",
    "listing": "listing (appendix)",
    "packed": "when the bag was closed",
    "note": "remarks",
    "measure": "unit of the count (piece, pair, dozen)",
    "genus": "genus, where the species stands in a column of its own",
    "epithet": "species, where the genus stands in a column of its own",
}

NEEDLESS = frozenset({"hs code", "hts", "ean", "upc", "ph", "temp", "temperature", "lot", "batch", "id"})
"""Plain headings over figures of which nothing is entered."""

_NOISE = re.compile(r"[^\w#]+|_")


@lru_cache(maxsize=8192)
def plain_heading(text: str) -> str:
    """A heading as it is compared: small letters, no accents, no punctuation."""
    decomposed = unicodedata.normalize("NFKD", text[:120].casefold().replace("ß", "ss").replace("đ", "d"))
    bare = "".join(sign for sign in decomposed if not unicodedata.combining(sign))
    return _NOISE.sub(" ", bare).strip()


def _listed(text: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(plain_heading(heading) for heading in text.split("; ")))


HEADINGS: Mapping[str, tuple[str, ...]] = {name: _listed(text) for name, text in WRITTEN.items()}
_NOT_SENT, _PER_BOX, _BOX_COUNT = (frozenset(_listed(text)) for text in (ORDERED, PER_BOX, COUNT_OF_BOXES))

NOT_WANTED = re.compile(
    r"^(nos|no of|number of|total|total no of|qty|quantity|qty of) (boxes|box|cartons|ctns)$|weight|"
    r"^(gross|net|kg|kgs|tare)\b|barcode|^awb|tank|photo|picture|image"
)
"""Headings that look like ours and are not: how many boxes is not which box."""

_IGNORED = re.compile(
    r"weight|gewicht|poids|peso|berat|重量|^(gross|net|kg|kgs|tare)\b|barcode|^awb|tank|photo|picture|image|"
    r"volume|hs code|tariff|\bkgs?$"
)
_IN_A_BOX = re.compile(
    r"\b(?:in|per|each|every|je|pro|par|por|im|en)\s+(?:an?\s+|one\s+|each\s+|every\s+|1\s+|the\s+)?"
    r"(?:box|carton|ctn|bag|karton|kiste|beutel|caja|caixa|boite|colis|scatola|boks)\b"
    r"|^(?:qty|quantity|pcs|pieces|animals|heads|stk|stuck)\s+(?:box|carton|ctn|bag)$"
)
_A_PRICE = re.compile(r"price|cost|preis|prix|precio|preco|prezzo|harga|usd|eur|\brp\b")
_CURRENCY = (
    r"\b(?:usd|eur|gbp|aud|sgd|idr|jpy|cad|hkd|fjd|nzd|php|lkr|kes|xpf|us|u s|rp|rm|thb|vnd|krw|chf|sek|pln)\b|[$€£¥]"
)
_UNITS = re.compile(rf"\b(?:mm|cms?|inch(?:es)?|in|мм|см)\b|[\"″]|{_CURRENCY}")
_MONEY = re.compile(_CURRENCY)
_PER_HUNDRED = re.compile(r"(?:/|%|per|je|pro|par|por|al)\s*(?:100|hundred)\b|%")
_BY_HEADING = {heading: name for name, headings in HEADINGS.items() for heading in headings}


@lru_cache(maxsize=4096)
def field_of(text: str) -> str:
    """The field a heading names word for word, units and currencies set aside; empty when it names none."""
    heading = plain_heading(text)
    if not heading or NOT_WANTED.search(heading):
        return ""
    decomposed = unicodedata.normalize("NFKD", text[:120].casefold().replace("ß", "ss").replace("đ", "d"))
    bare = "".join(sign for sign in decomposed if not unicodedata.combining(sign))
    without = _NOISE.sub(" ", _UNITS.sub(" ", bare)).strip()
    field = _BY_HEADING.get(heading) or _BY_HEADING.get(without, "")
    if not field and _MONEY.search(bare) and _PER_HUNDRED.search(bare):
        return "unit_price"
    # "EUR/pc" and "$ each" are prices: no one counts animals in money
    return "unit_price" if field == "count" and _MONEY.search(bare) else field


Role = Literal["", "ordered", "per_box", "box_count", "ignored"]


@lru_cache(maxsize=4096)
def role_of(text: str) -> Role:
    """What a column of figures is that is not the number of animals, by its heading; empty when the heading is silent.

    ``ordered``: wished for or still owed; ``per_box``: in one box; ``box_count``: how many boxes; ``ignored``: a weight,
    a bar code, a tank, a picture.
    """
    heading = plain_heading(text)
    if heading in _NOT_SENT:
        return "ordered"
    if heading in _PER_BOX:
        return "per_box"
    if heading in _BOX_COUNT:
        return "box_count"
    if _IGNORED.search(heading):
        return "ignored"
    return "per_box" if _IN_A_BOX.search(heading) and not _A_PRICE.search(heading) else ""
