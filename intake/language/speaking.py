"""One language as a value: what says a phrase in it, retells a sentence the books hold, and writes numbers and days."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache, lru_cache
from gettext import GNUTranslations, NullTranslations
from importlib import resources
from typing import Final

from intake.language.marking import phrase
from intake.language.sentences import KEPT

__all__ = ["CODES", "ENGLISH", "Language", "language_of"]


_MISSING: Final = "\0"
_PLACE: Final = re.compile(r"\\\{(\w+)\\\}")
_NUMBER: Final = re.compile(r"(?<![\w.,:/-])(\d{1,3}(?:,\d{3})+|\d+)(?:\.(\d+))?(?![\w.:/-]|,\d)")
_DAYS: Final = (
    phrase("Mon"), phrase("Tue"), phrase("Wed"), phrase("Thu"), phrase("Fri"), phrase("Sat"), phrase("Sun"),
)  # fmt: skip
_MONTHS: Final = (
    phrase("Jan"), phrase("Feb"), phrase("Mar"), phrase("Apr"), phrase("May"), phrase("Jun"), phrase("Jul"),
    phrase("Aug"), phrase("Sep"), phrase("Oct"), phrase("Nov"), phrase("Dec"),
)  # fmt: skip
_NAMES: Final = re.compile(rf"\b(?:{'|'.join((*_DAYS, *_MONTHS))})\b")

_DATED: Final = re.compile(r"\b(?:[A-Z][a-z]{2} )?\d{1,2} [A-Z][a-z]{2}\b")


class _Untranslated(NullTranslations):
    """Marks what a catalogue does not hold, so that it can be distinguished from a phrase that is the same in both languages."""

    def gettext(self, message: str) -> str:
        return _MISSING + message

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return _MISSING + (msgid1 if n == 1 else msgid2)


@dataclass(frozen=True, slots=True)
class Language:
    """A language in which something is read; two of one code are equal.

    Attributes
    ----------
    code
        As farm files name it: ``en``, ``es``, ``es-419``.
    decimal, thousands
        How numbers are written (Unicode CLDR 48, numbers of the locale); the thousands of ``es`` stand apart by a thin
        space (SI brochure, 9th edition, 5.4.4), since a full stop there is a decimal mark to half of its readers.
    """

    code: str
    decimal: str = "."
    thousands: str = ","
    _told: NullTranslations = field(default_factory=NullTranslations, compare=False, repr=False)

    @property
    def english(self) -> bool:
        """Whether it is the language the program itself is written in."""
        return self.code == "en"

    def knows(self, words: str) -> bool:
        """Whether these words have a translation; everything has one in English."""
        return not words.strip() or not self._told.gettext(words).startswith(_MISSING)

    def say(self, words: str, /, **values: object) -> str:
        """A whole phrase with its values at their names; in English where there is no translation."""
        told = self._told.gettext(words).removeprefix(_MISSING) if words else ""
        return told.format(**values) if values else told

    def say_many(self, one: str, many: str, n: int, /, **values: object) -> str:
        """A phrase that depends on a number, which stands at ``{n}`` written as numbers are."""
        told = self._told.ngettext(one, many, n).removeprefix(_MISSING)
        return told.format(n=self.count(n), **values)

    def retell(self, text: str) -> str:
        """A sentence the books or the library hold in English, by the phrase it was made of; as it is where none fits.

        Clauses joined by a semicolon are translated one by one.  Numbers stay as they are until :meth:`figures` writes them,
        after the farm's units have been put to them.
        """
        return text if self.english or not text else _retold(self.code, text)

    def number(self, value: float, decimals: int) -> str:
        """A number with fixed decimals and a true minus sign."""
        text = f"{value:.{decimals}f}"
        if text.startswith("-"):
            text = text[1:] if float(text) == 0 else "−" + text[1:]
        return text.replace(".", self.decimal)

    def count(self, n: int) -> str:
        """A whole number with its thousands apart."""
        text = f"{n:,}"
        return text.replace(",", "" if self.code == "es" and len(text) < 6 else self.thousands)

    def figures(self, text: str) -> str:
        """A text in which numbers are written the English way, with them written as here."""
        return text if self.english else _NUMBER.sub(self._figure, text)

    def _figure(self, found: re.Match[str]) -> str:
        whole, decimals = found[1], found[2]
        plain = self.count(int(whole.replace(",", ""))) if "," in whole else whole
        return f"{plain}{self.decimal}{decimals}" if decimals else plain

    def day(self, moment: date, form: str) -> str:
        """A day or a moment by a pattern of :meth:`~datetime.date.strftime`, its names of days and months said here."""
        text = moment.strftime(form)
        return text if self.english else _NAMES.sub(lambda found: self.say(found[0]), text)

    def clause(self, text: str) -> str:
        """One clause of a sentence by its phrase, with or without a full stop; unchanged but for its dates where none fits."""
        if self.knows(text):
            return self.say(text)
        for shape, words in _shapes():
            found = shape.fullmatch(text)
            if found is not None and self.knows(words):
                return self.say(words, **{name: self.retell(value) for name, value in found.groupdict().items()})
        return self.clause(text[:-1]) + "." if text.endswith(".") else self.plain(text)

    def plain(self, text: str) -> str:
        """Words that stay as they are, with the names of days and months in dates said here."""
        return _NAMES.sub(lambda found: self.say(found[0]), text) if _DATED.search(text) else text


@lru_cache(maxsize=20_000)
def _retold(code: str, text: str) -> str:
    language = language_of(code)
    if "\n" in text:
        return "\n".join(language.retell(line) for line in text.split("\n"))
    if text.startswith(_NONE):  # handwork: how, in one phrase that may hold semicolons
        return language.say("none: {how}", how=language.retell(text.removeprefix(_NONE)))
    sentences = _SENTENCE.split(text)
    if len(sentences) > 1 and not language.knows(text):
        return " ".join(map(language.retell, sentences))
    if "; " in text and text.endswith(".") and (whole := language.clause(text)) != language.plain(text):
        return whole  # a sentence of a rule, whose list may hold semicolons
    parts, told = text.split("; "), []
    while parts:
        most = next((n for n in range(len(parts), 1, -1) if language.knows("; ".join(parts[:n]))), 1)
        told.append(language.clause("; ".join(parts[:most])))
        parts = parts[most:]
    return "; ".join(told)


@cache
def _shapes() -> Sequence[tuple[re.Pattern[str], str]]:
    """Every phrase with values of which the books hold sentences, as a pattern that finds the values again."""
    found = []
    for words in sorted(KEPT, key=len, reverse=True):  # the most particular first
        found.append((re.compile(_PLACE.sub(r"(?P<\1>.+?)", re.escape(words))), words))
    return found


_NONE: Final = "none: "
_SENTENCE: Final = re.compile(r"(?<=\.) (?=[A-Z])")

ENGLISH: Final = Language("en")

# Decimal mark and thousands: CLDR 48, es and es-419; the thousands of es as explained at the class.
_MARKS: Final[Mapping[str, tuple[str, str]]] = {"es": (",", "\u202f"), "es-419": (".", ",")}

CODES: Final = ("en", *_MARKS)
"""Languages a farm file may name: Spanish with a decimal comma, and as written in Latin America with a decimal point."""


@cache
def language_of(code: str) -> Language:
    """The language of a code of :data:`CODES`; English for the empty code.

    Raises
    ------
    KeyError
        For any other code.
    """
    if code in ("", "en"):
        return ENGLISH
    decimal, thousands = _MARKS[code]
    folder = resources.files("intake.language") / "locale" / code.partition("-")[0] / "LC_MESSAGES"
    told = GNUTranslations(io.BytesIO((folder / "vatside.mo").read_bytes()))
    told.add_fallback(_Untranslated())
    return Language(code, decimal, thousands, told)
