"""What the vat plan on paper shows: bars of batches in vats, and the tables beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = [
    "PlanBar",
    "PlanChange",
    "PlanContent",
    "PlanHeld",
    "PlanMove",
    "PlanRelief",
    "PlanShort",
    "PlanSystem",
    "PlanVat",
]


@dataclass(frozen=True, slots=True)
class PlanBar:
    """One batch in one vat.

    Attributes
    ----------
    batch, count
        Which batch and how many; a fallow bar has neither.
    from_day, until_day
        Days from the first day of the plan, `until_day` not included.
    kind
        ``"arriving"``, ``"present"`` or ``"fallow"``.
    full_percent, resource
        How full the vat is in what binds it, and what that is.
    stage
        Stage in words.
    leaves
        False where the bar ends only because nothing is planned beyond: no one moves animals on that day.
    out_before
        Time of day by which they must be out on the last day, ``"07:30"``; empty where the day is enough.
    """

    batch: str
    count: int
    from_day: float
    until_day: float
    kind: str = "arriving"
    full_percent: float | None = None
    resource: str = ""
    stage: str = ""
    leaves: bool = True
    out_before: str = ""


@dataclass(frozen=True, slots=True)
class PlanVat:
    """One vat with its bars; `detail` such as its bench area."""

    vat: str
    bars: tuple[PlanBar, ...] = ()
    detail: str = ""


@dataclass(frozen=True, slots=True)
class PlanSystem:
    """Vats that share water."""

    name: str
    vats: tuple[PlanVat, ...]
    detail: str = ""


@dataclass(frozen=True, slots=True)
class PlanMove:
    """Current stock to move before a day."""

    batch: str
    count: int
    from_vat: str
    to_vat: str
    by: str


@dataclass(frozen=True, slots=True)
class PlanShort:
    """Animals that find no place, and what binds."""

    batch: str
    name: str
    count: int
    binding: str


@dataclass(frozen=True, slots=True)
class PlanRelief:
    """One thing that would make room, what gains most first."""

    do: str
    frees: str
    cost: str
    places: int


@dataclass(frozen=True, slots=True)
class PlanChange:
    """What is otherwise than in the plan accepted before, and why; vats with their animals in words."""

    batch: str
    stage: str
    before: str
    after: str
    why: str


@dataclass(frozen=True, slots=True)
class PlanHeld:
    """Animals that stay in quarantine longer because of another lot in their water."""

    batch: str
    count: int
    until: str
    days: int
    because: str


@dataclass(frozen=True, slots=True)
class PlanContent:
    """What the plan's picture shows.

    Attributes
    ----------
    shipment
        What is planned.
    state
        Proposed, accepted or superseded, and optimal or bounded, in words.
    days
        Label of each day shown, in order.
    announced, placed
        Animals.
    aim
        What an animal counts in the plan, and why, in a sentence.
    counted_on
        Growth and sales that the plan counts on, a sentence each.
    waters
        When each quarantine water empties, and warnings, a sentence each.
    names
        Batch → species, for the key to the fills.
    """

    farm: str
    shipment: str
    days: tuple[str, ...]
    systems: tuple[PlanSystem, ...]
    announced: int
    placed: int
    state: str = ""
    moves: tuple[PlanMove, ...] = ()
    short: tuple[PlanShort, ...] = ()
    relief: tuple[PlanRelief, ...] = ()
    changes: tuple[PlanChange, ...] = ()
    held: tuple[PlanHeld, ...] = ()
    aim: str = ""
    counted_on: tuple[str, ...] = ()
    waters: tuple[str, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)
