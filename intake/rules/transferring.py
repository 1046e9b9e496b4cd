"""Rules on tank transfer: it is a move of the whole lot to a clean dry vat in other water, and nothing rides along."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from intake.library.treatments import MECHANICAL
from intake.rules.acts import Transferring, Treating
from intake.rules.scene import Scene
from intake.rules.values import Broken, Rule, rule

__all__ = ["DRY_HOURS", "RULES", "TOP_HOURS", "transfer_vats"]

RULES: list[Rule] = []

_SOURCE = "S54, S56: cyst stages stay in the old vat; dry for 24 h"
DRY_HOURS = 24
TOP_HOURS = 72
_TRANSFER = "tank-transfer"


def transfer_vats(scene: Scene, sources: tuple[str, ...], at: datetime) -> tuple[str, ...]:
    """Quarantine vats in other water that are empty and open; how clean and dry they are is reported when they are used."""
    mine = {scene.system(vat).id for vat in sources}
    return tuple(
        vat.id
        for vat in scene.site.vats.values()
        if vat.system not in mine
        and scene.site.systems[vat.system].role == "quarantine"
        and not scene.floor.in_vat(vat.id)
        and not scene.closed_words(vat.id, at)
    )


def _free_words(scene: Scene, act: Transferring) -> str:
    free = transfer_vats(scene, act.sources, act.at)
    return f"Free in other water: {', '.join(free[:4])}." if free else "No vat in other water is free: empty one first."


@rule(
    "transfer-place", "A transfer is done by the move, and names its vat", "refuse", _SOURCE, Transferring, book=RULES
)
def transfer_place(scene: Scene, act: Transferring) -> Iterator[Broken]:
    """A tick is not a move."""
    if not act.to:
        what = f"The transfer of {act.batch.id} names no vat."
        do = f"Say --to VAT. {_free_words(scene, act)}"
        yield Broken(what, ", ".join(act.sources), "a vat in other water", "none named", do, (act.batch.id,))


@rule("transfer-water", "A transfer goes to other water", "refuse", _SOURCE, Transferring, book=RULES)
def transfer_water(scene: Scene, act: Transferring) -> Iterator[Broken]:
    """Two vats of one system share what swims."""
    same = [vat for vat in act.sources if act.to and scene.system(vat).id == scene.system(act.to).id]
    if same:
        system = scene.system(act.to).id
        what = f"{act.to} shares the water of {system} with {', '.join(same)}: what swims comes along."
        yield Broken(what, act.to, "other water", system, f"Choose another. {_free_words(scene, act)}", (act.batch.id,))


@rule("transfer-empty", "A transfer goes to an empty vat", "refuse", _SOURCE, Transferring, book=RULES)
def transfer_empty(scene: Scene, act: Transferring) -> Iterator[Broken]:
    """No fish of another lot, no shrimp, no snail waits there with cysts on its shell; the rest of its own lot may."""
    own = scene.lot(act.batch, act.at)
    here = [
        one
        for one in (scene.floor.in_vat(act.to) if act.to else ())
        if scene.lot(scene.batch(one.batch), one.since) != own or scene.group(scene.batch(one.batch)).kind != "fish"
    ]
    if here:
        told = ", ".join(f"{one.count} of {one.batch}" for one in here)
        what = f"{act.to} is not empty: {told}."
        yield Broken(what, act.to, "an empty vat", told, f"Choose another. {_free_words(scene, act)}", (act.batch.id,))


@rule(
    "transfer-dry",
    "The new vat was emptied, disinfected and dry for 24 hours",
    "refuse",
    _SOURCE,
    Transferring,
    book=RULES,
)
def transfer_dry(scene: Scene, act: Transferring) -> Iterator[Broken]:
    """Its last event is the cleaning."""
    if not act.to or scene.floor.in_vat(act.to):
        return
    cleaned = scene.floor.cleaned.get(act.to)
    left = scene.last_left(act.to, act.at)
    if cleaned is None or (left is not None and left[0] > cleaned):
        what = f"{act.to} was not cleaned and dried since it was last used."
        do = f"Clean it, record it (vatside clean {act.to}), and wait {DRY_HOURS} h."
        yield Broken(what, act.to, f"dry for {DRY_HOURS} h", "not cleaned", do, (act.batch.id,))
    elif act.at - cleaned < timedelta(hours=DRY_HOURS):
        hours = (act.at - cleaned).total_seconds() / 3600
        what = f"{act.to} has been dry for {hours:.0f} h."
        yield Broken(what, act.to, f"dry for {DRY_HOURS} h", f"{hours:.0f} h", "Wait.", (act.batch.id,))


@rule("transfer-whole", "A transfer takes the whole lot", "refuse", _SOURCE, Transferring, book=RULES)
def transfer_whole(scene: Scene, act: Transferring) -> Iterator[Broken]:
    """Hosts left behind keep the cycle going."""
    stand = scene.floor.headcount(act.batch.id)
    if act.to and act.count < stand:
        what = f"{stand - act.count} of {act.batch.id} would stay behind."
        yield Broken(
            what, ", ".join(act.sources), f"{stand} animals", f"{act.count}", "Move all of them.", (act.batch.id,)
        )


@rule(
    "transfer-company",
    "No shell, rock or shrimp takes part in a transfer course",
    "refuse",
    _SOURCE,
    Transferring,
    book=RULES,
)
def transfer_company(scene: Scene, act: Transferring) -> Iterator[Broken]:
    """Invertebrates in the water of either vat carry cysts."""
    waters = scene.waters((*act.sources, act.to) if act.to else act.sources)
    for system in waters:
        soft = sorted(
            {one.batch for one in scene.in_water(system.id) if scene.group(scene.batch(one.batch)).kind != "fish"}
        )
        if soft:
            what = f"{', '.join(soft)} in the water of {system.id} can carry cysts of fish parasites."
            do = "Move the invertebrates out first; they stand 30 d without fish."
            yield Broken(what, system.id, "fish only", ", ".join(soft), do, (act.batch.id, *soft))


@rule(
    "transfer-late", "At most 72 hours lie between two transfers", "warn", "S54: tomites leave the cyst from day 3", Transferring,
    book=RULES,
)  # fmt: skip
def transfer_late(scene: Scene, act: Transferring) -> Iterator[Broken]:
    """Since the batch entered the vat it is in, once the course has begun."""
    begun = any(one.kind == "transfer" and one.to and one.batch == act.batch.id for one in scene.floor.done)
    since = min((stay.since for stay in scene.floor.stays if stay.batch == act.batch.id), default=act.at)
    hours = (act.at - since).total_seconds() / 3600
    if begun and hours > TOP_HOURS:
        what = f"{act.batch.id} has stood {hours:.0f} h since the last transfer: cysts may have hatched."
        do = "Begin the course again with this transfer."
        yield Broken(what, ", ".join(act.sources), f"{TOP_HOURS} h", f"{hours:.0f} h", do, (act.batch.id,))


@rule(
    "two-courses", "A medicine in the water and a course of tank transfers are not given to the same fish at once", "reason",
    "derived: a strength is held and measured daily in one water (S59, S61); a transfer moves the fish to other water every "
    "3 days (S54). That the two are not combined is a design default",
    Treating, Transferring, book=RULES,
)  # fmt: skip
def two_courses(scene: Scene, act: Treating | Transferring) -> Iterator[Broken]:
    """From either side: a medicine for the water while a course of transfers runs, a transfer while such an order stands."""
    if isinstance(act, Treating):
        number, whole, last = _course(scene, act.batch.id, act.at)
        medicine = sorted(set(act.agents) - MECHANICAL - {_TRANSFER})
        if act.where != "vat" or act.test or not medicine or not 0 < number < whole:
            return
        what = f"{act.dip} for {act.batch.id}: transfer {number} of {whole} was done on {scene.day_words(last)}."
        have = f"{number} of {whole} transfers"
        do = "Finish the course first, or end it and say why the medicine takes its place."
        yield Broken(what, act.batch.id, "one course at a time", have, do, (act.batch.id,))
        return
    for order in scene.floor.orders:
        agents = sorted(set(order.agents) - MECHANICAL - {_TRANSFER})
        runs = order.until is not None and order.at <= act.at < order.until
        if order.batch != act.batch.id or not agents or not runs:
            continue
        what = f"{act.batch.id} has {', '.join(agents)} ordered until {scene.day_words(order.until or act.at)}."
        do = "Keep the fish in the treated water, or say why they go on to clean water."
        yield Broken(what, act.batch.id, "one course at a time", order.dip, do, (act.batch.id,))


def _course(scene: Scene, batch: str, at: datetime) -> tuple[int, int, datetime]:
    """Transfers done of a course that is not older than two of its intervals, those it has, and the last one's moment."""
    dip = next((one for one in scene.library.dips.values() if _TRANSFER in scene.library.agents(one.id)), None)
    moved = [
        one.at for one in scene.floor.done if one.kind == "transfer" and one.batch == batch and one.to and one.at <= at
    ]
    last = max(moved, default=at)
    if dip is None or at - last > 2 * timedelta(hours=TOP_HOURS):
        return 0, 0, last
    return len(moved), dip.baths, last
