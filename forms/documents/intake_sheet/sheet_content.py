"""What an intake sheet says, in page-ready form."""

from __future__ import annotations

from dataclasses import dataclass, field

from forms.documents.acclimation_steps import AcclimationStep
from forms.documents.shared_content import Units, WorkRow

__all__ = ["Acclimation", "Permit", "SheetContent", "StageDates", "VatShare"]


@dataclass(frozen=True, slots=True)
class VatShare:
    """How many of the batch go into one vat, and when; dates as printed."""

    vat: str
    count: int
    system: str = ""
    stage: str = ""
    enters: str = ""
    leaves: str = ""


@dataclass(frozen=True, slots=True)
class StageDates:
    """One stage with its dates as printed; `published` False marks a length without a published source."""

    stage: str
    starts: str
    ends: str
    published: bool = True


@dataclass(frozen=True, slots=True)
class Permit:
    """One permit or paper that must travel with the batch; everything as printed."""

    kind: str
    number: str
    quantity: str = ""
    valid_until: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Acclimation:
    """How the batch is brought to the vat's water.

    Attributes
    ----------
    mode
        Mode in words.
    reason
        Why this mode.
    steps
        Step table.
    limit
        The first step at which a limit would be passed, in words; empty if none is.
    water
        Water used, as printed with its unit.
    tubs
        Tubs, air and heater, as a sentence.
    published
        False marks the limits as having no published source.
    """

    mode: str
    reason: str = ""
    steps: tuple[AcclimationStep, ...] = ()
    limit: str = ""
    water: str = ""
    published: bool = True
    tubs: str = ""


@dataclass(frozen=True, slots=True)
class SheetContent:
    """What an intake sheet says; dates are as printed, numbers in display units.

    Attributes
    ----------
    announced
        Animals on the packing list.
    boxes
        Box numbers as printed.
    loss_dates
        Days of the loss grid, in order.
    release
        Conditions of release, a line each.
    cautions
        Warnings of the group and of the chemicals in use, a line each.
    emergency
        Emergency line.
    count_address
        What the QR code says: the address of the count page, or the bare batch code.
    """

    farm: str
    batch: str
    name: str
    announced: int
    count_address: str
    supplier: str = ""
    shipment: str = ""
    group: str = ""
    common_name: str = ""
    size: str = ""
    waybill: str = ""
    boxes: str = ""
    lands: str = ""
    vats: tuple[VatShare, ...] = ()
    stages: tuple[StageDates, ...] = ()
    permits: tuple[Permit, ...] = ()
    acclimation: Acclimation | None = None
    work: tuple[WorkRow, ...] = ()
    loss_dates: tuple[str, ...] = ()
    release: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    emergency: str = ""
    units: Units = field(default_factory=Units)

    @property
    def first_vats(self) -> tuple[VatShare, ...]:
        """Vats the animals enter from the bag; later stages are other days' counts."""
        return tuple(v for v in self.vats if (v.stage, v.enters) == (self.vats[0].stage, self.vats[0].enters))
