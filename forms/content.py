"""Content several forms share: display units, acclimation steps, and the mark for values without a published source."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["LOCAL_RULES", "UNSOURCED", "UNSOURCED_NOTE", "AcclimationStep", "Units", "WorkRow", "marked", "number"]

UNSOURCED = "†"
LOCAL_RULES = "Follow local rules and your veterinarian."
UNSOURCED_NOTE = "† common practice; no published source for this value"


@dataclass(frozen=True, slots=True)
class Units:
    """Units printed in headings; the numbers given with them are already in these units."""

    temperature: str = "°C"
    volume: str = "L"
    salinity: str = "PSU"
    ammonia: str = "mg/L"
    ph_scale: str = "NBS"


@dataclass(frozen=True, slots=True)
class AcclimationStep:
    """One line of a step table, in display units; None prints a dash.

    Attributes
    ----------
    minute
        Minutes since the bag was opened.
    do
        What to do, in words.
    volume, temperature, salinity, ph, nh3_n
        Water in the tub and what is expected in it after the step.
    """

    minute: float
    do: str
    volume: float | None = None
    temperature: float | None = None
    salinity: float | None = None
    ph: float | None = None
    nh3_n: float | None = None

    def printed(self) -> tuple[str, ...]:
        """The numbers as printed: minute, volume, temperature, salinity, pH, ammonia."""
        return (
            number(self.minute, 0),
            number(self.volume, 1),
            number(self.temperature, 1),
            number(self.salinity, 1),
            number(self.ph, 2),
            number(self.nh3_n, 3),
        )


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


def number(value: float | None, decimals: int) -> str:
    """A number with fixed decimals and a true minus sign; a dash when there is none."""
    if value is None:
        return "–"
    text = f"{value:.{decimals}f}"
    if text.startswith("-"):
        text = text[1:] if float(text) == 0 else "−" + text[1:]
    return text


def marked(text: str, *, published: bool) -> str:
    """`text` with the mark of an unsourced value when it is one."""
    return text if published or not text else f"{text} {UNSOURCED}"


def joined(parts: Iterable[str], between: str = " · ") -> str:
    """The non-empty parts on one line."""
    return between.join(part for part in parts if part)
