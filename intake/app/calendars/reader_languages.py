"""In which languages an event is written: the farm's, and beside it that of every person who reads another."""

from __future__ import annotations

from collections.abc import Callable

from intake.app.session import House
from intake.language import language_of
from intake.library.shown_words import shown_words

__all__ = ["told_in_others", "untranslated"]


def told_in_others(house: House, words: Callable[[House], tuple[str, str]]) -> tuple[tuple[str, str, str], ...]:
    """Code, title and text for each language but the house's own in which somebody reads.

    Parameters
    ----------
    words
        Gives title and text of an event in the language of the house it is given.
    """
    codes = {house.site.language_of(person) for person in house.site.people} - {house.language.code}
    return tuple((code, *words(house.speaking(code))) for code in sorted(codes))


_MOST_NAMED = 12


def untranslated(house: House) -> list[str]:
    """What papers and calendars say in English to people who read another language: a line for each such language."""
    site, lines = house.site, []
    for code in sorted({site.farm.language, *map(site.language_of, site.people)} - {"en"}):
        language = language_of(code)
        words = [word for word in dict.fromkeys(shown_words(house.library)) if word and not language.knows(word)]
        if words:
            named = "; ".join(words[:_MOST_NAMED])
            more = f" and {len(words) - _MOST_NAMED} more" if len(words) > _MOST_NAMED else ""
            lines.append(
                f"{len(words)} phrases of the library have no words in '{code}' and stay English: {named}{more}"
            )
    return lines
