"""The receiving day as a constraint model: what may overlap, who may do what, and the five aims."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, fields
from itertools import pairwise
from typing import Any

from intake.receiving.box import BoxNeed
from intake.receiving.placed import Placed
from intake.receiving.problem import DIP_PLACE, TABLE, TUB, DayProblem, Pool, Taken, joined_tubs, tub_names
from intake.receiving.solving.free_minutes import runs

__all__ = ["DayModel", "canonical"]

ROLES = ("table", "opener", "tub", "setter", "dip_place", "finisher")


@dataclass(slots=True)
class _Task:
    """Something ``count`` members of a pool are taken for; ``choices`` are (pool, literal or None)."""

    box: str
    role: str
    start: Any
    end: Any
    choices: list[tuple[Pool, Any]] = field(default_factory=list)
    count: int = 1


class DayModel:
    """Builds the model on an empty ``cp`` model and reads plans in and out of it.

    Parameters
    ----------
    problem
        A completed day.
    cp
        An empty constraint model, handed in so that the solver is imported in one place only.
    earliest
        Box → minute before which no plan can open it.
    domain
        Makes the solver's domain of spans.
    """

    def __init__(self, problem: DayProblem, cp: Any, earliest: Mapping[str, int], domain: Callable[..., Any]) -> None:
        self.problem, self.cp, self.domain = problem, cp, domain
        self.end = problem.horizon
        self.open: dict[str, Any] = {}
        self.tub: dict[str, Any] = {}
        self.out: dict[str, Any] = {}
        self.tasks: list[_Task] = []
        self.past: dict[tuple[str, str], Any] = {}
        self.taken: dict[Pool, list[tuple[Any, int]]] = {pool: [] for pool in (*problem.crew, *problem.places)}
        self.drips: list[tuple[Any, int]] = []
        self.water: list[tuple[Any, int]] = []
        for one in problem.taken:
            self._other_work(one)
        for box in problem.boxes:
            if box.box in problem.begun:
                self._begun(box)
            else:
                self._closed(box, earliest[box.box])
        self._limit()
        self._twins()
        self.aims = self._aims()

    def _closed(self, box: BoxNeed, earliest: int) -> None:
        """A closed box is opened, goes to its tub at once and is taken out when it is ready and someone is free."""
        start = self._in_company(f"open {box.box}", earliest, box.opening_minutes)
        self.open[box.box] = start
        counted = start + box.opening_minutes
        self._take(box, "table", start, box.opening_minutes, TABLE)
        self._take(box, "opener", start, box.opening_minutes, box.opening_skills)
        self._tub(box, counted)

    def _tub(self, box: BoxNeed, tub_at: Any) -> None:
        out = self._in_company(f"out {box.box}", 0, box.dip_minutes)
        self.tub[box.box], self.out[box.box] = tub_at, out
        self.cp.add(out - tub_at >= box.tub_minutes)
        self._take(box, "setter", tub_at, box.setup_minutes, box.setup_skills)
        task = _Task(box.box, "tub", tub_at, out, count=box.tubs)
        self._choose(task, self.problem.places, TUB)
        self._draw(box, tub_at, out)
        self._finishing(box, out)

    def _draw(self, box: BoxNeed, tub_at: Any, out: Any) -> None:
        for rows, amount, extra in ((self.drips, box.drip_lines, 0), (self.water, box.whole_litres, None)):
            more = self.problem.remake_minutes if extra is None else extra
            if amount:
                size = self.cp.new_int_var(0, 2 * self.end, "")
                rows.append((self.cp.new_interval_var(tub_at, size, out + more, ""), amount))

    def _finishing(self, box: BoxNeed, out: Any) -> None:
        self._take(box, "finisher", out, box.finishing_minutes, box.finishing_skills)
        if box.dip_minutes:
            self._take(box, "dip_place", out, box.dip_minutes, DIP_PLACE)

    def _begun(self, box: BoxNeed) -> None:
        """Done and started work keeps its minutes, places and people; what is left of the box is planned."""
        work, minute, now = self.problem.begun[box.box], self.problem.minute, self.problem.now
        counted = minute(work.counted_at)
        self._held(work.table, counted)
        self._held(work.opener, counted)
        if work.tub_at is None:
            tub_at = self.cp.new_int_var(max(counted, now, 0), self.end, f"tub {box.box}")
            self._tub(box, tub_at)
            return
        tub_at = minute(work.tub_at)
        self._held(work.setter, tub_at + box.setup_minutes)
        if work.finish_at is None:
            out = self._in_company(f"out {box.box}", max(tub_at + box.tub_minutes, now, 0), box.dip_minutes)
            self.tub[box.box], self.out[box.box] = tub_at, out
            for tub in tub_names(work.tub):
                self._hold_until(tub, out)
            self._draw(box, tub_at, out)
            self._finishing(box, out)
            return
        out = minute(work.finish_at)
        end = out + box.finishing_minutes if work.placed_at is None else minute(work.placed_at)
        self._held(work.dip_place, min(end, out + box.dip_minutes))
        self._held(work.finisher, end)
        for tub in tub_names(work.tub):
            self._held(tub, out)
        self._draw(box, tub_at, out)

    def _in_company(self, name: str, earliest: int, minutes: int) -> Any:
        """A start from which two people are in for so many minutes."""
        if not minutes:
            return self.cp.new_int_var(max(0, earliest), self.end, name)
        spans = in_company(self.problem, max(0, earliest), minutes, self.end)
        return self.cp.new_int_var_from_domain(self.domain(spans), name)

    def _other_work(self, one: Taken) -> None:
        """A person is taken by published work."""
        start = max(one.start, 0)
        for pool, rows in self.taken.items():
            if one.name in pool.members and one.end > start:
                rows.append((self.cp.new_fixed_size_interval_var(start, one.end - start, ""), 1))

    def _held(self, member: str, until: int) -> None:
        """A member taken now is taken until its work in hand ends."""
        if until > self.problem.now:
            self._hold_until(member, until)

    def _hold_until(self, member: str, until: Any) -> None:
        now = self.problem.now
        for pool, rows in self.taken.items():
            if member in pool.members:
                size = self.cp.new_int_var(0, self.end, "")
                rows.append((self.cp.new_interval_var(now, size, until, ""), 1))

    def _take(self, box: BoxNeed, role: str, start: Any, minutes: int, need: frozenset[str]) -> None:
        pools = self.problem.places if role in {"table", "dip_place"} else self.problem.crew
        self._choose(_Task(box.box, role, start, start + minutes), pools, need, minutes)

    def _choose(self, task: _Task, pools: Iterable[Pool], need: frozenset[str], minutes: int | None = None) -> None:
        """Exactly one pool that can do it gives its members, inside that pool's hours."""
        able = [pool for pool in pools if need <= pool.serves and len(pool.members) >= task.count]
        literals = [None] if len(able) == 1 else [self.cp.new_bool_var(f"{task.role} {task.box}") for _ in able]
        if len(able) > 1:
            self.cp.add_exactly_one(literals)
        for pool, literal in zip(able, literals, strict=True):
            task.choices.append((pool, literal))
            size = self.cp.new_int_var(0, self.end, "") if minutes is None else minutes
            if literal is None:
                interval = self.cp.new_interval_var(task.start, size, task.end, "")
            else:
                interval = self.cp.new_optional_interval_var(task.start, size, task.end, literal, "")
            self.taken[pool].append((interval, task.count))
            hours = [self.cp.add(task.start >= pool.opens), self.cp.add(task.end <= pool.closes)]
            if literal is not None:
                for rule in hours:
                    rule.only_enforce_if(literal)
        self.tasks.append(task)

    def _limit(self) -> None:
        """No pool gives more members than it has; no more drip lines and mixed water than there are."""
        for pool, rows in self.taken.items():
            if rows:
                self.cp.add_cumulative([row[0] for row in rows], [row[1] for row in rows], len(pool.members))
        lines, water = self.problem.drip_lines, self.problem.whole_litres
        if lines is not None and self.drips:
            self.cp.add_cumulative([row[0] for row in self.drips], [row[1] for row in self.drips], lines)
        if water is not None and self.water:
            self.cp.add_cumulative([row[0] for row in self.water], [row[1] for row in self.water], water)

    def _twins(self) -> None:
        """Boxes alike in everything are opened in the order of their numbers."""
        for twins in twin_boxes(self.problem):
            for one, other in pairwise(twins):
                self.cp.add(self.open[one] <= self.open[other])

    def _aims(self) -> list[Any]:
        age, first, in_bag = self.problem.age, [], []
        past: dict[str, list[Any]] = {"red": [], "amber": []}
        finish = self.cp.new_int_var(-(10**6), 2 * self.end, "finish")
        self.finish = finish
        for box in self.problem.boxes:
            work = self.problem.begun.get(box.box)
            minutes = age[box.box] + (self.open[box.box] if work is None else self.problem.minute(work.opened_at))
            if work is not None:
                tub_at = self.tub[box.box] if work.tub_at is None else self.problem.minute(work.tub_at)
                first.append(box.weight * (tub_at - self.problem.minute(work.counted_at)))
            elif box.urgent:
                first.append(box.weight * minutes)
            for name, limit in (("red", box.red_h), ("amber", box.amber_h)):
                late = self.cp.new_int_var(0, 10**7, f"{name} {box.box}")
                self.cp.add(late >= minutes - round(limit * 60))
                self.past[name, box.box] = late
                past[name].append(box.weight * late)
            in_bag.append(box.weight * minutes)
            self._last(box, finish)
        return [sum(first), sum(past["red"]), sum(past["amber"]), sum(in_bag), finish]

    def _last(self, box: BoxNeed, finish: Any) -> None:
        work = self.problem.begun.get(box.box)
        if box.box in self.out:
            self.cp.add(finish >= self.out[box.box] + box.finishing_minutes)
        elif work is not None and work.placed_at is not None:
            self.cp.add(finish >= self.problem.minute(work.placed_at))
        elif work is not None and work.finish_at is not None:
            self.cp.add(finish >= self.problem.minute(work.finish_at) + box.finishing_minutes)

    @contextmanager
    def ending_by(self, minute: int) -> Iterator[None]:
        """The same model, without a plan to start from, where the last animal is placed by a minute."""
        self.cp.clear_hints()
        domain = self.cp.proto.variables[self.finish.index].domain
        before = list(domain)
        domain.clear()
        domain.extend([before[0], minute])
        try:
            yield
        finally:
            domain.clear()
            domain.extend(before)

    def hint(self, placed: Iterable[Placed]) -> None:
        """Give the solver a complete plan to start from."""
        self.cp.clear_hints()
        puts = {put.box: put for put in placed}
        for name, start in self.open.items():
            self.cp.add_hint(start, puts[name].open_at)
        for name, out in self.out.items():
            self.cp.add_hint(out, puts[name].finish_at)
            if name in self.problem.begun and self.problem.begun[name].tub_at is None:
                self.cp.add_hint(self.tub[name], puts[name].tub_at)
        for task in self.tasks:
            member = getattr(puts[task.box], task.role)
            for pool, literal in task.choices:
                if literal is not None:
                    self.cp.add_hint(literal, all(one in pool.members for one in tub_names(member)))
        for box in self.problem.boxes:
            minutes = self.problem.age[box.box] + puts[box.box].open_at
            self.cp.add_hint(self.past["red", box.box], max(0, minutes - round(box.red_h * 60)))
            self.cp.add_hint(self.past["amber", box.box], max(0, minutes - round(box.amber_h * 60)))
        self.cp.add_hint(self.finish, max(put.placed_at for put in puts.values()))

    def read(self, value: Any, placed: Iterable[Placed]) -> tuple[Placed, ...] | None:
        """Turn the solver's values into a plan with a named place and person for every task.

        Parameters
        ----------
        value
            Function from an expression or literal to its number.
        placed
            An earlier plan: what is already done is taken from it.

        Returns
        -------
        tuple
            Or ``None`` if records of started work contradict each other so that names cannot be given.
        """
        names = self._names(value)
        if names is None:
            return None
        rows = []
        for put in placed:
            box = put.box
            done = {item.name: getattr(put, item.name) for item in fields(put)}
            if box in self.open:
                length = put.counted_at - put.open_at
                done |= {"open_at": value(self.open[box]), "counted_at": value(self.open[box]) + length}
            if box in self.out:
                finish = value(self.out[box])
                length = put.placed_at - put.finish_at
                done |= {"tub_at": value(self.tub[box]), "finish_at": finish, "placed_at": finish + length}
            done |= {role: names[box, role] for role in ROLES if (box, role) in names}
            rows.append(Placed(**done))
        return tuple(rows)

    def _names(self, value: Any) -> dict[tuple[str, str], str] | None:
        """Members by their order in the pool; alike within a pool, so taking the first free one always works out."""
        free = {member: 0 for pool in self.taken for member in pool.members}
        for work in self.problem.underway:
            self._busy(work, value, free)
        names: dict[tuple[str, str], str] = {}
        rows = [(value(task.start), value(task.end), number) for number, task in enumerate(self.tasks)]
        for start, end, number in sorted(rows):
            task = self.tasks[number]
            pool = next(pool for pool, literal in task.choices if literal is None or value(literal))
            members = [member for member in pool.members if free[member] <= start][: task.count]
            if len(members) < task.count:
                return None
            free |= dict.fromkeys(members, end)
            names[task.box, task.role] = joined_tubs(members)
        return names

    def _busy(self, work: Any, value: Any, free: dict[str, int]) -> None:
        box = next(box for box in self.problem.boxes if box.box == work.box)
        minute = self.problem.minute
        until = {work.table: minute(work.counted_at), work.opener: minute(work.counted_at)}
        rows = list(until.items())
        if work.tub_at is not None:
            out = value(self.out[box.box]) if work.finish_at is None else minute(work.finish_at)
            rows += [(work.setter, minute(work.tub_at) + box.setup_minutes)]
            rows += [(tub, out) for tub in tub_names(work.tub)]
        if work.finish_at is not None:
            out = minute(work.finish_at)
            end = out + box.finishing_minutes if work.placed_at is None else minute(work.placed_at)
            rows += [(work.dip_place, min(end, out + box.dip_minutes)), (work.finisher, end)]
        for member, end in rows:
            if member in free:
                free[member] = max(free[member], end)


def in_company(problem: DayProblem, earliest: int, minutes: int, latest: int) -> list[tuple[int, int]]:
    """Spans of starts from which two people are in for so many minutes."""
    bits, spans, minute = runs(problem.company, minutes), [], earliest
    while minute <= latest and bits >> minute:
        gap = bits >> minute
        minute += (gap & -gap).bit_length() - 1
        ones = bits >> minute
        length = (~ones & (ones + 1)).bit_length() - 1
        spans.append((minute, min(minute + length - 1, latest)))
        minute += length
    return [span for span in spans if span[0] <= latest] or [(latest, latest)]


def twin_boxes(problem: DayProblem) -> list[list[str]]:
    """Closed boxes that differ in nothing but their number, in the order of the day's list."""
    alike: dict[tuple[Any, ...], list[str]] = {}
    for box in problem.boxes:
        if box.box not in problem.begun:
            key = tuple(getattr(box, item.name) for item in fields(box) if item.name != "box")
            alike.setdefault(key, []).append(box.box)
    return [twins for twins in alike.values() if len(twins) > 1]


def canonical(problem: DayProblem, placed: Iterable[Placed]) -> tuple[Placed, ...]:
    """The same plan with twin boxes opened in the order of their numbers, so equal plans print alike."""
    puts = {put.box: put for put in placed}
    for twins in twin_boxes(problem):
        rows = sorted((puts[box] for box in twins), key=lambda put: (put.open_at, put.finish_at, put.table, put.tub))
        for box, put in zip(twins, rows, strict=True):
            changed = {item.name: getattr(put, item.name) for item in fields(put)} | {"box": box}
            puts[box] = Placed(**changed)
    return tuple(puts[box.box] for box in problem.boxes)
