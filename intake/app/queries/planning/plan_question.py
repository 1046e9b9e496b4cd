"""The question a vat plan answers, gathered from farm and ledger; nothing is written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime

from intake.app.queries.planning.announced_shipments import shipment_facts, waiting
from intake.app.queries.planning.present_stock import standing_facts
from intake.app.queries.planning.quarantine_lengths import quarantine_days
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName
from intake.plan.answers.longer_holds import held_until
from intake.plan.framing import Arrival, frame
from intake.plan.model.objectives import NAMES
from intake.plan.problem import BatchNeed, Problem, StageNeed
from intake.rules.suitability import suits

__all__ = ["aims_in_order", "arrivals", "check_worth", "framed", "refused_vats", "without"]


_AIMS = dict(zip(("placed", "held", "moves", "vats", "room", "balance"), NAMES, strict=True))


def aims_in_order(order: Sequence[str]) -> tuple[str, ...]:
    """All aims in the order asked for by their short names; those not named follow in the usual order.

    Raises
    ------
    BadInput
        A name that is none, or room or balance before moves and vats.
    """
    first = ("placed",) if "held" in order else ("placed", "held")
    short = list(dict.fromkeys((*first, *order)))
    short += [name for name in _AIMS if name not in short]
    late = {"room", "balance"}
    if set(short) != set(_AIMS) or not set(short[:4]).isdisjoint(late):
        expected = "held, moves and vats in any order, then room and balance in either order"
        raise BadInput(Finding("--aims", ",".join(order), expected, "For example: --aims vats,moves"))
    return tuple(_AIMS[name] for name in short)


def check_worth(weights: Mapping[str, int], coming: Sequence[str]) -> None:
    """See that every weight is 1 or more and for a batch to come.

    Raises
    ------
    UnknownName
        No such batch is to come.
    BadInput
        A weight below 1.
    """
    for batch, worth in weights.items():
        if batch not in coming:
            raise UnknownName("batch to come", batch, sorted(coming), "--worth")
        if worth < 1:
            raise BadInput(Finding(f"--worth {batch}", str(worth), "1 or more"))


def without(arrival: Arrival, fewer: Mapping[str, int]) -> Arrival:
    """The arrival less some animals of its batches; one of every batch is left."""
    batches = (replace(one, announced=max(1, one.announced - fewer.get(one.id, 0))) for one in arrival.batches)
    return replace(arrival, batches=tuple(batches))


def arrivals(house: House) -> tuple[Arrival, ...]:
    """What is still to come, as the plan needs it."""
    facts = shipment_facts(house)
    made = []
    for shipment in waiting(house):
        lands = datetime.fromisoformat(str(facts[shipment]["lands"])).astimezone(house.site.farm.zone).date()
        batches = tuple(line for line in house.lines_of(shipment) if line.announced > 0)
        made.append(Arrival(shipment, str(facts[shipment]["supplier"]), max(lands, house.today), batches))
    return tuple(made)


def framed(
    house: House,
    extra: Sequence[Arrival] = (),
    weights: Mapping[str, int] | None = None,
    fewer: Mapping[str, int] | None = None,
    hold: Mapping[str, date] | None = None,
) -> Problem:
    """The plan's question as it stands now, with further arrivals for a what-if, worth of animals, and room for fewer.

    Parameters
    ----------
    hold
        Quarantine system → the day until which lots in it may be held longer, so that newcomers may join them.

    Raises
    ------
    UnknownName
        No such system.
    BadInput
        A day before today.
    """
    coming = (*arrivals(house), *extra)
    check_worth(weights or {}, [batch.id for arrival in coming for batch in arrival.batches])
    coming = tuple(without(arrival, fewer or {}) for arrival in coming)
    facts = standing_facts(house)
    lengths = quarantine_days(house, coming)
    problem = frame(
        house.site,
        house.library,
        house.floor(),
        coming,
        today=house.today,
        weights=weights,
        quarantine_days=lengths,
        **facts,
    )
    for system, day in (hold or {}).items():
        house.site.system(system)
        if day < house.today:
            raise BadInput(Finding(f"--hold {system}", day.isoformat(), f"{house.today} or later"))
        problem = held_until(problem, system, (day - house.today).days)
    return problem


def refused_vats(house: House, need: BatchNeed, stage: StageNeed) -> dict[str, str]:
    """Why each vat that may not take a batch in a stage may not: the first rule it breaks, with what is there."""
    batch = house.floor().batches.get(need.id)
    found: dict[str, str] = {}
    if batch is None:
        return found
    group = house.library.group(batch.group)
    tests = suits(group, stage.stage, landing=stage is need.stages[0])
    for vat in house.site.vats.values():
        if vat.id in stage.vats:
            continue
        system = house.site.systems[vat.system]
        broken = next((one for one in tests if not one.test(vat, system)), None)
        if broken is None:
            found[vat.id] = "its water is closed or kept for another lot on that day"
        elif broken.id in {"stage-role", "reserve", "anemone-intakes"}:
            found[vat.id] = f"only {broken.resource}"
        else:
            found[vat.id] = f"{broken.resource}; there {broken.offer(vat, system):g}"
    return found
