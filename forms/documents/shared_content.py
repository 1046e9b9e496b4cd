"""Content several forms share: display units, acclimation steps, and the mark for values without a published source."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from forms.layout.speech import ENGLISH, Speech, phrase

__all__ = ["LOCAL_RULES", "UNSOURCED", "UNSOURCED_NOTE", "Danger", "Units", "WorkRow", "marked", "number"]


UNSOURCED = "†"
LOCAL_RULES = phrase("Follow local rules and your veterinarian.")
UNSOURCED_NOTE = phrase("† common practice; no published source for this value")


@dataclass(frozen=True, slots=True)
class Danger:
    """What can kill or hurt a person: its mark, a few words in capitals or large type, and what to do.

    Attributes
    ----------
    mark
        Sign printed with it: poison, gas, cone, mains, cuts, stings.
    head, words
        What it is; what to do, full sentences.
    short
        Words that fit a label.
    """

    mark: str
    head: str
    words: str
    short: str = ""


@dataclass(frozen=True, slots=True)
class Units:
    """Units printed in headings; the numbers given with them are already in these units."""

    temperature: str = "°C"
    volume: str = "L"
    salinity: str = "PSU"
    salinity_decimals: int = 1
    ammonia: str = "mg/L"
    ph_scale: str = "NBS"


@dataclass(frozen=True, slots=True)
class WorkRow:
    """One dip or inspection.

    Attributes
    ----------
    date
        Day, and hour if it has one, as printed.
    kind
        Dip, inspection, or the like.
    what
        Agent, or what is looked for.
    strength, minutes, protection
        As printed, with units; empty for an inspection.
    published
        False marks the strength as having no published source.
    """

    date: str
    kind: str
    what: str
    strength: str = ""
    minutes: str = ""
    protection: str = ""
    published: bool = True


def number(value: float | None, decimals: int, language: Speech = ENGLISH) -> str:
    """A number with fixed decimals and a true minus sign; a dash when there is none."""
    return "–" if value is None else language.number(value, decimals)


def marked(text: str, *, published: bool) -> str:
    """`text` with the mark of an unsourced value when it is one."""
    return text if published or not text else f"{text} {UNSOURCED}"


def joined(parts: Iterable[str], between: str = " · ") -> str:
    """The non-empty parts on one line."""
    return between.join(part for part in parts if part)
