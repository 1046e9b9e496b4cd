"""What-if capacity: the largest shipment of a mix that fits, by day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from intake.app.queries.planning.accepted_plan import promised
from intake.app.queries.planning.packing_list import answers_of, packing_list_bytes, supplier_names
from intake.app.queries.planning.plan_question import arrivals, framed
from intake.app.queries.planning.present_stock import standing_facts
from intake.app.queries.planning.quarantine_lengths import quarantine_days
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.site import Supplier
from intake.packing import read, understand
from intake.plan.framing import Arrival

__all__ = ["capacity_of", "mix_of"]


def mix_of(house: House, file: Path, lands: datetime | None, supplier: str = "") -> Arrival:
    """A mix as an arrival for a what-if: the same kinds of file as a packing list.

    Parameters
    ----------
    supplier
        Who would send it; left out, a supplier the farm does not know, who shares quarantine water with no one.

    Raises
    ------
    BadInput
        The mix cannot be understood; every open question is named.
    """
    stranger = Supplier(id="what-if", currency="EUR", time_zone=house.site.farm.time_zone, claim_window_h=1)
    sender = house.site.supplier(supplier) if supplier else stranger
    when = lands or house.now + timedelta(days=7)
    found = understand(
        read(packing_list_bytes(file), file.name),
        supplier=sender,
        library=house.library,
        names=supplier_names(house),
        remembered=None,
        answers={**(answers_of(house, supplier) if supplier else {}), "columns": "proposed"},
        lands=when,
        shipment_id="M",
    )
    return Arrival("M", sender.id, when.astimezone(house.site.farm.zone).date(), found.batches("M"))


def capacity_of(  # what the command line can say
    house: House,
    mix: Path,
    first: date | None,
    last: date | None,
    *,
    supplier: str = "",
    every: int = 7,
    seconds: float = 2.0,
    watch: Callable[[date, int], object] | None = None,
) -> list[dict[str, Any]]:
    """Largest part of a mix that fits for each landing day, in animals, beside all that is still to come and has a place.

    Raises
    ------
    BadInput
        The days are in the wrong order or the mix cannot be understood.
    """
    from intake.plan.answers.capacity import capacity

    start = first or house.today + timedelta(days=1)
    end = last or start + timedelta(days=28)
    if end < start or every < 1:
        raise BadInput(Finding("--from, --to", f"{start} to {end}", "a first day on or before the last"))
    arrival = mix_of(house, mix, None, supplier)
    announced = sum(batch.announced for batch in arrival.batches)
    coming = _with_places(house, seconds)
    lengths, facts = quarantine_days(house, [*coming, arrival]), standing_facts(house)
    rows: list[dict[str, Any]] = []
    for later in range(0, (end - start).days + 1, every):
        lands = start + timedelta(days=later)
        found = capacity(
            house.site, house.library, house.floor(), arrival.batches, [lands], house.today,
            supplier=arrival.supplier, seconds=seconds, quarantine_days=lengths, coming=coming, **facts,
        ).days[0]  # fmt: skip
        rows.append({"day": lands.isoformat(), "fits": found.animals, "announced": announced, "proved": found.proved})
        if watch is not None:
            watch(lands, found.animals)
    return rows


def _with_places(house: House, seconds: float) -> tuple[Arrival, ...]:
    """What is still to come, less the animals that have no place even without the mix: an accepted place comes first."""
    from intake.plan.answers.least_change_replan import carried_over, placed_by_batch, promised_first
    from intake.plan.solve import solve

    coming = arrivals(house)
    if not coming:
        return ()
    problem = framed(house)
    kept = promised(house, problem)
    start = carried_over(problem, kept) if kept else None
    solution = solve(problem, seconds=seconds, aims=1, start=start)
    solution = promised_first(problem, solution, kept, seconds=seconds, aims=1)[1] if kept else solution
    placed = placed_by_batch(problem, solution)
    return tuple(
        replace(
            one, batches=tuple(replace(line, announced=placed[line.id]) for line in one.batches if placed.get(line.id))
        )
        for one in coming
        if any(placed.get(line.id) for line in one.batches)
    )
