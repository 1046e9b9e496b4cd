"""Judge of vat plans: reads plain facts and a plain plan and names every rule the plan breaks.

It shares no code with the planner (it imports nothing of it and no solver) and works another way: it walks through the
days one by one and looks who stands where.

Facts (days are ISO dates, intervals half-open)::

    {"vats": {id: {"system", "area_mm2", "oxygen_ug_per_h", "fallow_days", "divided", "closed": [[from, until], …]}},
     "systems": {id: {"role", "ammonia_ug_per_h", "new_filter_ug_per_h", "matured": date or None, "suppliers_share"}},
     "batches": {id: {"group", "shipment", "supplier", "count", "min_portion", "max_vats",
                      "area_mm2", "oxygen_ug_per_h", "ammonia_ug_per_h",
                      "grown": [[date, area_mm2, oxygen_ug_per_h, ammonia_ug_per_h], …] of one, after its first stage,
                      "stages": [{"stage", "from", "until", "vats": [id, …]}]}},
     "standing": [{"batch", "vat", "stage", "count", "group", "shipment", "supplier", "from", "until", "movable",
                   "move_to": [id, …], "served": date from which it may leave,
                   "area_mm2", "oxygen_ug_per_h", "ammonia_ug_per_h",
                   "grown": as above, outside quarantine, "left": [[date, how many are still there from then on], …]}],
     "apart": [[group, group, "touch" | "vat" | "water"]],
     "most_days_held": days, "release": false where dates of release are left out of the question}

Days of a batch's stages are those of its own clock.  In quarantine the last lot to enter a water sets the date: the judge works
out every lot's release on the planned stays, round after round until nothing changes, and a plan with other dates is a fault.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

__all__ = ["judge"]

Facts = dict[str, Any]


@dataclass(frozen=True)
class Guest:
    """Animals in a vat: ``new`` when the plan put or moved them there."""

    who: str
    vat: str
    first: date
    last: date
    count: int
    group: str
    supplier: str
    lot: tuple[str, date]
    needs: tuple[int, int, int]
    new: bool
    quarantine: bool = False
    course: tuple[tuple[date, tuple[int, int, int]], ...] = ()

    def on(self, day: date) -> tuple[int, ...]:
        """Area, oxygen and ammonia on a day: the last of the course that has begun, else what it came with."""
        now = self.needs
        for since, needs in self.course:
            now = needs if since <= day else now
        return now


def judge(facts: Facts, plan: dict[str, Any]) -> list[str]:
    """Name every rule that a plan breaks; an empty list is a sound plan.

    What present stock already does among itself (too full a vat, two lots together) is nobody's fault and is not
    named; it is as soon as the plan adds to it.
    """
    faults = _sums(facts, plan)
    guests: list[Guest] = []
    ends = _released(facts, plan, faults)
    for row in plan["placements"]:
        guests += _placed(facts, row, ends, faults)
    guests += _present(facts, plan["moves"], faults)
    faults += _portions(facts, plan)
    inside: dict[str, list[Guest]] = defaultdict(list)
    for guest in guests:
        inside[guest.vat].append(guest)
    for vat in sorted(inside):
        faults += _vat(facts, vat, inside[vat])
    faults += _transfers(facts, inside)
    for system in sorted(facts["systems"]):
        here = [guest for vat, entry in facts["vats"].items() if entry["system"] == system for guest in inside[vat]]
        faults += _system(facts, system, here)
        faults += _leaving(facts, system, here)
    return sorted(set(faults))


def _transfers(facts: Facts, inside: dict[str, list[Guest]]) -> list[str]:
    """Fish in a course of tank transfers have an empty vat in other water, and no invertebrate enters either water."""
    faults = []
    for course in facts.get("transfers", ()):
        first, last = (date.fromisoformat(course[day]) for day in ("from", "until"))
        there = {
            vat: [guest for guest in guests if guest.first < last and first < guest.last]
            for vat, guests in inside.items()
        }
        mine = [guest for guests in there.values() for guest in guests if guest.new and guest.who in course["batches"]]
        if not mine:
            continue
        waters = {facts["vats"][guest.vat]["system"] for guest in mine}
        area: dict[str, float] = defaultdict(float)
        for vat in course["vats"]:
            system = facts["vats"][vat]["system"]
            if system not in waters and not there.get(vat):
                area[system] += facts["vats"][vat]["area_mm2"]
        wet = {
            facts["vats"][guest.vat]["system"]
            for guests in there.values()
            for guest in guests
            if guest.group not in facts["fish"]
        }
        needed = sum(guest.needs[0] for guest in mine)
        if wet & waters or not any(have >= needed for system, have in area.items() if system not in wet):
            faults.append(f"transfer: {', '.join(course['batches'])} have no second vat in other water")
    return faults


def _sums(facts: Facts, plan: dict[str, Any]) -> list[str]:
    faults = []
    announced = sum(batch["count"] for batch in facts["batches"].values())
    left = {row["batch"]: row["count"] for row in plan["short"]}
    placed = 0
    for name, batch in facts["batches"].items():
        per_stage = {
            stage["stage"]: sum(
                row["count"] for row in plan["placements"] if row["batch"] == name and row["stage"] == stage["stage"]
            )
            for stage in batch["stages"]
        }
        if len(set(per_stage.values())) != 1:
            faults.append(f"conservation: {name} has {per_stage} animals by stage")
        here = next(iter(per_stage.values()))
        placed += here
        if here + left.get(name, 0) != batch["count"]:
            faults.append(f"conservation: {name} {here} placed and {left.get(name, 0)} short of {batch['count']}")
    if (plan["announced"], plan["placed"]) != (announced, placed):
        faults.append(f"conservation: told {plan['placed']} of {plan['announced']}, counted {placed} of {announced}")
    if not plan["placed"] <= plan["placed_bound"] <= announced:
        faults.append(f"bound: {plan['placed']} placed against a bound of {plan['placed_bound']}")
    if (plan["status"] == "short") != (placed < announced):
        faults.append(f"status: {plan['status']} with {announced - placed} left over")
    return faults


def _released(facts: Facts, plan: dict[str, Any], faults: list[str]) -> dict[str, date]:
    """Day each planned batch is released, from the stays alone: who enters a water before an end, or on it, sets a later one."""
    inside: dict[str, list[tuple[str, date, date]]] = defaultdict(list)
    own: dict[str, date] = {}
    for row in plan["placements"]:
        batch = facts["batches"].get(row["batch"])
        stage = next((one for one in batch["stages"] if one["stage"] == "quarantine"), None) if batch else None
        if stage is None or row["stage"] != "quarantine" or row["vat"] not in facts["vats"]:
            continue
        own[row["batch"]] = date.fromisoformat(stage["until"])
        stay = (row["batch"], date.fromisoformat(stage["from"]), own[row["batch"]])
        inside[facts["vats"][row["vat"]]["system"]].append(stay)
    if not facts.get("release", True):
        return own
    present = [one for one in facts["standing"] if one["stage"] == "quarantine"]
    for one in present:
        stay = (f"present {one['batch']}", date.fromisoformat(one["from"]), date.fromisoformat(one["until"]))
        inside[facts["vats"][one["vat"]]["system"]].append(stay)
    ends = {name: _chain(name, end, inside) for name, end in own.items()}
    for one in present:
        until, water = date.fromisoformat(one["until"]), facts["vats"][one["vat"]]["system"]
        newcomers = {water: [stay for stay in inside[water] if not stay[0].startswith("present ")]}
        if any(first <= until < last for _, first, last in newcomers[water]):
            faults.append(f"release: {one['batch']} in {one['vat']} would be held beyond {until}")
    for name, end in ends.items():
        if (end - own[name]).days > facts.get("most_days_held", 28):
            faults.append(f"release: {name} held {(end - own[name]).days} days longer")
    return ends


def _chain(name: str, end: date, inside: dict[str, list[tuple[str, date, date]]]) -> date:
    waters = [stays for stays in inside.values() if any(who == name for who, _, _ in stays)]
    while True:
        later = [last for stays in waters for _, first, last in stays if first <= end < last]
        if not later:
            return end
        end = min(later)


def _leaving(facts: Facts, system: str, guests: list[Guest]) -> list[str]:
    """Lots in quarantine in one water at a time, or on the day one of them leaves, leave it on one day."""
    if not facts.get("release", True):
        return []
    faults = []
    lots = [guest for guest in guests if guest.quarantine]
    for number, one in enumerate(lots):
        for other in lots[number + 1 :]:
            meet = one.first <= other.last and other.first <= one.last
            if meet and one.last != other.last and (one.new or other.new):
                faults.append(f"release: {one.who} and {other.who} leave {system} on two days")
    return faults


def _placed(facts: Facts, row: dict[str, Any], ends: dict[str, date], faults: list[str]) -> list[Guest]:
    batch, name = facts["batches"].get(row["batch"]), f"{row['batch']} in {row['vat']}"
    if batch is None or row["vat"] not in facts["vats"]:
        faults.append(f"unknown: {name}")
        return []
    stage = next((one for one in batch["stages"] if one["stage"] == row["stage"]), None)
    if stage is None or (row["from"], row["until"]) != _dated(batch, row["batch"], stage, ends):
        faults.append(f"days: {name} {row['stage']} from {row['from']} until {row['until']}")
        return []
    if row["vat"] not in stage["vats"]:
        faults.append(f"setting: {name} does not suit {batch['group']} in {row['stage']}")
    if row["count"] < 1 or row["count"] != int(row["count"]):
        faults.append(f"count: {name} {row['count']}")
    landed = date.fromisoformat(batch["stages"][0]["from"])
    lot = (batch["shipment"] or row["batch"], landed)
    guest = _guest(batch, row["batch"], row["vat"], (row["from"], row["until"]), row["count"], lot, new=True)
    if row["stage"] == batch["stages"][0]["stage"]:
        guest = replace(guest, course=())  # room for its size at the end of this stage is kept from the first day
    return [replace(guest, quarantine=row["stage"] == "quarantine")]


def _dated(batch: dict[str, Any], name: str, stage: dict[str, Any], ends: dict[str, date]) -> tuple[str, str]:
    """From and until of a stage once release has dated the quarantine before it."""
    names = [one["stage"] for one in batch["stages"]]
    here = names.index(stage["stage"])
    if "quarantine" not in names or here < names.index("quarantine") or name not in ends:
        return stage["from"], stage["until"]
    wait = ends[name] - date.fromisoformat(batch["stages"][names.index("quarantine")]["until"])
    first = date.fromisoformat(stage["from"]) + (wait if here > names.index("quarantine") else timedelta())
    return first.isoformat(), (date.fromisoformat(stage["until"]) + wait).isoformat()


def _guest(
    entry: dict[str, Any], who: str, vat: str, days: tuple[str, str], count: int, lot: tuple[str, date], *, new: bool
) -> Guest:
    needs = tuple(count * entry[need] for need in ("area_mm2", "oxygen_ug_per_h", "ammonia_ug_per_h"))
    first, last = (date.fromisoformat(day) for day in days)
    guest = Guest(who, vat, first, last, count, entry["group"], entry["supplier"], lot, needs, new)
    return replace(guest, course=_course(entry, count))


def _course(entry: dict[str, Any], count: int) -> tuple[tuple[date, tuple[int, int, int]], ...]:
    """What so many animals need from each day on which they are bigger, or fewer, than the day before."""
    sizes = {row[0]: tuple(row[1:]) for row in entry.get("grown", ())}
    fewer = dict(entry.get("left", ()))
    each, there = (entry["area_mm2"], entry["oxygen_ug_per_h"], entry["ammonia_ug_per_h"]), count
    found = []
    for day in sorted({*sizes, *fewer}):
        each, there = sizes.get(day, each), fewer.get(day, there)
        found.append((date.fromisoformat(day), tuple(there * need for need in each)))
    return tuple(found)


def _present(facts: Facts, moves: list[dict[str, Any]], faults: list[str]) -> list[Guest]:
    guests = []
    waiting = list(moves)
    for entry in facts["standing"]:
        lot = (entry["shipment"] or entry["batch"], date.fromisoformat(entry["from"]))
        move = next(
            (
                row
                for row in waiting
                if (row["batch"], row["from_vat"], row["count"]) == (entry["batch"], entry["vat"], entry["count"])
            ),
            None,
        )
        until = entry["until"]
        if move is not None:
            waiting.remove(move)
            until = min(until, move["by"])
            if not entry["movable"] or move["to_vat"] not in entry["move_to"] or move["by"] < entry["served"]:
                faults.append(f"move: {entry['batch']} from {entry['vat']} to {move['to_vat']} is not allowed")
            if move["to_vat"] in facts["vats"]:
                days = (move["by"], max(move["by"], entry["until"]))
                guests.append(_guest(entry, entry["batch"], move["to_vat"], days, entry["count"], lot, new=True))
        here = _guest(entry, entry["batch"], entry["vat"], (entry["from"], until), entry["count"], lot, new=False)
        resting = entry["stage"] == "quarantine"
        guests.append(replace(here, quarantine=resting, course=() if resting else here.course))
    faults += [f"move: {row['batch']} does not stand in {row['from_vat']} so" for row in waiting]
    return guests


def _portions(facts: Facts, plan: dict[str, Any]) -> list[str]:
    faults = []
    vats: dict[tuple[str, str], list[str]] = defaultdict(list)
    for row in plan["placements"]:
        batch = facts["batches"].get(row["batch"])
        if batch is None:
            continue
        vats[row["batch"], row["stage"]].append(row["vat"])
        if row["count"] < batch["min_portion"]:
            faults.append(f"portion: {row['count']} of {row['batch']} in {row['vat']}")
    for (name, stage), used in vats.items():
        if len(used) > facts["batches"][name]["max_vats"] or len(used) != len(set(used)):
            faults.append(f"splits: {name} in {stage} uses {', '.join(used)}")
    return faults


def _days(guests: list[Guest]) -> list[date]:
    first = min((guest.first for guest in guests if guest.new), default=None)
    last = max((guest.last for guest in guests if guest.new), default=None)
    if first is None or last is None:
        return []
    return [first + timedelta(days=offset) for offset in range((last - first).days)]


def _apart(facts: Facts, one: str, other: str) -> str:
    kinds = [kind for a, b, kind in facts["apart"] if {a, b} == {one, other} and (one != other or a == b)]
    return next((kind for kind in ("water", "vat", "touch") if kind in kinds), "")


def _vat(facts: Facts, vat: str, guests: list[Guest]) -> list[str]:
    entry = facts["vats"][vat]
    faults = []
    for guest in guests:
        for first, until in entry["closed"]:
            if guest.new and guest.first < date.fromisoformat(until) and date.fromisoformat(first) < guest.last:
                faults.append(f"closed: {guest.who} in {vat}")
    for day in _days(guests):
        here = [guest for guest in guests if guest.first <= day < guest.last]
        if any(guest.new for guest in here):
            for index, (what, have) in enumerate((("area", "area_mm2"), ("oxygen", "oxygen_ug_per_h"))):
                if sum(guest.on(day)[index] for guest in here) > entry[have]:
                    faults.append(f"{what}: {vat} from {_spell(here, day)}")
        faults += _company(facts, vat, here)
    if facts["systems"][entry["system"]]["role"] == "quarantine":
        faults += _lots(vat, guests, entry["fallow_days"])
    return faults


def _spell(here: list[Guest], day: date) -> str:
    """The day the present company came together, so that one long trouble is one line."""
    return min(day, max(guest.first for guest in here)).isoformat()


def _company(facts: Facts, vat: str, here: list[Guest]) -> list[str]:
    faults = []
    divided = facts["vats"][vat]["divided"]
    for number, one in enumerate(here):
        if one.new and one.count > 1 and _forbidden(_apart(facts, one.group, one.group), divided=divided):
            faults.append(f"company: {one.count} of {one.group} in {vat}, a group kept singly")
        for other in here[number + 1 :]:
            kind = _apart(facts, one.group, other.group)
            if (one.new or other.new) and _forbidden(kind, divided=divided):
                faults.append(f"company: {one.group} and {other.group} in {vat}")
    return faults


def _forbidden(kind: str, *, divided: bool) -> bool:
    return kind in {"vat", "water"} or (kind == "touch" and not divided)


def _lots(vat: str, guests: list[Guest], fallow_days: int) -> list[str]:
    gap = timedelta(days=fallow_days)
    faults = []
    for number, one in enumerate(guests):
        for other in guests[number + 1 :]:
            apart = one.last + gap <= other.first or other.last + gap <= one.first
            real = one.first < one.last and other.first < other.last
            if real and (one.new or other.new) and one.lot != other.lot and not apart:
                faults.append(f"lots: {one.who} and {other.who} in {vat}")
    return faults


def _system(facts: Facts, system: str, guests: list[Guest]) -> list[str]:
    entry = facts["systems"][system]
    faults = []
    for day in _days(guests):
        here = [guest for guest in guests if guest.first <= day < guest.last]
        if not any(guest.new for guest in here):
            continue
        young = entry["matured"] is not None and day < date.fromisoformat(entry["matured"])
        budget = entry["new_filter_ug_per_h"] if young else entry["ammonia_ug_per_h"]
        used = sum(guest.on(day)[2] for guest in here)
        if used > budget and any(guest.new and guest.on(day)[2] for guest in here):
            faults.append(f"ammonia: {system} from {_spell(here, day)}")
        for number, one in enumerate(here):
            for other in here[number + 1 :]:
                if not (one.new or other.new):
                    continue
                if entry["role"] == "quarantine" and not entry["suppliers_share"] and one.supplier != other.supplier:
                    faults.append(f"suppliers: {one.supplier or 'house'} and {other.supplier or 'house'} in {system}")
                if _apart(facts, one.group, other.group) == "water":
                    faults.append(f"water: {one.group} and {other.group} in {system}")
    return faults
