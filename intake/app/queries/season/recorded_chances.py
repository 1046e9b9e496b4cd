"""Rates of the futures from the farm's own record: late flights and counts by supplier, dead on arrival line by line."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from intake.app.queries.planning.announced_shipments import live_shipments, waiting
from intake.app.queries.reports.journey_forecast import dead_on_arrival
from intake.app.session import House
from intake.ledger import Record
from intake.plan.problem import Problem
from intake.report.losses import summary
from intake.season.stress import Chances

__all__ = ["RecordedChances", "recorded_chances"]

LEAST_SHIPMENTS: Final = 3
LEAST_LINES: Final = 6
"""Shipments received, and lines in them, from which on a supplier has a rate of its own (design defaults)."""

PRIOR_SHIPMENTS: Final = 5.0
"""The default counts as so many shipments beside those on record (design default)."""

RELIED_ON: Final = timedelta(days=7)
"""A flight is late against the day it was to land a week before: what is changed earlier, a plan can follow."""

LEAST_ANIMALS: Final = 10
"""Lines of fewer animals say little of a share."""


@dataclass(frozen=True, slots=True)
class RecordedChances:
    """Chances with the farm's own rates where there is enough on record, and in words where each comes from."""

    chances: Chances
    told: tuple[str, ...]


def recorded_chances(house: House, problem: Problem) -> RecordedChances:
    """Rates for what a plan is about to place: of the supplier, else of all suppliers together, else the defaults."""
    default = Chances()
    late: defaultdict[str, list[int]] = defaultdict(list)
    shares: defaultdict[str, list[float]] = defaultdict(list)
    for shipment, landed in house.floor().received.items():
        facts = live_shipments(house).get(shipment)
        if facts is None:
            continue
        supplier = str(facts["supplier"])
        days = _late(house, shipment, landed)
        if days is not None:
            late[supplier].append(days)
        shares[supplier] += _shares(house, shipment)
    coming = {one: str(live_shipments(house)[one]["supplier"]) for one in waiting(house)}
    slips = {name: _slips(late, name, default) for name in dict.fromkeys(coming.values())}
    counts = {name: _spread(shares, name) for name in slips}
    dead = {
        one.batch: min(0.99, one.expected / batch.count)
        for one in dead_on_arrival(house)
        for batch in problem.batches
        if batch.id == one.batch and batch.count
    }
    found = Chances(
        slips_of={one: slips[name][0] for one, name in coming.items()},
        count_sd_of={one: sd for one, name in coming.items() if (sd := counts[name][0]) is not None},
        dead_of=dead,
    )
    return RecordedChances(found, (*_words(slips, counts), _dead_words(dead), _REST))


def _late(house: House, shipment: str, landed: datetime) -> int | None:
    """Days between the landing as it stood a week before it and the landing itself; early counts as none."""
    told = [one for one in house.shipment_stream(shipment) if isinstance(one, Record) and one.kind == "shipment"]
    if not told:
        return None
    kept = told[0]
    for one in told[1:]:
        if one.recorded_at <= datetime.fromisoformat(str(kept.payload["lands"])) - RELIED_ON:
            kept = one
    zone = house.site.farm.zone
    due = datetime.fromisoformat(str(kept.payload["lands"]))
    return max(0, (landed.astimezone(zone).date() - due.astimezone(zone).date()).days)


def _shares(house: House, shipment: str) -> list[float]:
    """Animals that came of those listed, line by line."""
    stream = house.shipment_stream(shipment)
    return [
        losses.came / batch.announced
        for batch in house.lines_of(shipment)
        if batch.announced >= LEAST_ANIMALS and (losses := summary(stream, batch.id, house.now)) is not None
    ]


def _slips(
    late: Mapping[str, Sequence[int]], supplier: str, default: Chances
) -> tuple[tuple[tuple[int, float], ...], str]:
    """Days late with their chances, and where they come from; the default weighs as so many shipments."""
    own, whole = late.get(supplier, ()), [days for some in late.values() for days in some]
    if len(own) >= LEAST_SHIPMENTS:
        seen, source = list(own), f"{len(own)} shipments of {supplier} on record"
    elif len(whole) >= LEAST_SHIPMENTS:
        seen, source = whole, f"{len(whole)} shipments of all suppliers on record ({len(own)} of {supplier})"
    else:
        return default.slips, f"default ({len(own)} shipments of {supplier} on record, {LEAST_SHIPMENTS} needed)"
    weights: Counter[int] = Counter()
    for days in seen:
        weights[days] += 1
    of = PRIOR_SHIPMENTS + len(seen)
    chances = {days: PRIOR_SHIPMENTS * share / of for days, share in default.slips}
    for days, number in weights.items():
        chances[days] = chances.get(days, 0.0) + number / of
    return tuple(sorted(chances.items())), source


def _spread(shares: Mapping[str, Sequence[float]], supplier: str) -> tuple[float | None, str]:
    """Spread of counts against the list around all of it, and where it comes from; ``None`` for the default."""
    own, whole = shares.get(supplier, ()), [one for some in shares.values() for one in some]
    if len(own) >= LEAST_LINES:
        seen, source = list(own), f"{len(own)} lines of {supplier} on record"
    elif len(whole) >= LEAST_LINES:
        seen, source = whole, f"{len(whole)} lines of all suppliers on record ({len(own)} of {supplier})"
    else:
        return None, f"default ({len(own)} lines of {supplier} on record, {LEAST_LINES} needed)"
    return (sum((one - 1.0) ** 2 for one in seen) / len(seen)) ** 0.5, source


def _words(
    slips: Mapping[str, tuple[tuple[tuple[int, float], ...], str]], counts: Mapping[str, tuple[float | None, str]]
) -> list[str]:
    told = []
    for name, (chances, source) in slips.items():
        late = sum(share for days, share in chances if days)
        longest = max(days for days, share in chances if share)
        told.append(f"Flights of {name}: {100 * late:.0f} % late, by {longest} days at most; {source}")
    for name, (sd, source) in counts.items():
        told.append(f"Counts of {name}: ±{100 * (Chances().count_sd if sd is None else sd):.0f} %; {source}")
    return told


def _dead_words(dead: Mapping[str, float]) -> str:
    if not dead:
        return f"Dead on arrival: {100 * Chances().dead:.0f} %; default (fewer than two shipments on record)"
    low, high = min(dead.values()), max(dead.values())
    span = f"{100 * low:.1f} %" if high - low < 5e-4 else f"{100 * low:.1f}–{100 * high:.1f} %"
    return f"Dead on arrival: {span}; journeys on record by supplier, group and hours in the bag"


_REST: Final = (
    f"Design defaults: bench area grows {100 * Chances().growth:.0f} % ± {100 * Chances().growth_sd:.0f} %; "
    f"a system down for a week {100 * Chances().outage:.0f} %"
)
