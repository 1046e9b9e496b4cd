"""The landing day as fixed work: every step of every box with its place, person and minutes, for timetable and calendars."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from intake.receiving.box import BoxLine
from intake.receiving.never_alone import box_binding, company_of
from intake.receiving.problem import tub_names
from intake.receiving.solution import DayPlan

__all__ = ["LandingKind", "LandingStep", "landing_steps", "last_placings"]

LandingKind = Literal["receive", "acclimation", "placing"]


@dataclass(frozen=True, slots=True)
class LandingStep:
    """One piece of a person's work on one box.

    Attributes
    ----------
    uid
        Name for life, made of the box and the step, never of a time: ``land/S1/7/open``, ``…/tub``, ``…/place``.
    kind
        ``receive``: open, photograph, measure and count; ``acclimation``: set up the tubs; ``placing``: take out, dip
        where a dip is due, and place.
    station, lanes
        Kind of station and the places at it.
    people
        Who works from ``start`` to ``hands_until``; the animals stay there until ``ends``.
    overtime_minutes
        Of it past the end of that person's day.
    hours_in_bag
        At the start.
    binds
        Of an opening: why it is no earlier, where a second person lacks; empty otherwise.
    company
        Of an opening or dip: the second person where no one else works beside, from when to when.
    """

    uid: str
    box: str
    shipment: str
    batches: tuple[BoxLine, ...]
    kind: LandingKind
    station: str
    lanes: tuple[str, ...]
    people: tuple[str, ...]
    start: datetime
    hands_until: datetime
    ends: datetime
    overtime_minutes: int
    hours_in_bag: float
    dip_minutes: int = 0
    binds: str = ""
    company: tuple[tuple[str, datetime, datetime], ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The step as plain data."""
        return {
            "uid": self.uid,
            "box": self.box,
            "shipment": self.shipment,
            "batches": [[line.batch, line.count] for line in self.batches],
            "kind": self.kind,
            "station": self.station,
            "lanes": list(self.lanes),
            "people": list(self.people),
            "start": self.start.isoformat(),
            "hands_until": self.hands_until.isoformat(),
            "ends": self.ends.isoformat(),
            "overtime_minutes": self.overtime_minutes,
            "hours_in_bag": round(self.hours_in_bag, 2),
            "dip_minutes": self.dip_minutes,
            "binds": self.binds,
            "company": [[name, start.isoformat(), end.isoformat()] for name, start, end in self.company],
        }


def landing_steps(plan: DayPlan) -> tuple[LandingStep, ...]:
    """Every step of the day, by start; the minutes are those of the run sheet."""
    problem = plan.problem
    ends = {hand.id: hand.ends for hand in problem.people}
    needs = {box.box: box for box in problem.boxes}
    held = box_binding(problem, plan.placed)
    second: dict[tuple[str, str], list[tuple[str, datetime, datetime]]] = {}
    for one in company_of(problem, plan.placed):
        second.setdefault((one.box, one.part), []).append((one.person, problem.at(one.start), problem.at(one.end)))
    rows: list[LandingStep] = []
    for put in plan.placed:
        box = needs[put.box]
        setup = min(put.tub_at + box.setup_minutes, put.finish_at)
        for part, kind, station, lane, person, start, hands, leaves in (
            ("open", "receive", "opening", put.table, put.opener, put.open_at, put.counted_at, put.counted_at),
            ("tub", "acclimation", "acclimation", put.tub, put.setter, put.tub_at, setup, put.finish_at),
            ("place", "placing", "dip", put.dip_place, put.finisher, put.finish_at, put.placed_at, put.placed_at),
        ):
            rows.append(
                LandingStep(
                    uid=f"land/{put.box}/{part}",
                    box=put.box,
                    shipment=box.shipment,
                    batches=box.lines,
                    kind=kind,  # type: ignore[arg-type]  # one of the three
                    station=station if lane else "",
                    lanes=tub_names(lane),
                    people=(person,) if person else (),
                    start=problem.at(start),
                    hands_until=problem.at(hands),
                    ends=problem.at(leaves),
                    overtime_minutes=max(0, hands - ends.get(person, problem.horizon)),
                    hours_in_bag=(problem.age[put.box] + start) / 60,
                    dip_minutes=box.dip_minutes if part == "place" else 0,
                    binds=held.get(put.box, "") if part == "open" else "",
                    company=tuple(second.get((put.box, part), ())),
                )
            )
    return tuple(sorted(rows, key=lambda row: (row.start, row.uid)))


def last_placings(plan: DayPlan) -> Mapping[str, datetime]:
    """Batch → moment its last animals are in their vat: nothing else is done to it before."""
    found: dict[str, int] = {}
    for box, put in ((box, put) for box in plan.problem.boxes for put in plan.placed if put.box == box.box):
        for line in box.lines:
            found[line.batch] = max(found.get(line.batch, put.placed_at), put.placed_at)
    return {batch: plan.problem.at(minute) for batch, minute in sorted(found.items())}
