"""The intake sheet: everything about one batch on two pages at most, to carry through the receiving day and after."""

from __future__ import annotations

from forms.sheet.content import Acclimation, Permit, SheetContent, StageDates, VatShare
from forms.sheet.fit import sheet, sheets

__all__ = ["Acclimation", "Permit", "SheetContent", "StageDates", "VatShare", "sheet", "sheets"]
