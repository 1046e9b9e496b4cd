"""The present as a value: who is in which vat since when, and what has been done to and seen on them.

``ledger`` folds its entries into a :class:`Floor`; ``plan``, ``quarantine`` and ``timetable`` read it.  So what
happened reaches the next plan without a room importing a later one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from decimal import Decimal

__all__ = [
    "Batch",
    "Closure",
    "Dead",
    "Done",
    "Floor",
    "Found",
    "Freedom",
    "Hold",
    "Ordered",
    "Past",
    "Reading",
    "Stay",
]


@dataclass(frozen=True, slots=True)
class Batch:
    """Animals of one line, one house cutting or one first stocktake, kept together in the ledger.

    Attributes
    ----------
    id
        Printed everywhere: shipment and line (``S1-07``), ``H3`` for stock found at the first stocktake, ``C4`` for a
        house cutting.
    shipment
        Shipment id, empty for house stock.
    line
        Row of the packing list, counted from 1; 0 for house stock.
    name
        Name as the ledger keeps it (accepted scientific or trade name).
    group
        Husbandry group id of the library.
    size_mm
        Governing size of one animal in mm (shell length, colony or disc diameter, fish length).
    supplier
        Supplier id, empty for house stock.
    announced
        Animals announced by the packing list, cut, or counted at the stocktake.
    unit_price, currency
        Invoice price of one animal and its ISO 4217 code; ``None`` and empty when unknown.
    packed_at
        When the bag was closed, time-zone aware.
    parent
        Batch a cutting was taken from.
    listing_text, permit, origin, source_code
        What the line said of permit papers (``husbandry.md`` 6.2), as text.
    """

    id: str
    name: str
    group: str
    size_mm: float
    announced: int
    shipment: str = ""
    line: int = 0
    supplier: str = ""
    boxes: tuple[str, ...] = ()
    origin: str = ""
    source_code: str = ""
    permit: str = ""
    listing_text: str = ""
    unit_price: Decimal | None = None
    currency: str = ""
    packed_at: datetime | None = None
    parent: str = ""
    written_as: str = ""


@dataclass(frozen=True, slots=True)
class Stay:
    """Animals of one batch standing in one vat now.

    ``since`` is when the first of them entered; ``stage`` one of quarantine, healing, grow-out, released.
    """

    batch: str
    vat: str
    count: int
    since: datetime
    stage: str


@dataclass(frozen=True, slots=True)
class Past:
    """A stay that has ended: animals of one batch in one vat from ``start`` until the last of them left at ``end``."""

    batch: str
    vat: str
    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Done:
    """A task recorded as done; ``task`` is the timetable's uid, ``kind`` what it was (``dip``, ``test``).

    Attributes
    ----------
    vat, to
        Where it was done; for a transfer, the vat the animals were moved to by the same act (empty: none was).
    agents
        Agent classes of a treatment; empty for other work and in books from before they were kept.
    where
        ``vat`` when the agent went into the water of the vat, ``tub`` when beside it.
    """

    task: str
    batch: str
    kind: str
    at: datetime
    who: str
    vat: str = ""
    to: str = ""
    agents: tuple[str, ...] = ()
    where: str = ""


@dataclass(frozen=True, slots=True)
class Ordered:
    """A treatment ordered for a batch, as given: by whom, with what, how strong, for how many minutes or days."""

    batch: str
    dip: str
    agents: tuple[str, ...]
    prescriber: str
    reference: str
    strength: str
    at: datetime
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class Closure:
    """A vat closed by a person, beside what the farm file says: ``until`` is empty while no one has opened it."""

    vat: str
    since: datetime
    until: datetime | None
    reason: str

    def holds(self, at: datetime) -> bool:
        """Whether the vat is closed at a moment."""
        return self.since <= at and (self.until is None or at < self.until)


@dataclass(frozen=True, slots=True)
class Found:
    """Inspection result: ``what`` is empty for a clean inspection, a pest id or words otherwise."""

    batch: str
    vat: str
    what: str
    at: datetime
    who: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Dead:
    """A loss: ``head`` one of doa, dead, missing, wrong; ``count`` may be negative in a correction."""

    batch: str
    vat: str
    head: str
    count: int
    at: datetime


@dataclass(frozen=True, slots=True)
class Reading:
    """A measurement in a vat, system, box or bag, in SI or °C; ``scale`` names the scale of a pH or gravity."""

    place: str
    quantity: str
    value: float
    scale: str
    at: datetime
    who: str


@dataclass(frozen=True, slots=True)
class Hold:
    """A batch that may not be released, with the reason.

    ``lifted`` is empty while the hold stands, else why it was lifted; ``lifted_at`` says when, where that is known.
    """

    batch: str
    reason: str
    since: datetime
    lifted: str = ""
    lifted_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Freedom:
    """When animals of a batch may leave the water they are in, on the facts of one moment.

    Attributes
    ----------
    stage
        ``quarantine``, ``healing``, ``grow-out`` or ``released``.
    entered
        When they entered it.
    own_end
        End by the lot's own clock, findings and open work, other lots aside; known even while ``unknown`` says that a
        person must decide first.  What a lot that enters its water is held by.
    free_from
        End with all who share its water: the last lot to enter sets the date for all.
        ``None`` while ``unknown`` names a reason.  In the
        past for a lot that is free already; planned work not done yet counts as done on its day.
    set_by
        The lot whose end that is; the batch itself when it waits for no one.
    waters
        Systems it is in, sorted.
    unknown
        Why no day can be named, a sentence each: holds, unexplained deaths, lags not kept, or a lot beside it without a day.
    why
        How ``free_from`` came about, with its arithmetic, a sentence each.
    sooner
        What would bring it forward, a sentence each.
    """

    batch: str
    stage: str
    entered: datetime
    own_end: datetime
    free_from: datetime | None
    set_by: str
    waters: tuple[str, ...]
    unknown: tuple[str, ...] = ()
    why: tuple[str, ...] = ()
    sooner: tuple[str, ...] = ()

    def day(self, zone: tzinfo, today: date) -> date | None:
        """The farm day from which it is free, today at the earliest; ``None`` while no one can say."""
        return None if self.free_from is None else max(self.free_from.astimezone(zone).date(), today)


@dataclass(frozen=True, slots=True)
class Floor:
    """Everything the ledger says is true at the moment ``at``."""

    at: datetime
    batches: Mapping[str, Batch] = field(default_factory=dict)
    stays: tuple[Stay, ...] = ()
    received: Mapping[str, datetime] = field(default_factory=dict)
    """Shipment id → when it was received."""
    done: tuple[Done, ...] = ()
    found: tuple[Found, ...] = ()
    losses: tuple[Dead, ...] = ()
    readings: tuple[Reading, ...] = ()
    holds: tuple[Hold, ...] = ()
    cleaned: Mapping[str, datetime] = field(default_factory=dict)
    """Vat id → when it was last emptied, cleaned and dry."""
    past: tuple[Past, ...] = ()
    closures: tuple[Closure, ...] = ()
    opened: Mapping[str, datetime] = field(default_factory=dict)
    """Vat id → when a person last opened it, whatever the farm file says of the days around."""
    orders: tuple[Ordered, ...] = ()

    def in_vat(self, vat: str) -> tuple[Stay, ...]:
        """Stays in one vat, in the order of entry."""
        return tuple(stay for stay in self.stays if stay.vat == vat)

    def headcount(self, batch: str) -> int:
        """Animals of a batch alive in the ledger."""
        return sum(stay.count for stay in self.stays if stay.batch == batch)
