"""What a claim says: its rows, sums, evidence and history, as printed."""

from __future__ import annotations

from dataclasses import dataclass

from forms.layout.photo_plates import Photo

__all__ = [
    "BagReading",
    "BoxCount",
    "ClaimContent",
    "ClaimHead",
    "ClaimRow",
    "ClaimStep",
    "ClaimTotals",
    "ClaimVersion",
    "Evidence",
    "Specimens",
]


@dataclass(frozen=True, slots=True)
class ClaimRow:
    """One invoice line; all counts are animals, money is as printed.

    Attributes
    ----------
    line, name, boxes
        Line number, species, and box numbers in words (``1–6``).
    doa, daa, missing, wrong
        A, B, C and W of the heads.
    allowance, used
        Animals the supplier need not credit, as printed (a dash where the terms take them of the whole shipment), and how
        many of them were used up.
    claimable
        A + B + C + W − D.
    percent_received, percent_announced
        Dead of those that came; all losses of those announced; None prints a dash.
    """

    line: str
    name: str
    announced: int
    doa: int = 0
    daa: int = 0
    missing: int = 0
    wrong: int = 0
    allowance: str = ""
    used: int = 0
    claimable: int = 0
    unit_price: str = ""
    value: str = ""
    boxes: str = ""
    percent_received: float | None = None
    percent_announced: float | None = None


@dataclass(frozen=True, slots=True)
class ClaimTotals:
    """The bottom line, given and not added up here: the ledger decides."""

    announced: int
    doa: int
    daa: int
    missing: int
    wrong: int
    allowance: int
    used: int
    claimable: int
    value: str
    placed: int
    left: int
    extra: int = 0
    unbooked: int = 0
    percent_received: float | None = None
    percent_announced: float | None = None
    quiet_lines: str = ""
    quiet_announced: int = 0
    quiet_allowance: str = ""


@dataclass(frozen=True, slots=True)
class BoxCount:
    """What was found in one box."""

    box: str
    name: str
    held: str = ""
    doa: int = 0
    missing: int = 0
    wrong: int = 0
    when: str = ""
    who: str = ""


@dataclass(frozen=True, slots=True)
class ClaimHead:
    """One head of the claim: animals counted under it, how many are claimed, and their value as printed."""

    head: str
    counted: int
    claimable: int
    value: str = ""


@dataclass(frozen=True, slots=True)
class ClaimVersion:
    """One version of the claim: the ledger it shows, what it claims, and whether it is frozen or late, in words."""

    version: int
    as_of: str
    claimable: int
    value: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class ClaimStep:
    """A state the claim took: sent, answered or settled, when, by whom, of which version, with what amount."""

    state: str
    when: str
    who: str = ""
    version: str = ""
    amount: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Specimens:
    """Specimens of one listed name against its permit; `dead` are carcasses the permit still covers."""

    name: str
    permit: str
    permitted: str
    announced: int
    came: int
    dead: int
    alive: int
    elsewhere: int
    words: str = ""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One piece of evidence: `asked` is the supplier's name for it, `held` whether it is on file, `digest` its file's hash."""

    what: str
    held: bool
    when: str = ""
    digest: str = ""
    asked: str = ""
    taken: str = ""


@dataclass(frozen=True, slots=True)
class BagReading:
    """Water of one bag as printed; `ph` with its scale, `ammonia` with its form and unit."""

    bag: str
    when: str = ""
    temperature: str = ""
    salinity: str = ""
    ph: str = ""
    ammonia: str = ""


@dataclass(frozen=True, slots=True)
class ClaimContent:
    """What a claim says; times and money are as printed.

    Attributes
    ----------
    number, version, replaces
        What the parties call this claim, which version this is, and the versions it replaces in words.
    claimant, supplier
        Names and addresses, a line each.
    asked, answer_by
        Money asked for, and by when an answer is asked; empty without prices, or where no day was agreed.
    currency
        Currency of the prices and values.
    terms
        Terms in sentences.
    deadline, daa_deadline
        By when what was found at opening, and deaths after arrival, must be claimed.
    balance, check
        The two sums in words.
    freight
        Share of the freight in words, empty when none.
    statement
        What the claimant declares.
    heads
        Dead, missing and wrong apart; their values add up to the total.
    counts
        What was found in each box.
    versions, steps
        Earlier versions, and what was recorded of the claim before this one.
    specimens
        Listed animals against their permits.
    """

    number: str
    claimant: str
    supplier: str
    shipment: str
    rows: tuple[ClaimRow, ...]
    totals: ClaimTotals
    version: int = 1
    replaces: str = ""
    asked: str = ""
    answer_by: str = ""
    waybill: str = ""
    invoice: str = ""
    order: str = ""
    landed: str = ""
    opened: str = ""
    counted: str = ""
    deadline: str = ""
    daa_deadline: str = ""
    currency: str = ""
    terms: str = ""
    balance: str = ""
    check: str = ""
    freight: str = ""
    evidence: tuple[Evidence, ...] = ()
    water: tuple[BagReading, ...] = ()
    statement: str = ""
    counted_by: str = ""
    checked_by: str = ""
    photos: tuple[Photo, ...] = ()
    heads: tuple[ClaimHead, ...] = ()
    counts: tuple[BoxCount, ...] = ()
    versions: tuple[ClaimVersion, ...] = ()
    steps: tuple[ClaimStep, ...] = ()
    specimens: tuple[Specimens, ...] = ()
    notes: tuple[str, ...] = ()
