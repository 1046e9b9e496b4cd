"""What was typed into a returned PDF form: the values of its named fields, and what it says of its origin."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from intake.app.documents.weekly.returned.form_origin import Origin, origin_of
from intake.errors import BadInput, Finding
from intake.packing.pdf_file import opened_pdf

__all__ = ["Returned", "number_of", "read_returned", "whole_of"]

_MOST_PAGES: Final = 2_000
_WHOLE: Final = re.compile(r"\d{1,6}")
_NUMBER: Final = re.compile(r"-?\d{1,4}(\.\d{1,4}|,\d{1,2})?")
_SHEET: Final = re.compile(r"(\S.*) \S+ (\d{1,9})")
_OURS: Final = "a fillable form of this farm"
_DO: Final = "Print it with `vatside print sheets --shipment S1 --fillable`, type into it and save it."


@dataclass(frozen=True, slots=True)
class Returned:
    """A form as it came back.

    Attributes
    ----------
    farm
        Name of the farm that printed it.
    sheets
        Batch → revision of its intake sheet; nothing for another form.
    typed
        Field → what stands in it, text and rings only; empty ones are left out.
    origin
        What another form than the intake sheet says of itself.
    ticked
        Boxes with a tick, whether printed or made on the screen.
    names
        Every field there is.
    """

    farm: str
    sheets: Mapping[str, int]
    typed: Mapping[str, str]
    origin: Origin | None = None
    ticked: frozenset[str] = frozenset()
    names: frozenset[str] = frozenset()


def read_returned(data: bytes, file: str) -> Returned:
    """Read the fields of a form.

    Raises
    ------
    BadInput
        No PDF, a damaged or locked one, or one that is no form of ours with fields.
    """
    damaged = Finding(file, "no PDF that opens", _OURS, _DO)
    with opened_pdf(data, damaged, _MOST_PAGES) as reader:
        fields: Mapping[str, Any] = reader.get_fields() or {}
        about: Mapping[str, Any] = reader.metadata or {}
        told = {name: str(about.get(f"/{name}") or "") for name in ("Creator", "Author", "Subject")}
        typed = {str(name): _value(one) for name, one in fields.items()}
        ticked = frozenset(str(name) for name, one in fields.items() if _ticked(one))
    origin = origin_of(told["Subject"])
    sheets = {} if origin else _sheets(told["Subject"])
    if told["Creator"] != "Vatside" or not (sheets or origin):
        raise BadInput(Finding(file, "a PDF that is no form of ours", _OURS, _DO))
    if not fields:
        raise BadInput(Finding(file, "a form without fields", _OURS, _DO))
    given = {name: value for name, value in typed.items() if value}
    return Returned(told["Author"], sheets, given, origin, ticked, frozenset(typed))


def _value(field: Mapping[str, Any]) -> str:
    """Text as typed, or the ring chosen; a tick is none of both."""
    value = field.get("/V")
    if field.get("/FT") == "/Tx":
        return " ".join(str(value or "").split())
    if field.get("/FT") == "/Btn" and int(field.get("/Ff") or 0) & 1 << 15:  # radio buttons (ISO 32000-1, table 226)
        return "" if value in {None, "/Off", "Off"} else str(value).removeprefix("/")
    return ""


def _ticked(field: Mapping[str, Any]) -> bool:
    """Whether a box has a tick; a ring of several has none."""
    if field.get("/FT") != "/Btn" or int(field.get("/Ff") or 0) & 1 << 15:
        return False
    return str(field.get("/V") or "/Off") not in {"/Off", "Off"}


def _sheets(subject: str) -> dict[str, int]:
    """Batch → revision, from ``S1-01 revision 12; S1-02 revision 14``, that word in any language."""
    parts = [_SHEET.fullmatch(part.strip()) for part in subject.split("; ")]
    return {found[1]: int(found[2]) for found in parts if found is not None}


def whole_of(text: str) -> int | None:
    """A number of animals as typed; ``None`` where it is none."""
    return int(text) if text.isascii() and _WHOLE.fullmatch(text) else None


def number_of(text: str) -> float | None:
    """A measurement as typed, with a point or a comma; ``None`` where it is no number."""
    return float(text.replace(",", ".")) if text.isascii() and _NUMBER.fullmatch(text) else None
