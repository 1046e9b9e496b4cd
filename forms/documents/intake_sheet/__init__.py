"""The intake sheet: a page for the day a batch is opened, a page for the weeks, and further pages where they are needed."""

from __future__ import annotations

from forms.documents.intake_sheet.sheet_content import (
    Acclimation,
    Bath,
    DayWork,
    Permit,
    SheetContent,
    VatShare,
    WorkKind,
)
from forms.documents.intake_sheet.sheet_pages import sheet, sheets

__all__ = [
    "Acclimation",
    "Bath",
    "DayWork",
    "Permit",
    "SheetContent",
    "VatShare",
    "WorkKind",
    "sheet",
    "sheets",
]
