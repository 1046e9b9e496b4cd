"""Measures what a PDF prints and takes: sizes of type, sides of boxes to tick, heights of boxes to write in."""

from __future__ import annotations

from typing import Any

from tests.forms.reading import reader

MM = 72 / 25.4


def type_sizes(data: bytes) -> set[float]:
    """Every size of type set anywhere in the PDF, points."""
    sizes: set[float] = set()

    def saw(text: str, _cm: Any, matrix: Any, _font: Any, size: float) -> None:
        if text.strip():
            sizes.add(round(abs(size * matrix[3]), 2))

    for page in reader(data).pages:
        page.extract_text(visitor_text=saw)
    return sizes


def fields(data: bytes) -> list[dict[str, Any]]:
    """Form fields of a fillable PDF: name, kind (tick, choice, text), tooltip, width and height in mm, page."""
    found = []
    for number, page in enumerate(reader(data).pages, start=1):
        for one in page.get("/Annots") or ():
            widget = one.get_object()
            field = widget if "/T" in widget else widget["/Parent"].get_object()
            kind = {"/Btn": "tick", "/Tx": "text"}[str(field["/FT"])]
            if kind == "tick" and int(field.get("/Ff", 0)) & 1 << 15:
                kind = "choice"
            left, low, right, top = (float(value) for value in widget["/Rect"])
            found.append(
                {
                    "name": str(field["/T"]), "kind": kind, "told": str(field.get("/TU") or ""), "page": number,
                    "width": (right - left) / MM, "height": (top - low) / MM, "left": left / MM, "low": low / MM,
                }
            )  # fmt: skip
    return found


def least_tick(data: bytes) -> float:
    """Smallest side of a box to tick or of a ring to choose, mm."""
    return min(min(float(one["width"]), float(one["height"])) for one in fields(data) if one["kind"] != "text")


def least_writing(data: bytes) -> float:
    """Smallest height of a box to write in, mm; a text field lies 1 pt inside its box on each side."""
    return float(min(one["height"] for one in fields(data) if one["kind"] == "text")) + 2 / MM
