"""What was typed into a returned PDF form: the values of its named fields, and what it says of its origin."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from intake.errors import BadInput, Finding
from intake.packing.pdf_file import opened_pdf

__all__ = ["Returned", "number_of", "read_returned", "whole_of"]

_MOST_PAGES: Final = 2_000
_WHOLE: Final = re.compile(r"\d{1,6}")
_NUMBER: Final = re.compile(r"-?\d{1,4}(\.\d{1,4}|,\d{1,2})?")
_DO: Final = "Print the sheet with `vatside print sheets --shipment S1 --fillable`, type into it and save it."


@dataclass(frozen=True, slots=True)
class Returned:
    """A form as it came back.

    Attributes
    ----------
    farm
        Name of the farm that printed it.
    sheets
        Batch → revision of its sheet.
    typed
        Field → what stands in it, text and rings only; empty ones are left out.
    """

    farm: str
    sheets: Mapping[str, int]
    typed: Mapping[str, str]


def read_returned(data: bytes, file: str) -> Returned:
    """Read the fields of an intake sheet.

    Raises
    ------
    BadInput
        No PDF, a damaged or locked one, or one that is no intake sheet of ours with fields.
    """
    damaged = Finding(file, "no PDF that opens", "a fillable intake sheet of this farm", _DO)
    with opened_pdf(data, damaged, _MOST_PAGES) as reader:
        fields: Mapping[str, Any] = reader.get_fields() or {}
        about: Mapping[str, Any] = reader.metadata or {}
        told = {name: str(about.get(f"/{name}") or "") for name in ("Creator", "Author", "Subject")}
        typed = {str(name): _value(one) for name, one in fields.items()}
    sheets = _sheets(told["Subject"])
    if told["Creator"] != "Vatside" or not sheets:
        raise BadInput(Finding(file, "a PDF that is no intake sheet", "a fillable intake sheet of this farm", _DO))
    if not fields:
        raise BadInput(Finding(file, "an intake sheet without fields", "a fillable intake sheet of this farm", _DO))
    return Returned(told["Author"], sheets, {name: value for name, value in typed.items() if value})


def _value(field: Mapping[str, Any]) -> str:
    """Text as typed, or the ring chosen; a tick is none of both."""
    value = field.get("/V")
    if field.get("/FT") == "/Tx":
        return " ".join(str(value or "").split())
    if field.get("/FT") == "/Btn" and int(field.get("/Ff") or 0) & 1 << 15:  # radio buttons (ISO 32000-1, table 226)
        return "" if value in {None, "/Off", "Off"} else str(value).removeprefix("/")
    return ""


def _sheets(subject: str) -> dict[str, int]:
    """Batch → revision, from ``S1-01 revision 12; S1-02 revision 14``."""
    parts = [part.rpartition(" revision ") for part in subject.split("; ")]
    return {batch.strip(): int(number) for batch, mark, number in parts if mark and _WHOLE.fullmatch(number)}


def whole_of(text: str) -> int | None:
    """A number of animals as typed; ``None`` where it is none."""
    return int(text) if text.isascii() and _WHOLE.fullmatch(text) else None


def number_of(text: str) -> float | None:
    """A measurement as typed, with a point or a comma; ``None`` where it is no number."""
    return float(text.replace(",", ".")) if text.isascii() and _NUMBER.fullmatch(text) else None
