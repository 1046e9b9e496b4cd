"""Labels of vats from the ledger at a moment: lots and headcounts that stand there, danger, days to release."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from intake.app.board_links import count_address, page_address
from intake.app.documents.cautions.printed_dangers import hurts_of, kills_in
from intake.app.documents.cautions.sheet_cautions import rule_cautions
from intake.app.output_files import save
from intake.app.queries.biosecurity.standing_breaches import standing_breaches
from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.present_stock import freedoms
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch, Freedom, Stay
from intake.language import in_figures, phrase
from intake.rules import Breach

if TYPE_CHECKING:
    from forms import LabelGrid, VatLabel
    from forms.documents.shared_content import Danger

_BROKEN = phrase("RULE BROKEN: vatside check")
"""What a label has room for; the rule itself is on sheet, round and dip log."""

__all__ = ["LabelStock", "print_vat_labels", "stock_grid", "vat_danger", "vat_label"]


@dataclass(frozen=True, slots=True)
class LabelStock:
    """The stock labels are printed on, in mm; nothing given: the shipped sheet of the paper.

    Attributes
    ----------
    size_mm
        One label, such as (99, 68).
    across_down
        Labels across and down; 0 for as many as fit.
    gap_mm, margin_mm
        Between labels; from the sheet's edge to the first, None to centre them.
    offset_mm
        How far this printer must be shifted to the right and down.
    first
        First free label, counted from 1 along the rows.
    cut_marks
        True prints marks to cut plain paper by.
    calibrate
        True prints outlines to hold against the stock instead of labels.
    """

    size_mm: tuple[float, float] | None = None
    across_down: tuple[int, int] = (0, 0)
    gap_mm: tuple[float, float] = (0.0, 0.0)
    margin_mm: tuple[float, float] | None = None
    offset_mm: tuple[float, float] = (0.0, 0.0)
    first: int = 1
    cut_marks: bool = False
    calibrate: bool = False


def stock_grid(stock: LabelStock, paper: str) -> LabelGrid:
    """The sheet of labels of a stock.

    Raises
    ------
    BadInput
        Sizes that do not fit the paper.
    """
    from forms import PaperError, grid_for, grid_of

    if stock.size_mm is None:
        return grid_of("letter-2x5" if paper == "letter" else "a4-2x4")
    try:
        return grid_for(
            paper, stock.size_mm, across_down=stock.across_down, gap_mm=stock.gap_mm, margin_mm=stock.margin_mm
        )
    except PaperError as error:
        raise BadInput(Finding("--label", f"{stock.size_mm[0]:g}x{stock.size_mm[1]:g}", "labels that fit the paper",
                               f"{error}.")) from error  # fmt: skip


def print_vat_labels(
    house: House, out: Path, batches: Sequence[Batch], paper: str, stock: LabelStock | None = None
) -> list[Path]:
    """Print a label for each vat: from the ledger where these batches stand, from the plan for those still to land."""
    from forms import PaperError, calibration, vat_labels

    told = stock or LabelStock()
    grid = stock_grid(told, paper)
    if told.calibrate:
        return [save(out / f"labels-calibration-{grid.name}.pdf", calibration(grid, offset_mm=told.offset_mm))]
    contents = _contents(house, batches)
    if not contents:
        raise BadInput(Finding("print labels", "no vat with animals", "animals in vats, or an accepted plan",
                               "Run `vatside plan --accept`."))  # fmt: skip
    try:
        shown = in_figures(house.site.farm.measures.content(contents), house.language)
        data = vat_labels(
            shown, grid, told.first, offset_mm=told.offset_mm, marks=told.cut_marks, language=house.language
        )
    except PaperError as error:
        raise BadInput(Finding("--label", grid.name, "labels a vat's can be printed on", f"{error}.")) from error
    name = "-".join(sorted({batch.shipment for batch in batches if batch.shipment})) or "vats"
    return [save(out / f"labels-{name}.pdf", data)]


def _contents(house: House, batches: Sequence[Batch]) -> list[VatLabel]:
    floor, free = house.floor(), freedoms(house)
    mine = {batch.id for batch in batches}
    every = not mine or all(batch.shipment == "" for batch in batches)
    vats = [vat for vat in house.site.vats if any(every or stay.batch in mine for stay in floor.in_vat(vat))]
    broken = standing_breaches(house)
    labels = [vat_label(house, vat, free, broken) for vat in vats]
    landed = {stay.batch for stay in floor.stays}
    return [*labels, *_planned(house, [batch for batch in batches if batch.id not in landed], set(vats))]


def vat_label(
    house: House, vat: str, free: Mapping[tuple[str, str], Freedom], breaches: Sequence[Breach] = ()
) -> VatLabel:
    """What the label of one vat says at the house's moment."""
    from forms import VatLabel, VatLot

    floor = house.floor()
    stays = sorted(floor.in_vat(vat), key=lambda stay: -stay.count)
    lots = tuple(VatLot(stay.count, stay.batch, floor.batches[stay.batch].name) for stay in stays)
    state, says, notes, released = _state(house, stays, free)
    broken = (house.language.say(_BROKEN),) if _breaks(house, vat, {stay.batch for stay in stays}, breaches) else ()
    return VatLabel(
        vat=vat,
        system=house.site.systems[house.site.vat(vat).system].name,
        told=_counted(house, sum(lot.count for lot in lots)),
        lots=lots,
        state=state,
        says=says,
        address=page_address(house, f"/vats/{vat}") or count_address(house, lots[0].batch if lots else vat),
        notes=(*broken, *notes),
        danger=vat_danger(house, vat),
        free=released,
    )


def _counted(house: House, count: int) -> str:
    animals = house.language.say_many("{n} animal", "{n} animals", count)
    return f"{animals}, {house.language.day(house.today, '%d %b %Y')}"


def _breaks(house: House, vat: str, lots: set[str], breaches: Sequence[Breach]) -> bool:
    """Whether what stands in a vat breaks a rule there, or in the water it shares."""
    return any(
        one.severity != "warn" and lots & set(one.animals) and (one.where == vat or one.where not in house.site.vats)
        for one in breaches
    )


def vat_danger(house: House, vat: str) -> Danger | None:
    """The worst in a vat: what can kill before what hurts; None for nothing."""
    floor = house.floor()
    groups = [floor.batches[stay.batch].group for stay in floor.in_vat(vat)]
    found = (*kills_in(house, groups), *hurts_of(house, groups))
    return found[0] if found else None


def _state(
    house: House, stays: Sequence[Stay], free: Mapping[tuple[str, str], Freedom]
) -> tuple[str, str, tuple[str, ...], bool]:
    """Large word, what it says, why, and whether the animals may leave: a hold, a day unknown, days to go, free."""
    say = house.language.say
    held = [hold for hold in house.floor().holds if not hold.lifted and hold.batch in {stay.batch for stay in stays}]
    if held:
        return say("HELD"), say("do not move"), tuple(f"{hold.batch}: {hold.reason}" for hold in held), False
    told = [free[stay.batch, stay.stage] for stay in stays if (stay.batch, stay.stage) in free]
    waiting = [one for one in told if one.stage in {"quarantine", "healing"}]
    unknown = [f"{one.batch}: {house.language.retell(one.unknown[0])}" for one in waiting if one.unknown]
    if unknown:
        return say("HELD"), say("no release day yet"), tuple(unknown), False
    days = [(day, one) for one in waiting if (day := one.day(house.site.farm.zone, house.today)) is not None]
    if not days:
        stage = ", ".join(dict.fromkeys(say(stay.stage) for stay in stays))
        return say("FREE"), say("sell, cut, move"), (stage,), True
    day, last = max(days, key=lambda pair: pair[0])
    left = (day - house.today).days
    when = house.language.day(day, "%a %d %b %Y")
    notes = (say("not before {moment}", moment=when), say("last in: {batch}", batch=last.set_by or last.batch))
    if left <= 0:
        return say("CHECK"), say("release check due"), notes, False
    return str(left), say("day to release") if left == 1 else say("days to release"), notes, False


def _planned(house: House, batches: Sequence[Batch], taken: set[str]) -> list[VatLabel]:
    """Labels of vats that batches still to land are planned into: planned counts, said to be planned."""
    from forms import VatLabel, VatLot

    rows: dict[str, list[tuple[Batch, int, str]]] = {}
    for batch in batches:
        mine = [row for row in accepted_rows(house) if row["batch"] == batch.id and row["stage"] != "grow-out"]
        for row in mine:
            rows.setdefault(str(row["vat"]), []).append((batch, int(row["count"]), str(row["from"])))
    labels, say, today = [], house.language.say, house.language.day(house.today, "%d %b %Y")
    for vat, found in sorted(rows.items()):
        groups = [batch.group for batch, _, _ in found]
        dangers = (*kills_in(house, groups), *hurts_of(house, groups))
        broken = (say(_BROKEN),) if rule_cautions(house, [batch for batch, _, _ in found]) else ()
        beside = (say("beside the animals there now"),) if vat in taken or house.floor().in_vat(vat) else ()
        labels.append(
            VatLabel(
                vat, house.site.systems[house.site.vat(vat).system].name,
                say("{count} planned, {day}", count=house.language.count(sum(count for _, count, _ in found)), day=today),
                tuple(VatLot(count, batch.id, batch.name) for batch, count, _ in found), say("PLAN"),
                say("not counted yet"),
                page_address(house, f"/vats/{vat}") or count_address(house, found[0][0].id),
                (*broken, say("from {day}", day=found[0][2]), *beside), dangers[0] if dangers else None,
            )
        )  # fmt: skip
    return labels
