"""Judges a receiving day from plain data; shares no code with the package that planned it.

``day`` and ``plan`` are nested dictionaries of plain values and aware datetimes, written by the tests.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

NAMES = ["open", "count", "acclimate", "dip", "place"]
STATION = {"open": "opening", "count": "opening", "acclimate": "acclimation", "dip": "dip"}


def minutes(later: datetime, earlier: datetime) -> float:
    """Absolute minutes between two instants."""
    return (later.astimezone(UTC) - earlier.astimezone(UTC)).total_seconds() / 60


def overlaps(spans: list[tuple[datetime, datetime]]) -> bool:
    """Whether any two spans share a moment."""
    rows = sorted((one.astimezone(UTC), other.astimezone(UTC)) for one, other in spans if other > one)
    return any(second[0] < first[1] for first, second in pairwise(rows))


def faults(day: dict[str, Any], plan: dict[str, Any]) -> list[str]:
    """Everything wrong with a plan, in words; empty for a sound one."""
    found: list[str] = []
    by_box: dict[str, list[dict[str, Any]]] = {}
    for step in plan["steps"]:
        by_box.setdefault(step["box"], []).append(step)
    if set(by_box) != set(day["boxes"]):
        found.append("boxes planned are not the boxes of the day")
    for box, steps in by_box.items():
        found += _box_faults(day, box, day["boxes"][box], sorted(steps, key=lambda step: NAMES.index(step["step"])))
    return (
        found + _place_faults(day, plan) + _people_faults(day, plan) + _store_faults(day, plan) + _aim_faults(day, plan)
    )


def _box_faults(day: dict[str, Any], box: str, need: dict[str, Any], steps: list[dict[str, Any]]) -> list[str]:
    found = []
    done = need["started"]
    lengths = {name: need[name] for name in NAMES}
    expected = [name for name in NAMES if lengths[name]]
    if [step["step"] for step in steps] != expected:
        return [f"{box}: steps {[step['step'] for step in steps]} instead of {expected}"]
    at = {step["step"]: step for step in steps}
    for first, second in pairwise(steps):
        gap = minutes(second["start"], first["end"])
        if gap < 0 or (gap > 0 and not (done and second["step"] == "acclimate")):
            found.append(f"{box}: {gap} min between {first['step']} and {second['step']}")
    for name in expected:
        length = minutes(at[name]["end"], at[name]["start"])
        if name == "acclimate":
            hands = minutes(at[name]["hands_until"], at[name]["start"])
            if length < max(lengths[name], need["setup"]) or hands != need["setup"]:
                found.append(f"{box}: acclimation {length} min, hands {hands}")
        elif length != lengths[name]:
            found.append(f"{box}: {name} takes {length} min, not {lengths[name]}")
    start = at["open"]["start"]
    if not done and minutes(start, max(need["lands"], day["opens"], day["now"])) < 0:
        found.append(f"{box}: opened before it is there, before opening time or in the past")
    return found + _hours_faults(box, need, steps)


def _hours_faults(box: str, need: dict[str, Any], steps: list[dict[str, Any]]) -> list[str]:
    found = []
    for step in steps:
        hours = minutes(step["start"], need["packed_at"]) / 60
        if abs(hours - step["hours"]) > 1e-9:
            found.append(f"{box}: {step['step']} says {step['hours']} h in the bag, the clocks say {hours}")
    return found


def _place_faults(day: dict[str, Any], plan: dict[str, Any]) -> list[str]:
    found: list[str] = []
    spans: dict[Any, Any] = {}
    for step in plan["steps"]:
        kind = STATION.get(step["step"])
        if kind is None:
            continue
        if day["lanes"].get(step["lane"]) != kind and not day["boxes"][step["box"]]["started"]:
            found.append(f"{step['box']}: {step['step']} at {step['lane']!r}, which is no {kind} place")
        spans.setdefault(step["lane"], []).append((step["start"], step["end"]))
    return found + [f"{lane}: two boxes at once" for lane, rows in spans.items() if overlaps(rows)]


def _people_faults(day: dict[str, Any], plan: dict[str, Any]) -> list[str]:
    found: list[str] = []
    spans: dict[Any, Any] = {}
    for step in plan["steps"]:
        need = day["boxes"][step["box"]]
        if len(step["people"]) != 1:
            found.append(f"{step['box']}: {step['step']} by {step['people']}")
        finishing = "dip" if need["dip"] else "acclimate"
        skill = {"open": "open", "count": "open", "acclimate": "acclimate"}.get(step["step"], finishing)
        for person in step["people"]:
            spans.setdefault(person, []).append((step["start"], step["hands_until"]))
            if need["started"]:
                continue
            skills, starts, _ = day["people"][person]
            if not {skill, *(["fish"] if need["fish"] else [])} <= skills:
                found.append(f"{step['box']}: {person} may not {step['step']}")
            if minutes(step["start"], starts) < 0:
                found.append(f"{person} is not in yet for {step['box']}")
            if minutes(step["hands_until"], day["people"][person][2]) > 0 and not _must_stay(day, person):
                found.append(f"{person} has gone home before {step['box']} is done")
    return found + [f"{person}: two things at once" for person, rows in spans.items() if overlaps(rows)]


def _must_stay(day: dict[str, Any], person: str) -> bool:
    """Whether some needed combination of skills is held by nobody who stays longer."""
    combinations = []
    for need in day["boxes"].values():
        fish = {"fish"} if need["fish"] else set()
        combinations += [{skill, *fish} for skill in ("open", "acclimate", "dip" if need["dip"] else "acclimate")]
    for wanted in combinations:
        able = {name: ends for name, (skills, _, ends) in day["people"].items() if wanted <= skills}
        if person in able and able[person] == max(able.values()):
            return True
    return False


def _store_faults(day: dict[str, Any], plan: dict[str, Any]) -> list[str]:
    tubs = [step for step in plan["steps"] if step["step"] == "acclimate"]
    found = []
    for name, have, extra in (("drip", day["drip_lines"], 0), ("water", day["water_l"], day["remake_minutes"])):
        if have is None:
            continue
        rows = [
            (step["start"], step["end"] + timedelta(minutes=extra), day["boxes"][step["box"]][name]) for step in tubs
        ]
        for mark, _, _ in rows:
            drawn = sum(amount for start, end, amount in rows if start <= mark < end)
            if drawn > have and any(mark == start and minutes(start, day["now"]) >= 0 for start, _, _ in rows):
                found.append(f"{drawn} of {have} {name} at {mark}")
    return found


def _aim_faults(day: dict[str, Any], plan: dict[str, Any]) -> list[str]:
    opened = {step["box"]: step for step in plan["steps"] if step["step"] == "open"}
    tubs = {step["box"]: step for step in plan["steps"] if step["step"] == "acclimate"}
    counted = {step["box"]: step["end"] for step in plan["steps"] if step["step"] in {"open", "count"}}
    ends = [step["end"] for step in plan["steps"]]
    total = [0.0, 0.0, 0.0, 0.0, minutes(max(ends), day["opens"]) if ends else 0.0]
    for box, need in day["boxes"].items():
        hours = minutes(opened[box]["start"], need["packed_at"]) / 60
        if need["started"]:
            total[0] += need["sensitivity"] * minutes(tubs[box]["start"], counted[box]) / 60
        elif need["urgent"]:
            total[0] += need["sensitivity"] * hours
        total[1] += need["sensitivity"] * max(0.0, hours - need["red_h"])
        total[2] += need["sensitivity"] * max(0.0, hours - need["amber_h"])
        total[3] += need["sensitivity"] * hours
    found = [
        f"aim {n}: says {a}, is {b}"
        for n, (a, b) in enumerate(zip(plan["value"], total, strict=True))
        if abs(a - b) > 1e-6
    ]
    found += [
        f"aim {n}: bound {a} above {b}"
        for n, (a, b) in enumerate(zip(plan["bound"], total, strict=True))
        if a > b + 1e-6
    ]
    if plan["rule_value"] < plan["value"] and any(
        abs(a - b) > 1e-9 for a, b in zip(plan["rule_value"], plan["value"], strict=True)
    ):
        found.append(f"worse than the best rule: {plan['value']} against {plan['rule_value']}")
    return found


def queue_faults(day: dict[str, Any], plan: dict[str, Any]) -> list[str]:
    """Ordinary boxes opened while an urgent one waited that could have been put there had only urgent ones been there.

    Places and people are taken as named in the plan; only urgent and started boxes hold them, and other published work
    holds people.
    """
    held: dict[str, list[tuple[datetime, datetime]]] = {}
    for person, start, end in day["taken"]:
        held.setdefault(person, []).append((start, end))
    for step in plan["steps"]:
        need = day["boxes"][step["box"]]
        if need["urgent"] or need["started"]:
            held.setdefault(step["lane"], []).append((step["start"], step["end"]))
            for person in step["people"]:
                held.setdefault(person, []).append((step["start"], step["hands_until"]))
    opened = {step["box"]: step["start"] for step in plan["steps"] if step["step"] == "open"}
    found = []
    for box, need in day["boxes"].items():
        if not need["urgent"] or need["started"]:
            continue
        for other, start in opened.items():
            waits = minutes(start, max(need["lands"], day["opens"], day["now"])) >= 0 and start < opened[box]
            if waits and not day["boxes"][other]["urgent"] and _fits(day, need, start, held):
                found.append(f"{other} opened at {start} while urgent {box} waited until {opened[box]}")
    return found


def _fits(day: dict[str, Any], need: dict[str, Any], start: datetime, held: dict[str, Any]) -> bool:
    def free(name: str, begin: datetime, length: float) -> bool:
        span = (begin, begin + timedelta(minutes=length))
        return not any(one < span[1] and other > span[0] for one, other in held.get(name, []))

    def hand(skill: str, begin: datetime, length: float) -> bool:
        wanted = {skill, *(["fish"] if need["fish"] else [])}
        return any(
            wanted <= skills
            and begin >= starts
            and begin + timedelta(minutes=length) <= ends
            and free(name, begin, length)
            for name, (skills, starts, ends) in day["people"].items()
        )

    def accompanied(begin: datetime, length: float) -> bool:
        """Each minute two people are at the landing who have no other published work: none opens or dips alone."""
        moments = [begin + timedelta(minutes=minute) for minute in range(int(length))]
        return all(
            sum(
                starts <= at < ends and not any(p == name and one <= at < other for p, one, other in day["taken"])
                for name, (_, starts, ends) in day["people"].items()
            )
            >= 2
            for at in moments
        )

    table = need["open"] + need["count"]
    tub = max(need["acclimate"], need["setup"])
    counted = start + timedelta(minutes=table)
    out = counted + timedelta(minutes=tub)
    lanes = [(name, kind) for name, kind in day["lanes"].items()]
    return (
        any(kind == "opening" and free(name, start, table) for name, kind in lanes)
        and hand("open", start, table)
        and accompanied(start, table)
        and any(kind == "acclimation" and free(name, counted, tub) for name, kind in lanes)
        and hand("acclimate", counted, need["setup"])
        and accompanied(out, need["dip"])
        and (not need["dip"] or any(kind == "dip" and free(name, out, need["dip"]) for name, kind in lanes))
        and hand("dip" if need["dip"] else "acclimate", out, need["dip"] + need["place"])
    )
