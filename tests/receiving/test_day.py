"""The receiving day against an independent judge, brute force on tiny days, and the things that go wrong on the day."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import permutations, product
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.receiving.box import BoxLine, BoxNeed
from intake.receiving.placed import Placed
from intake.receiving.problem import DayProblem, Hand, Lane, Underway
from intake.receiving.solution import DayPlan
from intake.receiving.solving.bounds import lower_bounds
from intake.receiving.solving.box_placing import aims, place_in_order
from intake.receiving.solving.opening_rules import RULES, run_rule
from intake.receiving.solving.solve import rerun, run_day, started_by
from tests.receiving.day_judge import faults, minutes, queue_faults

OPENS = datetime(2026, 3, 10, 7, 30, tzinfo=ZoneInfo("Europe/Lisbon"))
ALL = frozenset(("open", "acclimate", "dip", "inspect", "fish"))
DRY = frozenset(("open", "acclimate", "dip"))


def box(number: int, shipment: str = "S1", *, hours: float = 20.0, weight: float = 1.0, **facts: Any) -> BoxNeed:
    """An invented box; ``hours`` in the bag at opening time."""
    given_facts: dict[str, Any] = {
        "amber_h": 24.0,
        "red_h": 36.0,
        "open_minutes": 5,
        "count_minutes": 10,
        "setup_minutes": 5,
        "acclimation_minutes": 30,
        "place_minutes": 5,
    } | facts
    return BoxNeed(
        f"{shipment}/{number}",
        shipment,
        (BoxLine(f"{shipment}-01", 20),),
        OPENS.astimezone(UTC) - timedelta(hours=hours),
        weight,
        **given_facts,
    )


def day(
    boxes: Sequence[BoxNeed], *, tables: int = 2, tubs: int = 3, people: Sequence[Hand] | None = None, **facts: Any
) -> DayProblem:
    """An invented day of ten hours."""
    lanes = [Lane(f"table {n}", "opening") for n in range(1, tables + 1)]
    lanes += [Lane(f"tub {n}", "acclimation") for n in range(1, tubs + 1)] + [Lane("dip bench", "dip")]
    crew = people or (Hand("Marou", ALL, 0, 600), Hand("Teva", DRY, 0, 540), Hand("Odo", frozenset(("open",)), 60, 600))
    shipments = {one.shipment for one in boxes}
    trucks = dict.fromkeys(shipments, 0) | facts.pop("trucks", {})
    return DayProblem(
        OPENS.astimezone(UTC), "Europe/Lisbon", 600, trucks, tuple(boxes), tuple(lanes), tuple(crew), **facts
    )


def plain(problem: DayProblem, plan: DayPlan) -> tuple[dict[str, Any], dict[str, Any]]:
    """Problem and plan as the plain data the judge reads, written from their public fields only."""
    begun = {work.box for work in problem.underway}
    rows = {
        "opens": problem.origin,
        "now": problem.at(problem.now),
        "drip_lines": problem.drip_lines,
        "water_l": problem.mixed_water_l,
        "remake_minutes": problem.remake_minutes,
        "lanes": {lane.id: lane.kind for lane in problem.lanes},
        "people": {hand.id: (hand.skills, problem.at(hand.starts), problem.at(hand.ends)) for hand in problem.people},
        "taken": [(one.name, problem.at(one.start), problem.at(one.end)) for one in problem.taken],
        "boxes": {
            one.box: {
                "open": one.open_minutes,
                "count": one.count_minutes,
                "setup": one.setup_minutes,
                "acclimate": max(one.acclimation_minutes, one.setup_minutes),
                "dip": one.dip_minutes,
                "place": one.place_minutes,
                "lands": problem.at(problem.trucks[one.shipment]),
                "packed_at": one.packed_at,
                "sensitivity": one.sensitivity,
                "amber_h": one.amber_h,
                "red_h": one.red_h,
                "urgent": one.leaking or one.off_temperature,
                "fish": one.fish,
                "water": one.water_l,
                "drip": one.drip_lines,
                "started": one.box in begun,
            }
            for one in problem.boxes
        },
    }
    steps = [
        {
            "box": step.box,
            "step": step.step,
            "lane": step.lane,
            "people": step.people,
            "start": step.start,
            "end": step.end,
            "hands_until": step.hands_until,
            "hours": step.hours_in_bag_at_start,
        }
        for step in plan.steps
    ]
    return rows, {"steps": steps, "value": plan.value, "bound": plan.bound, "rule_value": plan.rule_value}


def sound(plan: DayPlan, *, kept: bool = False) -> None:
    """No fault by the judge, and urgent boxes first; a kept plan may be worse than a rule that moves everything."""
    rows, told = plain(plan.problem, plan)
    found = [fault for fault in faults(rows, told) if not (kept and fault.startswith("worse than the best rule"))]
    assert found == []
    assert queue_faults(rows, told) == []


def drawn(digest: bytes, number: int, choices: Sequence[Any]) -> Any:
    """One of the choices by a digest: invented days without a generator of their own."""
    return choices[digest[number % 32] % len(choices)]


def invented(count: int, seed: int, *, trucks: int = 2) -> DayProblem:
    """A day of ``count`` invented boxes on two trucks."""
    boxes = []
    for number in range(1, count + 1):
        digest = hashlib.sha256(f"{seed}/{number}".encode()).digest()
        boxes.append(
            box(
                number,
                f"S{1 + (number * trucks - 1) // max(count, 1) % trucks}",
                hours=drawn(digest, 0, (18, 22.5, 27, 33, 35.5)),
                weight=drawn(digest, 1, (0.5, 0.8, 1.0, 1.2, 1.6)),
                amber_h=drawn(digest, 2, (20.0, 24.0)),
                red_h=drawn(digest, 3, (36.0, 40.0, 48.0)),
                count_minutes=drawn(digest, 4, (0, 3, 8, 15)),
                acclimation_minutes=drawn(digest, 5, (0, 15, 30, 60, 90)),
                dip_minutes=drawn(digest, 6, (0, 0, 10, 20)),
                place_minutes=drawn(digest, 7, (2, 5, 12)),
                water_l=float(drawn(digest, 8, (0, 10, 25.5, 40))),
                fish=drawn(digest, 9, (True, False, False, False, False)),
                leaking=drawn(digest, 10, (True, *[False] * 11)),
                off_temperature=drawn(digest, 11, (True, *[False] * 11)),
                drip_lines=drawn(digest, 12, (0, 0, 1, 2)),
            )
        )
    return day(boxes, trucks={"S1": 0, "S2": 100}, mixed_water_l=120.0, remake_minutes=30, drip_lines=4)


# ── whole days against the judge ────────────────────────────────────────────────────────────────────────────────────


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(count=st.integers(1, 12), seed=st.integers(0, 10**6), seconds=st.sampled_from((0.0, 0.2)))
def test_any_day_is_sound_and_never_worse_than_the_best_rule(count: int, seed: int, seconds: float) -> None:
    """Places, people, order, hours, water and the comparison with every rule, on random days."""
    problem = invented(count, seed)
    plan = run_day(problem, seconds=seconds, seed=seed)
    sound(plan)
    whole = plan.problem
    assert aims(whole, plan.placed) <= min(aims(whole, run_rule(whole, rule)) for rule in RULES)


@pytest.mark.parametrize("seed", range(3))
def test_forty_boxes_are_sound(seed: int) -> None:
    """A large day, where the solver cannot prove much, keeps every limit too."""
    plan = run_day(invented(40, seed), seconds=0.5, seed=seed)
    sound(plan)
    assert len(plan.order()) == 40


@settings(max_examples=30, deadline=None)
@given(count=st.integers(1, 14), seed=st.integers(0, 10**6), now=st.integers(0, 240))
def test_bounds_lie_below_every_day_that_can_be_run(count: int, seed: int, now: int) -> None:
    """Bounds taken over one plan hold for the day of every rule, on fresh days and on days that have begun."""
    problem = invented(count, seed).completed()
    first = run_day(problem, seconds=0.0)
    begun_day = replace(problem, now=now, underway=started_by(first, problem.at(now)))
    for whole in (problem, begun_day):
        bounds = lower_bounds(whole, run_rule(whole, "as they came"))
        for rule in RULES:
            reached = aims(whole, run_rule(whole, rule))
            assert all(low <= value for low, value in zip(bounds, reached, strict=True)), (rule, bounds, reached)


def test_the_judge_sees_a_spoilt_plan() -> None:
    """A judge that finds nothing wrong with a wrong plan would make every test above worthless."""
    problem = invented(8, 3)
    rows, told = plain(problem, run_day(problem, seconds=0.0))
    assert faults(rows, told) == []
    spoils: list[Callable[[dict[str, Any]], None]] = [
        lambda step: step.update(lane="table 9") if step["step"] == "open" else None,
        lambda step: step.update(start=step["start"] - timedelta(hours=9)) if step["step"] == "open" else None,
        lambda step: step.update(people=("Odo",)) if step["step"] == "place" else None,
        lambda step: step.update(hours=step["hours"] + 1),
        lambda step: step.update(lane="tub 1") if step["step"] == "acclimate" else None,
    ]
    for spoil in spoils:
        spoilt = {**told, "steps": [dict(step) for step in told["steps"]]}
        for step in spoilt["steps"]:
            spoil(step)
        assert faults(rows, spoilt)
    assert faults(rows, {**told, "bound": tuple(value + 1 for value in told["value"])})
    assert faults(rows, {**told, "rule_value": tuple(value - 1 for value in told["value"])})


# ── tiny days against brute force ───────────────────────────────────────────────────────────────────────────────────


def brute(boxes: list[BoxNeed], tables: int, step: int) -> tuple[float, ...]:
    """Best (urgent, red, amber, bag) over all opening times on a grid, where tables are the only thing short."""
    best: tuple[float, ...] | None = None
    length = {one.box: one.open_minutes + one.count_minutes for one in boxes}
    grid = range(0, sum(length.values()) + 1, step)
    for starts in product(grid, repeat=len(boxes)):
        rows = list(zip(boxes, starts, strict=True))
        crowd = max(sum(s <= mark < s + length[one.box] for one, s in rows) for mark in starts)
        if crowd > tables:
            continue
        hours = {one.box: minutes(OPENS + timedelta(minutes=s), one.packed_at) / 60 for one, s in rows}
        value = (
            sum(one.sensitivity * hours[one.box] for one in boxes if one.leaking),
            sum(one.sensitivity * max(0, hours[one.box] - one.red_h) for one in boxes),
            sum(one.sensitivity * max(0, hours[one.box] - one.amber_h) for one in boxes),
            sum(one.sensitivity * hours[one.box] for one in boxes),
        )
        best = value if best is None else min(best, value)
    assert best is not None
    return best


@pytest.mark.parametrize("tables", [1, 2])
@pytest.mark.parametrize("seed", range(6))
def test_tiny_days_equal_brute_force(seed: int, tables: int) -> None:
    """Four boxes, times on a grid of 5 minutes: every aim but the finish equals the best of all opening times."""
    boxes = []
    for number in range(1, 5):
        digest = hashlib.sha256(f"tiny {seed}/{number}".encode()).digest()
        boxes.append(
            box(
                number,
                hours=drawn(digest, 0, (23.8, 35.75, 35.9, 30)),
                weight=drawn(digest, 1, (0.5, 1.0, 1.6)),
                count_minutes=drawn(digest, 2, (0, 5, 10)),
                leaking=drawn(digest, 3, (True, False, False)),
            )
        )
    crew = tuple(Hand(f"hand {n}", ALL, 0, 600) for n in range(9))
    plan = run_day(day(boxes, tables=tables, tubs=9, people=crew), seconds=20.0)
    assert plan.proved
    assert plan.value[:4] == pytest.approx(brute(boxes, tables, 5))
    assert plan.bound == pytest.approx(plan.value)


def test_smith_order_on_one_table_by_hand() -> None:
    """One table, two boxes: 10 min of weight 1 before 30 min of weight 2 costs 2×10; the other way round 1×30."""
    boxes = [
        box(1, weight=2.0, hours=10, open_minutes=30, count_minutes=0),
        box(2, weight=1.0, hours=10, open_minutes=10, count_minutes=0),
    ]
    plan = run_day(day(boxes, tables=1, tubs=9, people=tuple(Hand(f"h{n}", ALL, 0, 600) for n in range(5))))
    assert [row.box for row in plan.order()] == ["S1/2", "S1/1"]
    assert plan.value[3] == pytest.approx(3 * 10 + 2 * 10 / 60)
    assert plan.proved


def test_no_order_of_five_boxes_is_better_than_a_proved_plan() -> None:
    """All 120 orders, placed as a crew would, against the plan: none is better on the aims taken in their order."""
    problem = invented(5, 11)
    plan = run_day(problem, seconds=10.0)
    names = [one.box for one in problem.boxes]
    best = min(aims(problem, place_in_order(problem, order)) for order in permutations(names))
    assert aims(problem, plan.placed) <= best


# ── what the hours and the queue must respect ───────────────────────────────────────────────────────────────────────


def test_hours_in_bag_run_on_over_a_change_of_the_clocks() -> None:
    """Packed on Saturday evening, opened on the Sunday the clocks go forward: the missing hour is not counted."""
    zone = ZoneInfo("Europe/Lisbon")
    opens = datetime(2026, 3, 29, 8, 0, tzinfo=zone)
    packed = datetime(2026, 3, 28, 20, 0, tzinfo=zone)
    one = replace(box(1), packed_at=packed)
    plan = run_day(replace(day([one]), origin=opens.astimezone(UTC)))
    assert plan.order()[0].hours_in_bag == pytest.approx(11.0)
    assert plan.order()[0].opens == opens


def test_hours_in_bag_are_the_same_in_the_suppliers_clock() -> None:
    """07:30 in Lisbon is 19:30 in Majuro: packed there at 19:30 the evening before is 24 hours, not 12."""
    packed = datetime(2026, 3, 9, 19, 30, tzinfo=ZoneInfo("Pacific/Majuro"))
    plan = run_day(day([replace(box(1), packed_at=packed)]))
    assert plan.order()[0].hours_in_bag == pytest.approx(24.0)
    assert plan.order()[0].state == "amber"


def test_a_leaking_box_goes_before_pressing_ones() -> None:
    """A fresh box that leaks is opened before boxes about to turn red: a hard preference."""
    boxes = [box(n, hours=35.9, weight=2.0) for n in range(1, 5)] + [box(5, hours=8, weight=0.5, leaking=True)]
    plan = run_day(day(boxes, tables=1))
    assert plan.order()[0].box == "S1/5"
    assert "leaking" in next(step.note for step in plan.steps if step.box == "S1/5" and step.step == "open")


def test_ordinary_boxes_fill_in_while_nobody_can_open_the_urgent_one() -> None:
    """Only Marou may handle fish and comes at ten: the warm fish box waits for him, the table does not."""
    crew = (Hand("Marou", ALL, 150, 600), Hand("Teva", DRY, 0, 600), Hand("Odo", frozenset(), 0, 600))
    boxes = [box(1), box(2), box(3, fish=True, off_temperature=True)]
    plan = run_day(day(boxes, people=crew))
    opened = {row.box: plan.problem.minute(row.opens) for row in plan.order()}
    assert opened["S1/1"] == 0
    assert opened["S1/3"] == 150
    sound(plan)


# ── the day slips ───────────────────────────────────────────────────────────────────────────────────────────────────


def begun(plan: DayPlan, now: datetime) -> set[tuple[Any, ...]]:
    """Steps started before ``now``, with everything that must not change."""
    return {(s.box, s.step, s.lane, s.people, s.start) for s in plan.steps if s.start < now}


def changes(problem: DayProblem) -> dict[str, DayProblem]:
    """What can happen to a day."""
    more = [box(100 + n, "S2", hours=30 + n) for n in range(len(problem.boxes) // 5)]
    return {
        "late truck": replace(problem, trucks={**problem.trucks, "S2": 300}),
        "missing table": replace(problem, lanes=tuple(lane for lane in problem.lanes if lane.id != "table 1")),
        "missing tubs": replace(
            problem, lanes=tuple(lane for lane in problem.lanes if lane.id not in {"tub 1", "tub 2"})
        ),
        "missing person": replace(problem, people=problem.people[1:]),
        "a fifth more boxes": replace(problem, boxes=(*problem.boxes, *more)),
        "nothing": problem,
    }


def _unnoted(plan: DayPlan, now: datetime) -> list[Any]:
    """Steps from a moment on, without their remarks."""
    return [replace(step, note="") for step in plan.steps if step.start >= now]


@pytest.mark.parametrize("now_minute", [1, 95, 200])
@pytest.mark.parametrize(
    "what", ["late truck", "missing table", "missing tubs", "missing person", "a fifth more boxes", "nothing"]
)
def test_rerun_keeps_done_and_started_work(what: str, now_minute: int) -> None:
    """Whatever happens, started steps keep minute, place and people, and the rest is a sound plan."""
    problem = invented(12, 5)
    plan = run_day(problem, seconds=0.15)
    now = problem.at(now_minute)
    later = rerun(changes(problem)[what], plan, now, seconds=0.15)
    assert begun(plan, now) <= {(s.box, s.step, s.lane, s.people, s.start) for s in later.steps}
    sound(later, kept=True)
    if what == "nothing":
        assert later.moved == ("Nothing moved.",)
        assert _unnoted(later, now) == _unnoted(plan, now)
    assert {one.box for one in later.problem.boxes} == {row.box for row in later.order()}


def test_rerun_with_no_change_moves_nothing_if_proved() -> None:
    """A proved plan asked again at the moment it was made stays as it is, and says so."""
    problem = day([box(n, weight=1 + n / 10) for n in range(1, 5)])
    plan = run_day(problem, seconds=20.0)
    assert plan.proved
    again = rerun(problem, plan, problem.at(0), seconds=20.0)
    assert again.value == plan.value


def test_rerun_says_what_moved_in_words() -> None:
    """A truck three hours late: the boxes it carries move and the sentences say from when to when."""
    problem = day([box(1), box(2, "S2")], trucks={"S2": 60})
    plan = run_day(problem)
    later = rerun(replace(problem, trucks={"S1": 0, "S2": 240}), plan, problem.at(30))
    assert later.moved[0].startswith("Box S2/2 opens 180 min later, from 08:30 to 11:30, 24.0 h in the bag.")
    assert not any("S1/1" in line for line in later.moved)


def test_records_win_over_what_the_plan_expected() -> None:
    """The count took 40 minutes longer than planned: the record says so and the tub starts after it."""
    problem = day([box(1), box(2)], tables=1)
    plan = run_day(problem)
    first = plan.order()[0].box
    put = next(put for put in plan.placed if put.box == first)
    work = Underway(first, problem.at(0), problem.at(55), put.table, put.opener)
    later = rerun(replace(problem, underway=(work,)), plan, problem.at(20))
    tub = next(step for step in later.steps if step.box == first and step.step == "acclimate")
    assert problem.minute(tub.start) == 55
    other = next(row for row in later.order() if row.box != first)
    assert other.opens is not None
    assert problem.minute(other.opens) >= 55


def test_a_day_that_cannot_finish_says_so() -> None:
    """Forty heavy boxes, one table: planned past closing time, with the lateness in minutes and in words."""
    problem = day([box(n, count_minutes=25, weight=1.0) for n in range(1, 41)], tables=1)
    plan = run_day(problem, seconds=0.15)
    assert plan.finish is not None
    assert plan.late_minutes == problem.minute(plan.finish) - 600 > 0
    assert any("does not end by 17:30" in note for note in plan.notes)
    assert plan.overtime
    sound(plan)


def test_a_day_with_nobody_and_nothing_still_has_an_answer() -> None:
    """No people and no stations: the plan counts on stand-ins and names every one of them."""
    problem = replace(day([box(1, fish=True, dip_minutes=5)]), people=(), lanes=())
    plan = run_day(problem)
    assert len(plan.notes) >= 6
    assert any("one more person" in note for note in plan.notes)
    sound(plan)


def test_a_day_without_boxes_is_an_empty_plan() -> None:
    """Nothing landed: nothing to do, no error."""
    plan = run_day(day([]))
    assert (plan.steps, plan.finish, plan.worst_hours_in_bag, plan.order()) == ((), None, None, ())


def test_bad_boxes_are_refused_with_every_fault() -> None:
    """A naive packing time, a sensitivity of 0 and red before amber: three findings at once."""
    with pytest.raises(BadInput) as caught:
        replace(box(1), packed_at=datetime(2026, 3, 9, 8), sensitivity=0.0, red_h=10.0)  # noqa: DTZ001
    assert len(caught.value.findings) == 3


# ── the same question, the same answer ──────────────────────────────────────────────────────────────────────────────

AGAIN = """
from tests.receiving.test_day import invented
from intake.receiving.solving.solve import run_day
plan = run_day(invented(14, 2), seconds=0.5, seed=7)
print(plan.reproducible, [(put.box, put.open_at, put.finish_at, put.opener, put.tub) for put in plan.placed])
"""


def test_same_question_same_plan_under_another_hash_seed() -> None:
    """Two processes with different string hashing print the same plan."""
    runs = [
        subprocess.run([sys.executable, "-c", AGAIN], env={"PYTHONHASHSEED": seed}, capture_output=True, check=True)
        for seed in ("1", "2")
    ]
    assert runs[0].stdout == runs[1].stdout
    assert runs[0].stdout.startswith(b"True")


def test_answer_keeps_what_the_faces_need() -> None:
    """Plain data, lanes to draw and the opening order agree with the steps."""
    plan = run_day(invented(6, 1), seconds=0.2)
    told = plan.as_dict()
    assert {row["box"] for row in told["order"]} == {one.box for one in plan.problem.boxes}
    assert told["worst_hours_in_bag"]["hours"] == pytest.approx(max(row.hours_in_bag for row in plan.order()), abs=0.01)
    lanes = plan.lanes()
    assert sum(row.lane.startswith("tub") for row in lanes) == 6
    assert all(isinstance(put, Placed) for put in plan.placed)
