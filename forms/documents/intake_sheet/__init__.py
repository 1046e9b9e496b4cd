"""The intake sheet: everything about one batch on two pages at most, to carry through the receiving day and after."""

from __future__ import annotations

from forms.documents.intake_sheet.fit_two_pages import sheet, sheets
from forms.documents.intake_sheet.sheet_content import Acclimation, Permit, SheetContent, StageDates, VatShare

__all__ = ["Acclimation", "Permit", "SheetContent", "StageDates", "VatShare", "sheet", "sheets"]
