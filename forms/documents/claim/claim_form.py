"""The claim to a supplier for animals dead, missing or wrong on arrival: counts, allowance, value, evidence."""

from __future__ import annotations

from forms.documents.claim.claim_blocks import Balance, BalanceItem, Sentence
from forms.documents.claim.claim_content import ClaimContent, ClaimRow, ClaimTotals, Evidence
from forms.documents.shared_content import joined, number
from forms.layout.blocks import Gap, Heading, Masthead, Text
from forms.layout.page import Block, NewPage, Part, bind, flow, paper_of
from forms.layout.photo_plates import Plate
from forms.layout.table_grid import Cell, Column, Grid, tick, write

__all__ = ["claim"]

TITLE = "Claim for animals dead, missing or wrong on arrival"


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
    corner = joined((f"version {content.version}", content.replaces), ", ")
    front: list[Block] = [
        Masthead(TITLE, content.number, f"Shipment {content.shipment}", corner=corner),
        *_parties(content),
        Sentence(_sentence(content)),
        _facts((("Landed", content.landed), ("First bag opened", content.opened), ("Counted", content.counted))),
        _facts((("Claim DOA, missing, wrong by", content.deadline), ("Claim first days by", content.daa_deadline),
                ("Answer asked by", content.answer_by))),
        *_lines(content),
        *_balance(content),
        *_asked_evidence(content),
        *_statement(content),
    ]  # fmt: skip
    full = flow(front, size)
    apart = len(full) == 1 or sum(block.height for block in full[-1]) > size.content_height / 2
    blocks = [
        *front,
        *((NewPage(),) if apart else ()),  # signatures that went on to a page of their own do not stand there alone
        *_files(content),
        *_heads(content),
        *_counts(content),
        *_water(content),
        *_specimens(content),
        *_versions(content),
        *_steps(content),
        *_plates(content),
    ]
    part = Part("Claim", joined((content.number, f"version {content.version}")), tuple(blocks))
    return bind(
        [(part, flow(blocks, size))], size, TITLE, author=content.claimant.partition("\n")[0], fillable=fillable
    )


def _facts(facts: tuple[tuple[str, str], ...], size: float = 9.5) -> Grid:
    cells = tuple(Cell(value or "–", label=label, bold=True) for label, value in facts)
    return Grid(tuple(Column() for _ in cells), (cells,), size=size, after=0)


def _parties(content: ClaimContent) -> list[Block]:
    parties = (Cell(content.claimant, label="From"), Cell(content.supplier, label="To"))
    return [
        Grid((Column(), Column()), (parties,), size=10, after=0),
        _facts((("Invoice", content.invoice), ("Waybill", content.waybill), ("Order", content.order))),
        Gap(4),
    ]


def _sentence(content: ClaimContent) -> tuple[tuple[str, bool], ...]:
    animals = f"{content.totals.claimable:,} animals"
    if not content.totals.claimable:
        return ((f"Nothing is claimed of {content.totals.announced:,} animals announced.", False),)
    asked = ((content.asked, True), ("for", False)) if content.asked else ()
    rest = f"of {content.totals.announced:,} announced: dead, missing or wrong beyond the agreed allowance."
    by = (("Please answer by", False), (content.answer_by, True)) if content.answer_by else ()
    return (("We ask you to credit", False), *asked, (animals, True), (rest, False), *by)


def _lines(content: ClaimContent) -> list[Block]:
    money = f", {content.currency}" if content.currency else ""
    columns = (
        Column("Line, species", 3.0), Column("Boxes", 0.9), Column("Announced", 1.0, "right"),
        Column("DOA\nA", 0.7, "right"), Column("First days\nB", 0.8, "right"), Column("Missing\nC", 0.9, "right"),
        Column("Wrong\nW", 0.8, "right"), Column("Allowance agreed", 1.0, "right"),
        Column("Allowance used D", 1.0, "right"), Column("Claimable A+B+C+W−D", 1.3, "right"),
        Column("Price\nP", 0.9, "right"), Column(f"Amount × P{money}", 1.3, "right"),
    )  # fmt: skip
    rows: list[tuple[Cell | str, ...]] = [
        (f"{row.line} {row.name}", row.boxes, str(row.announced), *_lost(row), row.allowance or "–", str(row.used),
         Cell(str(row.claimable), bold=True), row.unit_price, Cell(row.value, bold=True))
        for row in content.rows
    ]  # fmt: skip
    totals = content.totals
    if totals.quiet_lines:
        zero = Cell("0", bold=True)
        counts = (str(totals.quiet_announced), "0", "0", "0", "0", totals.quiet_allowance or "–", "0")
        rows.append((f"{totals.quiet_lines}: nothing lost", "", *counts, zero, "", ""))
    rows.append(("Total", "", str(totals.announced), *_lost(totals), str(totals.allowance), str(totals.used),
                 str(totals.claimable), "", totals.value))  # fmt: skip
    notes = [Text(f"Terms: {content.terms}", 8)] if content.terms else []
    return [
        Heading("How the amount is made"),
        Grid(columns, tuple(rows), size=8.5, row_mm=6.5, totals=1, narrow=True, head_scale=0.82),
        *([Text(content.freight, 8.5)] if content.freight else []),
        *notes,
        *(Text(note, 8.5, bold=True) for note in content.notes),
    ]


def _lost(row: ClaimRow | ClaimTotals) -> tuple[str, str, str, str]:
    return str(row.doa), str(row.daa), str(row.missing), str(row.wrong)


def _balance(content: ClaimContent) -> list[Block]:
    totals = content.totals
    signed = (
        ("", "announced", totals.announced), ("+", "extra", totals.extra), ("−", "not booked in", totals.unbooked),
        ("−", "missing", totals.missing), ("−", "wrong", totals.wrong), ("−", "DOA", totals.doa),
        ("=", "placed", totals.placed), ("−", "first days", totals.daa), ("=", "left", totals.left),
    )  # fmt: skip
    kept = tuple(
        BalanceItem(sign, label, f"{value:,}")
        for sign, label, value in signed
        if value or label not in ("extra", "not booked in")
    )
    share = f"Dead of those that came: {number(totals.percent_received, 1)} %"
    whole = f"all losses of those announced: {number(totals.percent_announced, 1)} %"
    return [
        Heading(f"Where all {totals.announced:,} animals are"),
        Balance(kept),
        Text(joined((f"{share}; {whole}.", content.check), " "), 8.5),
    ]


def _asked_evidence(content: ClaimContent) -> list[Block]:
    if not content.evidence:
        return []
    asked: dict[str, list[Evidence]] = {}
    for one in content.evidence:
        asked.setdefault(one.asked or one.what, []).append(one)
    cells = [
        (tick(ticked=any(one.held for one in its)), f"{name}: {sum(one.held for one in its) or 'none'} on record")
        for name, its in asked.items()
    ]
    if len(cells) % 2:
        cells.append((Cell(""), ""))
    rows = tuple((*cells[n], *cells[n + 1]) for n in range(0, len(cells), 2))
    columns = (Column("", 0.35), Column("", 3.0), Column("", 0.35), Column("", 3.0))
    return [Heading("Evidence"), Grid(columns, rows, size=9, tick_mm=6, narrow=True)]


def _heads(content: ClaimContent) -> list[Block]:
    if not content.heads:
        return []
    money = f" {content.currency}" if content.currency else ""
    columns = (Column("Claimed for", 2.0), Column("Counted", 1.0, "right"), Column("Claimable", 1.0, "right"),
               Column(f"Value{money}", 1.4, "right"))  # fmt: skip
    rows = tuple((one.head, str(one.counted), Cell(str(one.claimable), bold=True), one.value) for one in content.heads)
    return [Heading("By kind of loss"), Grid(columns, rows, size=8.5, head_scale=0.85)]


def _counts(content: ClaimContent) -> list[Block]:
    if not content.counts:
        return []
    columns = (Column("Box", 0.6), Column("Species", 2.4), Column("In the box", 0.8, "right"), Column("DOA", 0.6, "right"),
               Column("Missing", 0.7, "right"), Column("Wrong", 0.6, "right"), Column("Counted", 1.4),
               Column("By", 1.4))  # fmt: skip
    rows = tuple(
        (one.box, one.name, one.held, str(one.doa), str(one.missing), str(one.wrong), one.when, one.who)
        for one in content.counts
    )
    return [Heading("Counts by box"), Grid(columns, rows, size=8.5, narrow=True)]


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
        Grid(columns, rows, size=8.5, narrow=True, head_scale=0.85),
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


def _files(content: ClaimContent) -> list[Block]:
    kept = [one for one in content.evidence if one.digest]
    if not kept:
        return []
    columns = (
        Column("File", 2.6),
        Column("Received", 1.3),
        Column("Taken", 1.1),
        Column("SHA-256 of the original", 3.0),
    )
    rows = tuple((one.what, one.when, one.taken, Cell(_in_lines(one.digest), size=8)) for one in kept)
    return [Heading("Evidence on file"), Grid(columns, rows, size=8.5, narrow=True)]


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
    return [Heading("Water in the bags"), Grid(columns, rows, size=8.5, narrow=True)]


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
