"""Judge of order plans: walks through the weeks with plain arithmetic and names every rule a plan breaks.

It shares no code with the planner: from the season it reads figures only, and recomputes animals, room, money and the margin.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Any

__all__ = ["judge_orders"]


def judge_orders(season: Any, plan: Any) -> list[str]:
    """Every fault of a plan; an empty list is a sound plan."""
    faults: list[str] = []
    shippers = {one.id: one for one in season.shippers}
    kinds = {one.id: one for one in season.kinds}
    landed, paid = _landed(season, plan, shippers, faults)
    used: dict[tuple[str, str, int], float] = defaultdict(float)
    margin = _sold(season, plan, kinds, shippers, used, faults) - paid
    for name, kind_id, start, count in plan.cleared:
        kind, released, share, _ = _of(season, kinds, shippers, name, kind_id, start)
        used[name, kind_id, start] += count
        margin += count * kind.clearance * share(released - start) - count * _upkeep(kind, share, released - start)
    for key in {*landed, *used}:
        if abs(landed.get(key, 0.0) - used.get(key, 0.0)) > 1e-4:
            faults.append(
                f"conservation: {key} landed {landed.get(key, 0.0):g}, sold or cleared {used.get(key, 0.0):g}"
            )
    _lots(season, plan, shippers, faults)
    for one in plan.landings:
        _quarantine(season, one, kinds, shippers, faults)
    if abs(margin - plan.value) > 1e-4 * max(1.0, abs(margin)):
        faults.append(f"value: told {plan.value:g}, counted {margin:g}")
    if plan.bound < plan.value - 1e-6 * max(1.0, abs(plan.value)):
        faults.append(f"bound: {plan.bound:g} below {plan.value:g}")
    return faults


def _upkeep(kind: Any, share: Any, weeks: int) -> float:
    return float(kind.upkeep * sum(share(age) for age in range(weeks)))


def _sold(
    season: Any, plan: Any, kinds: Any, shippers: Any, used: dict[tuple[str, str, int], float], faults: list[str]
) -> float:
    """Income of what is sold, less its upkeep; sales and grow-out room looked at week by week."""
    margin = 0.0
    served: dict[tuple[str, int], float] = defaultdict(float)
    load: dict[tuple[str, int], float] = defaultdict(float)
    for name, kind_id, start, sale, count in plan.sold:
        kind, released, share, older = _of(season, kinds, shippers, name, kind_id, start)
        used[name, kind_id, start] += count
        ready = max(sale, released)
        if sale < released and season.backlog is None:
            faults.append(f"sale: {kind_id} of {name} week {start} sold in {sale} before its release in {released}")
        served[kind_id, sale] += count * share(ready - start)
        wait = (season.backlog or 0.0) * max(0, released - sale)
        margin += count * ((_at(kind.price, sale) + kind.goodwill - wait) * share(ready - start))
        margin -= count * _upkeep(kind, share, ready - start)
        for week in range(released, sale):
            alive = count * share(week - start)
            load["area", week] += alive * _at(kind.area_m2, week - start + older)
            load["oxygen", week] += alive * _at(kind.oxygen_mg_per_h, week - start + older)
    for (kind_id, week), count in served.items():
        if count > _at(kinds[kind_id].sales, week) + 1e-4:
            faults.append(f"sales: {count:g} of {kind_id} in week {week}")
    room = {"area": season.grow_out_m2, "oxygen": season.grow_out_oxygen_mg_per_h}
    for (need, week), amount in load.items():
        if amount > room[need] * (1 - season.headroom_grow_out) * (1 + 1e-6) + 1e-6:
            faults.append(f"grow-out: {need} {amount:g} in week {week}")
    return margin


def _at(figures: Any, number: int) -> float:
    return float(figures[number] if number < len(figures) else figures[-1])


def _of(season: Any, kinds: Any, shippers: Any, name: str, kind_id: str, start: int) -> tuple[Any, int, Any, int]:
    """Kind, release week, share alive by age and age before week 0 of one batch."""
    kind = kinds[kind_id]
    if name.startswith("stock "):
        stock = season.stock[int(name.split()[1])]
        return kind, stock.release, lambda age: kind.survival**age, stock.age
    offer = next(one for one in shippers[name].offers if one.kind == kind_id)

    def share(age: int) -> float:
        first = float(1 - offer.dead_on_arrival)
        return first if age == 0 else float(first * (1 - offer.first_week) * kind.survival ** (age - 1))

    return kind, start + shippers[name].quarantine, share, 0


def _landed(
    season: Any, plan: Any, shippers: Any, faults: list[str]
) -> tuple[dict[tuple[str, str, int], float], float]:
    """Animals landed by supplier, kind and week, and the money paid; ship days, lots and budget looked at."""
    landed = {(f"stock {number}", one.kind, 0): one.count for number, one in enumerate(season.stock) if one.count}
    spent: dict[int, float] = defaultdict(float)
    for one in plan.landings:
        shipper = shippers[one.supplier]
        offers = {offer.kind: offer for offer in shipper.offers}
        counts = {kind_id: boxes * offers[kind_id].box for kind_id, boxes in one.boxes}
        landed |= {(one.supplier, kind_id, one.week): count for kind_id, count in counts.items()}
        spent[one.week // 13] += shipper.freight + sum(count * offers[name].cost for name, count in counts.items())
        faults += [
            f"boxes: {boxes} of {name} from {one.supplier}"
            for name, boxes in one.boxes
            if offers[name].most_boxes is not None and boxes > offers[name].most_boxes
        ]
        if one.week not in shipper.ships or not 0 <= one.week < season.weeks:
            faults.append(f"ship day: {one.supplier} in week {one.week}")
        animals = sum(counts.values())
        if animals < shipper.least or (shipper.most is not None and animals > shipper.most):
            faults.append(f"lot: {animals} from {one.supplier} in week {one.week}")
    faults += [f"budget: {paid:g} in quarter {part}" for part, paid in spent.items() if paid > season.budget + 1e-6]
    return landed, float(sum(spent.values()))


def _lots(season: Any, plan: Any, shippers: Any, faults: list[str]) -> None:
    """One supplier's lot to a water at a time, from landing until its fallow weeks are over."""
    taken: dict[str, list[tuple[int, int, str]]] = defaultdict(list)
    for stock in season.stock:
        if stock.release:
            taken[stock.water].append((0, stock.release + season.fallow, "stock"))
    for one in plan.landings:
        weeks = shippers[one.supplier].quarantine
        if weeks and not one.waters:
            faults.append(f"water: {one.supplier} week {one.week} has none")
        for water in one.waters:
            taken[water].append((one.week, one.week + weeks + season.fallow, one.supplier))
    for water, stays in taken.items():
        lots = sorted(entry for entry in stays if entry[2] != "stock")
        first = max((until for _, until, who in stays if who == "stock"), default=0)
        for start, until, who in lots:
            if start < first:
                faults.append(f"water: {who} in {water} in week {start}, taken until {first}")
            first = until


def _quarantine(season: Any, one: Any, kinds: Any, shippers: Any, faults: list[str]) -> None:
    """What a landing needs in quarantine, week by week, against the waters it has."""
    areas = {water.id: water for water in season.waters}
    offers = {offer.kind: offer for offer in shippers[one.supplier].offers}
    for need in ("area_m2", "oxygen_mg_per_h"):
        have = sum(getattr(areas[water], need) for water in one.waters) * (1 - season.headroom_quarantine)
        for age in range(shippers[one.supplier].quarantine):
            amount = 0.0
            for kind_id, boxes in one.boxes:
                _, _, share, _ = _of(season, kinds, shippers, one.supplier, kind_id, one.week)
                amount += boxes * offers[kind_id].box * share(age) * _at(getattr(kinds[kind_id], need), age)
            if amount > have * (1 + 1e-6) + 1e-6:
                faults.append(f"room: {one.supplier} week {one.week} needs {amount:g} of {have:g} {need} in week {age}")
