"""The first side of an intake sheet: who, where to, counts, bag water, acclimation."""

from __future__ import annotations

from forms.documents.acclimation_steps import AcclimationStep
from forms.documents.intake_sheet.density import Density
from forms.documents.intake_sheet.sheet_content import SheetContent
from forms.documents.shared_content import LOCAL_RULES, UNSOURCED_NOTE, Units, joined, marked
from forms.layout.blocks import Caution, Heading, Masthead, Text
from forms.layout.page import Block
from forms.layout.table_grid import Cell, Column, Grid, tick, write


def masthead(content: SheetContent) -> Block:
    """Title, batch code with its QR, name and what was announced."""
    detail = joined((content.common_name, content.group, content.size, f"{content.announced} announced"))
    return Masthead("Intake sheet", content.batch, content.name, detail, content.farm, content.count_address)


def cautions(content: SheetContent, density: Density) -> list[Block]:
    """Warnings, emergency line and the standing reminder, before anything else."""
    lines = [*content.cautions]
    if content.emergency:
        lines.append(content.emergency)
    return [Caution((*lines, LOCAL_RULES), 8.5 * density.scale)]


def whence(content: SheetContent, density: Density) -> list[Block]:
    """Supplier, shipment, waybill, landing and boxes."""
    facts = (
        ("Supplier", content.supplier),
        ("Shipment", content.shipment),
        ("Waybill", content.waybill),
        ("Lands", content.lands),
        ("Boxes", content.boxes),
    )
    given = [Cell(value, label=label, bold=True) for label, value in facts if value]
    if not given:
        return []
    columns = tuple(Column(share=max(1.0, min(3.0, len(cell.text) / 12))) for cell in given)
    return [Grid(columns, (tuple(given),), size=10 * density.scale)]


def whither(content: SheetContent, density: Density) -> list[Block]:
    """Vats with counts, and the dates of each stage."""
    blocks: list[Block] = []
    if content.vats:
        rows = tuple(
            (Cell(v.vat, bold=True, size=14 * density.scale), Cell(str(v.count), bold=True, size=14 * density.scale),
             v.system, v.stage, v.enters, v.leaves)
            for v in content.vats
        )  # fmt: skip
        columns = (Column("Vat", 1.6), Column("Place", 0.8, "right"), Column("System", 1.6), Column("Stage", 1.3),
                   Column("Enters", 1.3), Column("Leaves", 1.3))  # fmt: skip
        blocks += [
            Heading("Destination", before=3),
            Grid(columns, rows, size=9 * density.scale, row_mm=7.5 * density.scale),
        ]
    if content.stages:
        cells = tuple(
            Cell(marked(_span(s.starts, s.ends), published=s.published), label=s.stage, bold=True)
            for s in content.stages
        )
        blocks.append(Grid(tuple(Column() for _ in cells), (cells,), size=8.5 * density.scale))
    return blocks


def _span(starts: str, ends: str) -> str:
    return starts if ends in ("", starts) else f"{starts} – {ends}"


def permits(content: SheetContent, density: Density) -> list[Block]:
    """Permits and papers with a box to tick when seen."""
    if not content.permits:
        return []
    columns = (Column("Permits and papers", 2), Column("Number", 2), Column("Quantity", 1.2),
               Column("Valid until", 1.2), Column("Note", 2), Column("Seen", 0.5, "centre"))  # fmt: skip
    rows = tuple(
        (p.kind, Cell(p.number, bold=True), p.quantity, p.valid_until, p.note, tick(f"permit.{n}"))
        for n, p in enumerate(content.permits, start=1)
    )
    return [Grid(columns, rows, size=8.5 * density.scale, tick_mm=min(6.0, density.tick_mm))]


def counts(content: SheetContent, density: Density) -> list[Block]:
    """Boxes to write counts in, a row for each vat and one for all."""
    words = ("Alive", "DOA", "Weak", "Missing", "Wrong")
    columns = (Column("Vat", 1.5), Column("Announced", 1.1, "right"), *(Column(w, 1.0) for w in words),
               Column("Counted by, time", 1.7))  # fmt: skip
    big = 13 * density.scale

    def row(name: str, announced: int) -> tuple[Cell, ...]:
        boxes = tuple(write(f"count.{name}.{w}") for w in (*words, "by"))
        return Cell(name, bold=True, size=11 * density.scale), Cell(str(announced), bold=True, size=big), *boxes

    first = content.first_vats
    rows = [row(v.vat, v.count) for v in first]
    if len(rows) != 1 or first[0].count != content.announced:
        rows.append(row("All", content.announced))
    note = (
        "Dead, missing and wrong are counted when the bag is opened; alive is counted again at the vat, by two people."
    )
    return [
        Heading("Counts", before=3),
        Grid(columns, tuple(rows), size=9 * density.scale, row_mm=density.write_mm, after=1.5),
        Text(note, 7.5, after=2),
    ]


def bag_water(content: SheetContent, density: Density) -> list[Block]:
    """Boxes for the water of the bags measured, pH with its scale and ammonia with its form."""
    units = content.units
    columns = (
        Column("Box and bag", 1.3), Column("Opened at", 1.1), Column(f"Temperature {units.temperature}", 1.3),
        Column(f"Salinity {units.salinity}", 1.1), Column("pH", 0.8), Column("pH scale", 1.4),
        Column(f"Ammonia {units.ammonia}", 1.2), Column("given as", 1.4),
    )  # fmt: skip
    rows = tuple(
        (
            write(f"bag.{n}.name"), write(f"bag.{n}.time"), write(f"bag.{n}.temperature"), write(f"bag.{n}.salinity"),
            write(f"bag.{n}.ph"), Cell(ticks=("NBS", "total"), field=f"bag.{n}.scale"),
            write(f"bag.{n}.ammonia"), Cell(ticks=("N", "NH₃"), field=f"bag.{n}.form"),
        )
        for n in range(1, density.bags + 1)
    )  # fmt: skip
    grid = Grid(columns, rows, size=8.5 * density.scale, row_mm=0.9 * density.write_mm, tick_mm=5.0)
    return [Heading("Water in the bag, measured at opening", before=3), grid]


def acclimation(content: SheetContent, density: Density) -> list[Block]:
    """Mode, reason, step table and the first limit that would be passed."""
    plan = content.acclimation
    if plan is None:
        return []
    blocks: list[Block] = [
        Heading(f"Acclimation: {marked(plan.mode, published=plan.published)}", 11.5, before=3, ruled=True)
    ]
    note = "" if plan.published else UNSOURCED_NOTE
    why = joined((plan.reason, plan.tubs, f"Water used: {plan.water}" if plan.water else ""))
    why = joined((why, note), "\n")
    if why:
        blocks.append(Text(why, 9 * density.scale, sticky=bool(plan.steps)))
    if plan.limit:
        blocks.append(Caution((plan.limit,), 9 * density.scale, head=""))
    if plan.steps:
        shown = plan.steps[: density.steps]
        blocks.append(step_grid(shown, content.units, 9.5 * density.scale, density.tick_mm))
        if len(shown) < len(plan.steps):
            left = len(plan.steps) - len(shown)
            blocks.append(
                Text(f"{left} more step{'' if left == 1 else 's'}: see the acclimation checklist.", 9, bold=True)
            )
    return blocks


def step_grid(steps: tuple[AcclimationStep, ...], units: Units, size: float, tick_mm: float) -> Grid:
    """Step table: minute, what to do, tub volume, expected water, a box to tick."""
    columns = (
        Column("Minute", 0.7, "right"), Column("Do", 3.4), Column(f"Volume {units.volume}", 0.9, "right"),
        Column(units.temperature, 0.7, "right"), Column(units.salinity, 0.7, "right"),
        Column(f"pH {units.ph_scale}", 0.7, "right"), Column("NH₃-N mg/L", 0.85, "right"),
        Column("O₂ mg/L", 0.65, "right"), Column("Done", 0.6, "centre"),
    )  # fmt: skip
    rows: list[tuple[Cell | str, ...]] = []
    for n, step in enumerate(steps, start=1):
        minute, *expected = step.printed()
        rows.append((Cell(minute, bold=True, size=1.3 * size), step.do, *expected, tick(f"step.{n}")))
    return Grid(columns, tuple(rows), size=size, tick_mm=tick_mm)
