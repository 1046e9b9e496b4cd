"""What people and plans propose to do, as values: the question every door asks the rules."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from intake.farm.floor import Batch

__all__ = [
    "Act",
    "Amending",
    "Cleaning",
    "Closing",
    "Counting",
    "Cutting",
    "Door",
    "Joining",
    "Leaving",
    "Measuring",
    "Noticing",
    "Placing",
    "Portion",
    "Rebooking",
    "Transferring",
    "Treating",
    "Undoing",
    "Where",
]

Door = Literal["receive", "move", "count", "cut", "rebook", "stock", "undo", "plan", "check"]
Where = Literal["tub", "vat", "loop", "none"]


@dataclass(frozen=True, slots=True)
class Act:
    """Anything proposed at a moment."""

    at: datetime


@dataclass(frozen=True, slots=True)
class Portion:
    """Animals of a batch that would enter a vat; ``source`` is the vat they leave, ``dock``, or empty from outside."""

    batch: Batch
    vat: str
    count: int
    source: str = ""
    stage: str = "quarantine"


@dataclass(frozen=True, slots=True)
class Placing(Act):
    """Animals entering vats, all at once; ``door`` says by which act, ``check`` that they are there already."""

    rows: tuple[Portion, ...]
    door: Door = "move"


@dataclass(frozen=True, slots=True)
class Treating(Act):
    """A dip, bath or medicine for a batch, ordered, scheduled or done.

    Attributes
    ----------
    agents
        Every agent class it may mean, its own and those named by free text.
    where
        ``vat``: in the water of the vats named, and so of everybody in their systems.
    test
        One piece only, to see for 24 h what the agent does.
    """

    batch: Batch
    vats: tuple[str, ...]
    dip: str
    agents: tuple[str, ...]
    where: Where = "tub"
    minutes: float | None = None
    prescriber: str = ""
    reference: str = ""
    agent: str = ""
    strength: str = ""
    dose_source: str = ""
    test: bool = False
    work: bool = False
    """Whether hands are at it (done), not only paper (ordered)."""


@dataclass(frozen=True, slots=True)
class Transferring(Act):
    """A tank transfer: a whole batch moved to a clean dry vat in other water; ``to`` is empty when none is named."""

    batch: Batch
    sources: tuple[str, ...]
    to: str
    count: int


@dataclass(frozen=True, slots=True)
class Measuring(Act):
    """A reading at a place (vat, system, batch or box), in SI or °C."""

    place: str
    quantity: str
    value: float


@dataclass(frozen=True, slots=True)
class Counting(Act):
    """Animals of a batch counted out of a vat, by head, or found again."""

    batch: Batch
    vat: str
    lost: Mapping[str, int] = field(default_factory=dict)
    found: int = 0


@dataclass(frozen=True, slots=True)
class Cutting(Act):
    """Fragments cut from a parent."""

    parent: Batch
    pieces: int


@dataclass(frozen=True, slots=True)
class Noticing(Act):
    """A finding on a batch in a vat; ``vat`` is empty when not given."""

    batch: Batch
    vat: str
    what: str


@dataclass(frozen=True, slots=True)
class Cleaning(Act):
    """A vat emptied, cleaned and dry."""

    vat: str


@dataclass(frozen=True, slots=True)
class Closing(Act):
    """A vat closed to newcomers."""

    vat: str


@dataclass(frozen=True, slots=True)
class Joining(Act):
    """A vat plumbed into another system."""

    vat: str
    system: str


@dataclass(frozen=True, slots=True)
class Amending(Act):
    """An order changed before it lands; ``announced`` names lines whose number changes."""

    shipment: str
    lands: datetime | None
    announced: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Rebooking(Act):
    """Animals of a line booked as something else, or beyond its number (``extra``)."""

    batch: Batch
    vat: str
    number: int
    extra: bool = False


@dataclass(frozen=True, slots=True)
class Leaving(Act):
    """Animals that would leave their water; ``why`` is what still keeps them there, in words."""

    batch: Batch
    vat: str
    target: str
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Undoing(Act):
    """An act undone; ``depends`` is what was done since on the strength of it, ``may`` whether this person may."""

    what: str
    depends: tuple[str, ...] = ()
    may: bool = True
    who: str = ""
