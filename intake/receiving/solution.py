"""The receiving day as an answer: every step with its place, its people and its minutes, and how good it is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from intake.receiving.box import BoxLine, BoxNeed
from intake.receiving.never_alone import binding, company_of
from intake.receiving.placed import Placed
from intake.receiving.problem import DayProblem, minutes_between, tub_names

__all__ = ["Aim", "DayPlan", "LaneRow", "OpeningRow", "Progress", "Step", "moved", "plan_of"]

StepName = Literal["open", "count", "acclimate", "dip", "place"]
STATION: Mapping[str, str] = {
    "open": "opening",
    "count": "opening",
    "acclimate": "acclimation",
    "dip": "dip",
    "place": "vat",
}


@dataclass(frozen=True, slots=True)
class Aim:
    """One aim: reached, the best possible with the aims before it kept, and what the best simple rule reaches.

    ``unit`` is ``sensitivity-weighted hours`` or ``minutes``; smaller is better.
    """

    name: str
    value: float
    bound: float
    proved: bool
    rule_value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the search has come: what is pursued, the values of the aims so far, and where they came from."""

    step: str
    value: tuple[int, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Step:
    """One step of one box.

    ``lanes`` are the places at the station (none when placing; several tubs of one box), ``lane`` the first of them;
    ``people`` are there from ``start`` to ``hands_until``,
    the animals until ``end``: a tub is held longer than a person stands at it.
    """

    box: str
    batches: tuple[BoxLine, ...]
    step: StepName
    station: str
    lanes: tuple[str, ...]
    people: tuple[str, ...]
    start: datetime
    end: datetime
    hands_until: datetime
    hours_in_bag_at_start: float
    note: str = ""

    @property
    def lane(self) -> str:
        """The first place; empty when placing."""
        return self.lanes[0] if self.lanes else ""


@dataclass(frozen=True, slots=True)
class LaneRow:
    """One bar of the picture: which lane, from when to when, with which words."""

    lane: str
    start: datetime
    end: datetime
    text: str


@dataclass(frozen=True, slots=True)
class OpeningRow:
    """One line of the opening order: ``state`` is red, amber or empty by the hours in the bag at opening."""

    number: int
    box: str
    opens: datetime
    hours_in_bag: float
    state: Literal["red", "amber", ""]
    urgent: bool
    table: str
    person: str


@dataclass(frozen=True, slots=True)
class DayPlan:
    """A run of the day.

    Attributes
    ----------
    finish
        When the last animal is placed; ``late_minutes`` of it past closing time.
    worst_hours_in_bag
        The box longest in its bag at opening, and those hours.
    aims
        In their order; the first difference decides.
    rule
        The best simple rule, in words.
    overtime
        Person → minutes planned past the end of their day.
    notes
        What was assumed and what is late, in sentences.
    moved
        After a re-run: what moved, in sentences.
    reproducible
        False if the search was cut by the wall clock, so another run may differ.
    """

    problem: DayProblem
    placed: tuple[Placed, ...]
    steps: tuple[Step, ...]
    finish: datetime | None
    late_minutes: int
    worst_hours_in_bag: tuple[str, float] | None
    aims: tuple[Aim, ...]
    rule: str
    overtime: Mapping[str, int]
    notes: tuple[str, ...]
    seconds: float
    reproducible: bool = True
    moved: tuple[str, ...] = ()

    @property
    def value(self) -> tuple[float, ...]:
        """What each aim reached."""
        return tuple(aim.value for aim in self.aims)

    @property
    def bound(self) -> tuple[float, ...]:
        """Below what no plan can bring each aim, the aims before it kept."""
        return tuple(aim.bound for aim in self.aims)

    @property
    def rule_value(self) -> tuple[float, ...]:
        """What the best simple rule reaches."""
        return tuple(aim.rule_value for aim in self.aims)

    @property
    def proved(self) -> bool:
        """Whether no plan is better on any aim."""
        return all(aim.proved for aim in self.aims)

    def order(self) -> tuple[OpeningRow, ...]:
        """Boxes in the order of opening."""
        needs = {box.box: box for box in self.problem.boxes}
        opening = sorted(
            (step for step in self.steps if step.step == "open"),
            key=lambda step: (step.start, not needs[step.box].urgent, step.lane, step.box),
        )
        return tuple(
            OpeningRow(
                number,
                step.box,
                step.start,
                step.hours_in_bag_at_start,
                _state(needs[step.box], step.hours_in_bag_at_start),
                needs[step.box].urgent,
                step.lane,
                step.people[0] if step.people else "",
            )
            for number, step in enumerate(opening, start=1)
        )

    @property
    def state_of_all(self) -> str:
        """``red`` or ``amber`` where every box is so at opening: then it marks none of them; empty otherwise."""
        states = {row.state for row in self.order()}
        return states.pop() if len(states) == 1 else ""

    def lanes(self) -> tuple[LaneRow, ...]:
        """Bars to draw: tables, tubs and dip places, then one lane for each person."""
        bars = [
            LaneRow(lane, step.start, step.end, f"{step.box} {step.step}") for step in self.steps for lane in step.lanes
        ]
        bars += [
            LaneRow(person, step.start, step.hands_until, f"{step.box} {step.step}")
            for step in self.steps
            for person in step.people
            if step.hands_until > step.start
        ]
        rank = [lane.id for lane in self.problem.lanes] + [hand.id for hand in self.problem.people]
        place = {identity: number for number, identity in enumerate(rank)}
        return tuple(sorted(bars, key=lambda bar: (place.get(bar.lane, len(rank)), bar.lane, bar.start, bar.text)))

    def as_dict(self) -> dict[str, Any]:
        """The plan as plain data, for ``--json``."""
        return {
            "finish": None if self.finish is None else self.finish.isoformat(),
            "late_minutes": self.late_minutes,
            "worst_hours_in_bag": None
            if self.worst_hours_in_bag is None
            else {"box": self.worst_hours_in_bag[0], "hours": round(self.worst_hours_in_bag[1], 2)},
            "objectives": [
                {
                    "name": aim.name,
                    "value": round(aim.value, 3),
                    "bound": round(aim.bound, 3),
                    "proved": aim.proved,
                    "rule_value": round(aim.rule_value, 3),
                    "unit": aim.unit,
                }
                for aim in self.aims
            ],
            "proved": self.proved,
            "best_rule": self.rule,
            "order": [
                {
                    "number": row.number,
                    "box": row.box,
                    "opens": row.opens.isoformat(),
                    "hours_in_bag": round(row.hours_in_bag, 2),
                    "state": row.state,
                    "urgent": row.urgent,
                    "table": row.table,
                    "person": row.person,
                }
                for row in self.order()
            ],
            "steps": [_step_dict(step) for step in self.steps],
            "overtime_minutes": dict(self.overtime),
            "notes": list(self.notes),
            "moved": list(self.moved),
            "reproducible": self.reproducible,
            "seconds": round(self.seconds, 3),
        }


def _step_dict(step: Step) -> dict[str, Any]:
    return {
        "box": step.box,
        "batches": [{"batch": line.batch, "count": line.count} for line in step.batches],
        "step": step.step,
        "station": step.station,
        "lane": step.lane,
        "lanes": list(step.lanes),
        "people": list(step.people),
        "start": step.start.isoformat(),
        "end": step.end.isoformat(),
        "hands_until": step.hands_until.isoformat(),
        "hours_in_bag_at_start": round(step.hours_in_bag_at_start, 2),
        "note": step.note,
    }


def _state(box: BoxNeed, hours: float) -> Literal["red", "amber", ""]:
    if hours >= box.red_h:
        return "red"
    return "amber" if hours >= box.amber_h else ""


def plan_of(
    problem: DayProblem,
    placed: Iterable[Placed],
    *,
    aims: tuple[Aim, ...],
    rule: str,
    seconds: float,
    reproducible: bool,
) -> DayPlan:
    """Write out placed boxes as a plan with steps, lateness, overtime and notes."""
    by_box = {put.box: put for put in placed}
    rows = tuple(by_box[box.box] for box in problem.boxes)
    steps = [step for box, put in zip(problem.boxes, rows, strict=True) for step in _steps(problem, box, put)]
    steps.sort(key=lambda step: (step.start, step.box, step.end))
    finish = max((put.placed_at for put in rows), default=None)
    late = 0 if finish is None else max(0, finish - problem.closes)
    ages = [((problem.age[put.box] + put.open_at) / 60, put.box) for put in rows]
    worst = max(ages, key=lambda pair: pair[0], default=None)
    overtime = _overtime(problem, steps, rows)
    return DayPlan(
        problem=problem,
        placed=rows,
        steps=tuple(steps),
        finish=None if finish is None else problem.at(finish),
        late_minutes=late,
        worst_hours_in_bag=None if worst is None else (worst[1], worst[0]),
        aims=aims,
        rule=rule,
        overtime=overtime,
        notes=(*problem.notes, *binding(problem, rows), *_late_notes(problem, rows, late, overtime)),
        seconds=seconds,
        reproducible=reproducible,
    )


def _steps(problem: DayProblem, box: BoxNeed, put: Placed) -> list[Step]:
    work = problem.begun.get(box.box)
    opened = min(put.counted_at, put.open_at + box.open_minutes)
    dipped = min(put.placed_at, put.finish_at + box.dip_minutes)
    rows: list[tuple[StepName, str, str, int, int, int]] = [
        ("open", put.table, put.opener, put.open_at, opened, opened),
        ("count", put.table, put.opener, opened, put.counted_at, put.counted_at),
        ("acclimate", put.tub, put.setter, put.tub_at, put.finish_at, put.tub_at + box.setup_minutes),
        ("dip", put.dip_place, put.finisher, put.finish_at, dipped, dipped),
        ("place", "", put.finisher, dipped, put.placed_at, put.placed_at),
    ]
    begun = {"open": work is not None, "count": work is not None}
    begun["acclimate"] = work is not None and work.tub_at is not None
    begun["dip"] = begun["place"] = work is not None and work.finish_at is not None
    return [
        Step(
            box=box.box,
            batches=box.lines,
            step=name,
            station=STATION[name],
            lanes=tub_names(lane),
            people=(person,) if person else (),
            start=problem.at(start),
            end=problem.at(end),
            hands_until=problem.at(min(hands, end)),
            hours_in_bag_at_start=(problem.age[box.box] + start) / 60,
            note=_note(box, put, name, begun=begun[name], late=end > problem.closes),
        )
        for name, lane, person, start, end, hands in rows
        if end > start
    ]


def _note(box: BoxNeed, put: Placed, step: str, *, begun: bool, late: bool) -> str:
    words = []
    if step == "open" and box.leaking:
        words.append("leaking")
    if step == "open" and box.off_temperature:
        words.append("off temperature")
    if step == "acclimate" and put.tub_at > put.counted_at:
        words.append(f"waited {put.tub_at - put.counted_at} min after the count")
    spare = put.finish_at - put.tub_at - box.tub_minutes
    if step == "acclimate" and spare > 0:
        words.append(f"stays {spare} min longer than needed")
    if late:
        words.append("after closing time")
    if begun:
        words.append("started")
    return ", ".join(words)


def _overtime(problem: DayProblem, steps: Iterable[Step], placed: Iterable[Placed]) -> dict[str, int]:
    """Person → minutes past the end of their day, with their hands or as someone's second person."""
    ends = {hand.id: hand.ends for hand in problem.people}
    work = [(person, problem.minute(step.hands_until)) for step in steps for person in step.people]
    over: dict[str, int] = {}
    for person, end in [*work, *((one.person, one.end) for one in company_of(problem, placed))]:
        past = end - ends.get(person, problem.horizon)
        if past > 0:
            over[person] = max(over.get(person, 0), past)
    return dict(sorted(over.items()))


def _late_notes(problem: DayProblem, rows: tuple[Placed, ...], late: int, overtime: Mapping[str, int]) -> list[str]:
    notes = []
    if late:
        closing = f"{problem.at(problem.closes):%H:%M}"
        count = sum(put.placed_at > problem.closes for put in rows)
        few = "1 box is" if count == 1 else f"{count} boxes are"
        shut = sum(put.open_at >= problem.closes for put in rows)
        text = f"The day does not end by {closing}: the last animals are placed {late} min later."
        notes.append(f"{text} {few} finished after it, {shut} of them opened after it.")
    notes += [
        f"{problem.called(person)} stays {minutes} min past the end of the day." for person, minutes in overtime.items()
    ]
    return notes


def moved(before: DayPlan, after: DayPlan) -> tuple[str, ...]:
    """What changed from one plan to the next, a sentence per box that moved, new and gone boxes last."""
    old = {row.box: row for row in before.order()}
    new = {row.box: row for row in after.order()}
    lines = []
    for box in (row.box for row in after.order() if row.box in old):
        was, now = old[box], new[box]
        shift = minutes_between(was.opens, now.opens)
        if shift:
            how = "later" if shift > 0 else "earlier"
            times = f"from {was.opens:%H:%M} to {now.opens:%H:%M}"
            lines.append(f"Box {box} opens {abs(shift)} min {how}, {times}, {now.hours_in_bag:.1f} h in the bag.")
        elif was.table != now.table:
            lines.append(f"Box {box} opens at the same time at {now.table} instead of {was.table}.")
    lines += [f"Box {box} is new and opens at {row.opens:%H:%M}." for box, row in new.items() if box not in old]
    lines += [f"Box {box} is no longer in the day." for box in old if box not in new]
    if before.finish and after.finish and before.finish != after.finish:
        lines.append(f"The last animals are placed at {after.finish:%H:%M} instead of {before.finish:%H:%M}.")
    return tuple(lines) if lines else ("Nothing moved.",)
