"""Every phrase a catalogue must hold: those the code says, and the words of the shipped library that papers show."""

from __future__ import annotations

import io
from pathlib import Path

from babel.messages.extract import extract

import forms
import intake
from intake import library
from intake.library.shown_words import shown_words

__all__ = ["Phrase", "library_words", "phrases_of_code"]

_SAID = {"say": None, "say_many": (1, 2), "phrase": None}
"""Names by which a phrase is said, and where its plural stands."""
_ROOMS = ("language", "app")
"""Where `intake` says phrases of papers and calendars; the command line and the board speak English."""
_PACKAGE = Path(intake.__file__).parent
_ROOTS = (*(_PACKAGE / room for room in _ROOMS), Path(forms.__file__).parent)

Phrase = str | tuple[str, str]
"""Words, or singular and plural."""


def phrases_of_code() -> dict[Phrase, str]:
    """Phrase → the first module in which it is said."""
    found: dict[Phrase, str] = {}
    for root in _ROOTS:
        for file in sorted(root.rglob("*.py")):
            data = io.BytesIO(file.read_bytes())
            for _, words, _, _ in extract("python", data, keywords=_SAID, options={"encoding": "utf-8"}):
                key: Phrase = words if isinstance(words, str) else (str(words[0]), str(words[1]))
                found.setdefault(key, file.relative_to(_PACKAGE.parent).as_posix())
    return found


def library_words() -> set[str]:
    """Words of the shipped library that stand on papers or in events."""
    return set(filter(None, shown_words(library.load())))
