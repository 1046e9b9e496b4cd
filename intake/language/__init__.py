"""The languages papers and calendars are written in: whole phrases by name, numbers and days as their readers write them."""

from __future__ import annotations

from intake.language.contents import in_figures
from intake.language.marking import phrase
from intake.language.speaking import CODES, ENGLISH, Language, language_of

__all__ = ["CODES", "ENGLISH", "Language", "in_figures", "language_of", "phrase"]
