"""What a packing list can say of a line, and the headings suppliers write over it (common practice, no source)."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping

__all__ = ["FIELDS", "HEADINGS", "NOT_WANTED", "field_of", "plain_heading"]

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
}

_WRITTEN = {
    "line": "no; nr; line; line no; item no; item; pos; position; s n; sn; sr no; sl no; #; row; ref",
    "name": (
        "scientific name; scientific; latin name; latin; species; species name; taxon; name; "
        "description; description of goods; item description; product; product name; specimen; "
        "specimens; article; animal; item name; scientific name species; nombre cientifico; nom "
        "scientifique; wissenschaftlicher name; nome cientifico"
    ),
    "common_name": (
        "common name; common; trade name; english name; trade; local name; commercial name; nombre "
        "comun; nom commun; nome comum"
    ),
    "size": (
        "size; sizes; length; shell length; diameter; size class; dimension; dimensions; size range; "
        "size grade; grade; taille; talla; tamano; tamanho; groesse; grosse; lenght"
    ),
    "count": (
        "qty; quantity; pcs; pc; piece; pieces; count; no of pcs; no of pieces; number of pieces; nos; heads; "
        "units; animals; quantity pcs; qty pcs; qty pc; total pcs; total qty; number of animals; no of "
        "animals; number of specimens; ea; specimen count; cantidad; quantite; menge; anzahl; "
        "quantidade; stueck; stuck; shipped; qty shipped; number"
    ),
    "boxes": (
        "box; boxes; box no; box nr; box number; box numbers; box #; carton; carton no; ctn; ctn no; "
        "cartons; box nos; caja; caixa; karton; carton number; packed in box; #box"
    ),
    "bags": "bag; bags; bag no; bag number; no of bags; number of bags; pack; bolsa; bolsas",
    "unit_price": (
        "unit price; price; price each; price usd pc; price pc; price per pc; price per piece; rate; "
        "price unit; price per unit; each; u price; unit cost; cost; unit value; per pc; prix unitaire; "
        "precio unitario; preco unitario; einzelpreis; precio; preis; prix"
    ),
    "amount": (
        "amount; total; value; line total; total price; total value; total amount; sum; subtotal; "
        "extended; ext price; net amount; importe; montant; betrag; gesamtpreis; valor; price total; "
        "amount total"
    ),
    "currency": "currency; cur; ccy; moneda; devise; waehrung; wahrung",
    "origin": (
        "origin; country of origin; country; source country; origin country; country origin; origen; "
        "origine; ursprung; herkunft"
    ),
    "source_code": "source; source code; cites source; cites source code; source w f c; origin code",
    "permit": (
        "permit; permit no; permit number; export permit; cites permit; cites permit no; cites no; "
        "certificate; certificate no; licence no; license no; export permit no; permit nr"
    ),
    "listing": "appendix; listing; cites; cites appendix; app; cites app; listed; annex",
    "packed": (
        "packed; packing time; time packed; packed at; packed on; bagged; bagged at; pack date; packing "
        "date; packed time; date packed; packing date time; pack time; date time packed"
    ),
    "note": "note; notes; remark; remarks; comment; comments; observations; bemerkung",
}
HEADINGS: Mapping[str, tuple[str, ...]] = {name: tuple(text.split("; ")) for name, text in _WRITTEN.items()}

NOT_WANTED = re.compile(
    r"^(nos|no of|number of|total|total no of|qty|quantity|qty of) (boxes|box|cartons|ctns)$|weight|"
    r"^(gross|net|kg|kgs|tare)\b|barcode|^awb|tank|photo|picture|image"
)
"""Headings that look like ours and are not: how many boxes is not which box."""

_CURRENCY = r"\b(?:usd|eur|gbp|aud|sgd|idr|jpy|cad|hkd|fjd|nzd|php|lkr|kes|xpf|us|u s)\b|[$€£¥]"
_UNITS = re.compile(rf"\b(?:mm|cms?|inch(?:es)?|in)\b|[\"″]|{_CURRENCY}")
_MONEY = re.compile(_CURRENCY)
_NOISE = re.compile(r"[^\w#]+|_")
_BY_HEADING = {heading: name for name, headings in HEADINGS.items() for heading in headings}


def plain_heading(text: str) -> str:
    """A heading as it is compared: small letters, no accents, no punctuation."""
    decomposed = unicodedata.normalize("NFKD", text[:120].casefold().replace("ß", "ss"))
    bare = "".join(sign for sign in decomposed if not unicodedata.combining(sign))
    return _NOISE.sub(" ", bare).strip()


def field_of(text: str) -> str:
    """The field a heading names word for word, units and currencies set aside; empty when it names none."""
    heading = plain_heading(text)
    if not heading or NOT_WANTED.search(heading):
        return ""
    decomposed = unicodedata.normalize("NFKD", text[:120].casefold())
    bare = "".join(sign for sign in decomposed if not unicodedata.combining(sign))
    without = _NOISE.sub(" ", _UNITS.sub(" ", bare)).strip()
    field = _BY_HEADING.get(heading) or _BY_HEADING.get(without, "")
    # "EUR/pc" and "$ each" are prices: no one counts animals in money
    return "unit_price" if field == "count" and _MONEY.search(bare) else field
