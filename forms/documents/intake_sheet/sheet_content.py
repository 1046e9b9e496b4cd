"""What an intake sheet says, in page-ready form: the day it is opened, and the weeks that follow."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from forms.documents.acclimation_steps import AcclimationStep
from forms.documents.shared_content import Danger, Units
from forms.layout.speech import ENGLISH, Speech

__all__ = ["Acclimation", "Bath", "DayWork", "Permit", "SheetContent", "VatShare", "WorkKind"]


@dataclass(frozen=True, slots=True)
class VatShare:
    """How many of the batch go into one vat on the day, with its system and what kind of place it is, as printed."""

    vat: str
    count: int
    system: str = ""
    place: str = ""


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
    expected
        True where the bag's water was not read yet.
    """

    mode: str
    reason: str = ""
    steps: tuple[AcclimationStep, ...] = ()
    limit: str = ""
    water: str = ""
    published: bool = True
    tubs: str = ""
    expected: bool = False


@dataclass(frozen=True, slots=True)
class Bath:
    """A bath on the day of landing: name, strength and minutes as printed, and whether it comes before the vat."""

    name: str
    strength: str
    minutes: str = ""
    protection: str = ""
    disposal: str = ""
    published: bool = True
    before_vat: bool = True


@dataclass(frozen=True, slots=True)
class WorkKind:
    """One kind of work of the weeks, said once: what the short code in a day means, with everything it takes.

    Attributes
    ----------
    code
        Short code printed in the days, such as D1.
    mark
        Its small sign: dip, inspection, transfer, release check.
    what, strength, minutes, protection, disposal
        As printed.  `order` names the prescriber and reference of a prescription.
    """

    code: str
    mark: str
    what: str
    strength: str = ""
    minutes: str = ""
    protection: str = ""
    disposal: str = ""
    order: str = ""
    published: bool = True


@dataclass(frozen=True, slots=True)
class DayWork:
    """Work of one kind on one day: its code, the few words in the day, the vats, its state in words, and if it is done."""

    day: date
    code: str
    brief: str = ""
    vats: tuple[str, ...] = ()
    to_vat: str = ""
    state: str = ""
    done: bool = False


@dataclass(frozen=True, slots=True)
class SheetContent:
    """What an intake sheet says; words as printed, numbers in display units.

    Attributes
    ----------
    announced
        Animals on the packing list.
    boxes
        Box numbers in order of opening.
    printed
        Lines of who printed it, when, from which plan and revision.
    kills, wear, wear_words
        What can kill; marks of what to wear; what only hurts, in one sentence or several.
    emergency
        The farm's emergency number; empty leaves a ruled blank.
    vats
        Vats the animals enter from the bag.
    baths
        Baths of the landing day.
    onwards
        What holds in those vats from now on, a sentence each.
    weeks_from, days
        First day of the calendar and how many days it covers.
    kinds, work
        Kinds of work, and each day's.
    gates
        Conditions of release, each signed for.
    count_address
        What the QR code says: the address of the count page, or the bare batch code.
    foot
        Words of the foot, such as the mark of values without a source.
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
    boxes: tuple[str, ...] = ()
    lands: str = ""
    in_bag: str = ""
    printed: tuple[str, ...] = ()
    revision: str = ""
    kills: tuple[Danger, ...] = ()
    wear: tuple[str, ...] = ()
    wear_words: str = ""
    emergency: str = ""
    vats: tuple[VatShare, ...] = ()
    permits: tuple[Permit, ...] = ()
    acclimation: Acclimation | None = None
    baths: tuple[Bath, ...] = ()
    onwards: tuple[str, ...] = ()
    weeks_from: date | None = None
    days: int = 0
    kinds: tuple[WorkKind, ...] = ()
    work: tuple[DayWork, ...] = ()
    gates: tuple[str, ...] = ()
    foot: str = ""
    units: Units = field(default_factory=Units)
    language: Speech = ENGLISH
