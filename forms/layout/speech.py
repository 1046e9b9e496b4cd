"""The language a form is printed in: what says its phrases and writes its numbers; English unless a content names another."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Protocol

__all__ = ["ENGLISH", "Speech", "phrase"]


class Speech(Protocol):
    """Says whole phrases with their values by name, and writes numbers and days, as one language does."""

    @property
    def code(self) -> str:
        """Code of the language (BCP 47), for the document's own tag."""
        ...

    def say(self, words: str, /, **values: object) -> str:
        """A phrase with its values at their names."""
        ...

    def say_many(self, one: str, many: str, n: int, /, **values: object) -> str:
        """A phrase that depends on a number, which stands at ``{n}``."""
        ...

    def number(self, value: float, decimals: int) -> str:
        """A number with fixed decimals."""
        ...

    def count(self, n: int) -> str:
        """A whole number with its thousands apart."""
        ...

    def day(self, moment: date, form: str) -> str:
        """A day by a pattern of ``strftime``."""
        ...


@dataclass(frozen=True, slots=True)
class _English:
    """The language forms are written in."""

    code: str = "en"

    def say(self, words: str, /, **values: object) -> str:
        """As written."""
        return words.format(**values) if values else words

    def say_many(self, one: str, many: str, n: int, /, **values: object) -> str:
        """One or many."""
        return (one if n == 1 else many).format(n=self.count(n), **values)

    def number(self, value: float, decimals: int) -> str:
        """With a true minus sign."""
        text = f"{value:.{decimals}f}"
        if text.startswith("-"):
            text = text[1:] if float(text) == 0 else "−" + text[1:]
        return text

    def count(self, n: int) -> str:
        """With commas."""
        return f"{n:,}"

    def day(self, moment: date, form: str) -> str:
        """As the pattern has it."""
        return moment.strftime(form)


ENGLISH: Speech = _English()


def phrase(words: str) -> str:
    """Mark words that are said in another place, so that they come into the catalogue."""
    return words
