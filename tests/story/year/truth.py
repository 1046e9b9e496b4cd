"""What really happened on the farm of the year: the simulator's own account, never asked of the tool."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime

from tests.story.year.farm import Kind

__all__ = ["Act", "Coming", "Truth"]


@dataclass(frozen=True, slots=True)
class Act:
    """Something done: what (``done``, ``finding``, ``hold``, ``lift``, ``received``, ``moved``), to whom, where, when."""

    what: str
    batch: str
    vat: str
    at: datetime
    words: str = ""


@dataclass(slots=True)
class Coming:
    """A shipment ordered: its supplier, its landing, and its fate (``lands``, ``slips`` a day, ``never``)."""

    supplier: str
    lands: date
    fate: str
    lines: dict[str, int] = field(default_factory=dict)


@dataclass(slots=True)
class Truth:
    """Who stands where, who died, and everything that was done."""

    alive: Counter[tuple[str, str]] = field(default_factory=Counter)
    lost: Counter[tuple[str, str]] = field(default_factory=Counter)
    """(batch, head) → animals."""
    kind: dict[str, Kind] = field(default_factory=dict)
    supplier: dict[str, str] = field(default_factory=dict)
    entered: dict[str, datetime] = field(default_factory=dict)
    diary: list[Act] = field(default_factory=list)

    def lose(self, batch: str, vat: str, head: str, number: int) -> None:
        """Animals that died or were never there."""
        self.alive[batch, vat] -= number
        self.lost[batch, head] += number

    def move(self, batch: str, source: str, target: str, number: int) -> None:
        """Animals carried from a vat to another, or sold."""
        self.alive[batch, source] -= number
        self.alive[batch, target] += number

    def standing(self) -> dict[tuple[str, str], int]:
        """(batch, vat) → animals, those of vats only."""
        return {(b, v): n for (b, v), n in self.alive.items() if n > 0 and v not in {"sold", "dock"}}
