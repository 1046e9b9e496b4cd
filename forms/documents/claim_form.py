"""The claim to a supplier for animals dead, missing or wrong on arrival: counts, allowance, value, evidence."""

from __future__ import annotations

from dataclasses import dataclass

from forms.documents.shared_content import joined, number
from forms.layout.blocks import Gap, Heading, Masthead, Text
from forms.layout.page import Block, NewPage, Part, bind, flow, paper_of
from forms.layout.photo_plates import Photo, Plate
from forms.layout.table_grid import Cell, Column, Grid, tick, write

__all__ = [
    "BagReading",
    "ClaimContent",
    "ClaimHead",
    "ClaimRow",
    "ClaimStep",
    "ClaimTotals",
    "ClaimVersion",
    "Evidence",
    "Specimens",
    "claim",
]

TITLE = "Claim for animals dead, missing or wrong on arrival"


@dataclass(frozen=True, slots=True)
class ClaimRow:
    """One invoice line.

    Attributes
    ----------
    line, name, boxes
        Line number, species, and box numbers in words (``boxes 1–6``).
    announced, received, alive, dead, missing, wrong
        Animals.
    percent_of_announced
        Dead, missing and wrong as percent of announced; None prints a dash.
    allowance, claimable
        Animals the supplier does not credit, and animals claimed.
    unit_price, value
        Money as printed.
    by_box
        What was told of single boxes, in words.
    """

    line: str
    name: str
    announced: int
    received: int
    alive: int
    dead: int
    missing: int = 0
    wrong: int = 0
    percent_of_announced: float | None = None
    allowance: int = 0
    claimable: int = 0
    unit_price: str = ""
    value: str = ""
    boxes: str = ""
    by_box: str = ""


@dataclass(frozen=True, slots=True)
class ClaimTotals:
    """The bottom line, given and not added up here: the books decide."""

    announced: int
    received: int
    alive: int
    dead: int
    missing: int
    wrong: int
    percent_of_announced: float | None
    allowance: int
    claimable: int
    value: str


@dataclass(frozen=True, slots=True)
class ClaimHead:
    """One head of the claim: animals counted under it, how many are claimed, and their value as printed."""

    head: str
    counted: int
    claimable: int
    value: str = ""


@dataclass(frozen=True, slots=True)
class ClaimVersion:
    """One version of the claim: the books it shows, what it claims, and whether it is frozen or late, in words."""

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
    """One piece of evidence; `digest` is its file's hash, `held` whether it is on file."""

    what: str
    held: bool
    when: str = ""
    digest: str = ""


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
    number, version, state
        What the parties call this claim, which version this is, and drafted, sent, answered or settled.
    claimant, supplier
        Names and addresses, a line each.
    currency
        Currency of the prices and values.
    terms
        Allowance and window as agreed, in words.
    window_words
        Hours from receipt within which the claim is made, in words, or that it is frozen.
    statement
        What the claimant declares.
    heads
        Dead, missing and wrong apart; their values add up to the total.
    versions, steps
        What became of the claim.
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
    state: str = "drafted"
    waybill: str = ""
    order: str = ""
    landed: str = ""
    opened: str = ""
    counted: str = ""
    deadline: str = ""
    currency: str = ""
    terms: str = ""
    window_words: str = ""
    evidence: tuple[Evidence, ...] = ()
    water: tuple[BagReading, ...] = ()
    statement: str = ""
    counted_by: str = ""
    checked_by: str = ""
    photos: tuple[Photo, ...] = ()
    heads: tuple[ClaimHead, ...] = ()
    versions: tuple[ClaimVersion, ...] = ()
    steps: tuple[ClaimStep, ...] = ()
    specimens: tuple[Specimens, ...] = ()


def claim(content: ClaimContent, paper: str = "a4", *, fillable: bool = False) -> bytes:
    """Claim as PDF.

    Parameters
    ----------
    content
        What it says.
    paper
        ``"a4"`` or ``"letter"``.
    fillable
        True adds form fields for the supplier's answer and the signatures' names.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper.
    """
    size = paper_of(paper)
    blocks: list[Block] = [
        Masthead(TITLE, content.number, f"Shipment {content.shipment}", corner=_state(content)),
        *_parties(content),
        *_lines(content),
        *_heads(content),
        *_specimens(content),
        *_evidence(content),
        *_water(content),
        *_versions(content),
        *_steps(content),
        *_statement(content),
        *_plates(content),
    ]
    part = Part("Claim", joined((content.number, f"version {content.version}", content.state)), tuple(blocks))
    return bind([(part, flow(blocks, size))], size, TITLE, fillable=fillable)


def _state(content: ClaimContent) -> str:
    return f"Version {content.version} · {content.state}"


def _facts(facts: tuple[tuple[str, str], ...], size: float = 9.5) -> Grid:
    cells = tuple(Cell(value or "–", label=label, bold=True) for label, value in facts)
    return Grid(tuple(Column() for _ in cells), (cells,), size=size, after=0)


def _parties(content: ClaimContent) -> list[Block]:
    parties = (Cell(content.claimant, label="From"), Cell(content.supplier, label="To"))
    blocks: list[Block] = [
        Grid((Column(), Column()), (parties,), size=10, after=0),
        _facts((("Order", content.order), ("Waybill", content.waybill), ("Shipment", content.shipment))),
        _facts((("Landed", content.landed), ("First bag opened", content.opened), ("Counted", content.counted),
                ("Claim deadline", content.deadline))),
    ]  # fmt: skip
    terms = joined((content.terms, content.window_words))
    return [*blocks, Gap(4), Text(f"Agreed terms: {terms}", 9)] if terms else blocks


def _lines(content: ClaimContent) -> list[Block]:
    money = f" {content.currency}" if content.currency else ""
    counts = ("Announced", "Received", "Alive", "Dead", "Missing", "Wrong", "% of announced", "Allowance", "Claimable")
    columns = (
        Column("Line", 0.5), Column("Species", 3.0), *(Column(word, 0.9, "right") for word in counts),
        Column(f"Unit price{money}", 1.0, "right"), Column(f"Value{money}", 1.2, "right"),
    )  # fmt: skip
    rows: list[tuple[Cell | str, ...]] = [
        (row.line, joined((row.name, row.boxes, row.by_box), "\n"), *_counts(row), row.unit_price,
         Cell(row.value, bold=True))
        for row in content.rows
    ]  # fmt: skip
    totals = content.totals
    rows.append(("", "Total", *_counts(totals), "", totals.value))
    return [
        Heading("Claimed items"),
        Grid(columns, tuple(rows), size=8.5, row_mm=6.5, totals=1, narrow=True, head_scale=0.78),
    ]


def _counts(row: ClaimRow | ClaimTotals) -> tuple[Cell | str, ...]:
    return (
        str(row.announced), str(row.received), str(row.alive), str(row.dead), str(row.missing), str(row.wrong),
        number(row.percent_of_announced, 1), str(row.allowance), Cell(str(row.claimable), bold=True),
    )  # fmt: skip


def _heads(content: ClaimContent) -> list[Block]:
    if not content.heads:
        return []
    money = f" {content.currency}" if content.currency else ""
    columns = (Column("Claimed for", 2.0), Column("Counted", 1.0, "right"), Column("Claimable", 1.0, "right"),
               Column(f"Value{money}", 1.4, "right"))  # fmt: skip
    rows = tuple((one.head, str(one.counted), Cell(str(one.claimable), bold=True), one.value) for one in content.heads)
    return [Gap(6), Grid(columns, rows, size=8.5, head_scale=0.85)]


def _specimens(content: ClaimContent) -> list[Block]:
    if not content.specimens:
        return []
    columns = (
        Column("Species", 2.4), Column("Permit", 1.5), Column("Permitted", 1.0, "right"),
        Column("Announced", 1.0, "right"), Column("Came", 0.8, "right"), Column("Dead", 0.8, "right"),
        Column("Alive", 0.8, "right"), Column("Sold, sampled, other", 1.0, "right"), Column("Papers", 2.0),
    )  # fmt: skip
    rows = tuple(
        (one.name, one.permit, one.permitted, str(one.announced), str(one.came), Cell(str(one.dead), bold=True),
         str(one.alive), str(one.elsewhere), one.words)
        for one in content.specimens
    )  # fmt: skip
    note = "Carcasses count as specimens: received = dead + alive + sold, sampled and other.  Not legal advice."
    return [
        Heading("Listed species: specimens against permits"),
        Grid(columns, rows, size=8.0, narrow=True, head_scale=0.85),
        Text(note, 8),
    ]


def _versions(content: ClaimContent) -> list[Block]:
    if not content.versions:
        return []
    columns = (Column("Version", 0.6, "centre"), Column("As of", 1.6), Column("Claimable", 0.8, "right"),
               Column("Value", 1.4, "right"), Column("", 3.0))  # fmt: skip
    rows = tuple((str(v.version), v.as_of, str(v.claimable), v.value, v.words) for v in content.versions)
    return [Heading("Versions of this claim"), Grid(columns, rows, size=8.5)]


def _steps(content: ClaimContent) -> list[Block]:
    if not content.steps:
        return []
    columns = (Column("State", 1.0), Column("When", 2.1), Column("By", 1.2), Column("Version", 0.7, "centre"),
               Column("Amount", 1.2, "right"), Column("Note", 2.6))  # fmt: skip
    rows = tuple((s.state, s.when, s.who, s.version, s.amount, s.note) for s in content.steps)
    return [Heading("Status history"), Grid(columns, rows, size=8.5)]


def _evidence(content: ClaimContent) -> list[Block]:
    if not content.evidence:
        return []
    columns = (Column("Held", 0.4, "centre"), Column("Evidence", 2.6), Column("When", 1.2),
               Column("SHA-256 of the file", 3.0))  # fmt: skip
    rows = tuple((tick(ticked=e.held), e.what, e.when, Cell(_in_lines(e.digest), size=7)) for e in content.evidence)
    return [Heading("Evidence"), Grid(columns, rows, size=8.5, tick_mm=4.5)]


def _in_lines(digest: str) -> str:
    """A hash in lines of 32 characters, so that two people can compare it by reading aloud."""
    return "\n".join(digest[n : n + 32] for n in range(0, len(digest), 32))


def _water(content: ClaimContent) -> list[Block]:
    if not content.water:
        return []
    beside = 2 if len(content.water) > 4 else 1
    depth = -(-len(content.water) // beside)
    columns = (Column("Bag", 0.9, heavy=True), Column("Measured", 1.2), Column("Water", 0.9), Column("Salinity", 1.0),
               Column("pH", 1.1), Column("Ammonia", 1.2)) * beside  # fmt: skip
    told = [(w.bag, w.when, w.temperature, w.salinity, w.ph, w.ammonia) for w in content.water]
    told += [("",) * 6] * (beside * depth - len(told))
    rows = tuple(tuple(cell for n in range(beside) for cell in told[n * depth + line]) for line in range(depth))
    return [Heading("Water in the bags"), Grid(columns, rows, size=8.0, narrow=True)]


def _statement(content: ClaimContent) -> list[Block]:
    signers = (("Counted", content.counted_by), ("Checked", content.checked_by))
    sign = Grid(
        (Column(), Column(), Column()),
        (
            (
                *(
                    Cell(who, label=f"{what} by (name, signature, date)", field=f"{what.lower()}_by")
                    for what, who in signers
                ),
                write("answer", "Supplier's answer (accepted, refused, part; signature, date)"),
            ),
        ),
        size=9.5,
        row_mm=18,
    )
    blocks: list[Block] = [Heading("Statement and signatures")]
    if content.statement:
        blocks.append(Text(content.statement, 9.5, sticky=len(content.statement) < 2_000))
    return [*blocks, sign]


def _plates(content: ClaimContent) -> list[Block]:
    if not content.photos:
        return []
    pairs = [content.photos[n : n + 2] for n in range(0, len(content.photos), 2)]
    return [NewPage(), Heading("Photographs", before=0), *(Plate(pair) for pair in pairs)]
