"""Make a complete timetable cheaper by lifting a few jobs around a dear one and putting them down again, many times."""

from __future__ import annotations

from dataclasses import dataclass

from intake.timetable import timetable_tuning as tuning
from intake.timetable.search.chains import chains, place_chain
from intake.timetable.search.cost import job_cost
from intake.timetable.search.hours import Hours
from intake.timetable.search.task_placing import followers, place

__all__ = ["Dice", "Recreate"]


@dataclass(slots=True)
class Dice:
    """Chance from a seed: the same numbers on every machine (Lehmer generator, Park & Miller 1988)."""

    state: int

    def below(self, limit: int) -> int:
        """A whole number from 0 to ``limit`` − 1."""
        self.state = self.state * 48271 % 2147483647
        return self.state % limit


class Recreate:
    """A search that can be run in pieces.

    Parameters
    ----------
    hours
        Timetable to begin with; it is copied.
    least
        For each job the least it can cost; jobs at their least are not aimed at.
    """

    def __init__(self, hours: Hours, least: list[int], seed: int) -> None:
        self.hours, self.least = hours.copy(), least
        self.jobs = hours.problem.jobs
        self.after = followers(hours.problem)
        self.tied = chains(self.jobs, self.after)
        self.dice = Dice(seed * 7919 + 1 + 2147483647 // 3)
        self.cost = [self._cost(index) for index in range(len(self.jobs))]
        self.dear = [index for index, cost in enumerate(self.cost) if cost > least[index]]
        self.total = self.best = sum(self.cost)
        self.kept = (list(self.hours.start), list(self.hours.who))
        self.slack = 0
        self.aims: list[int] = []

    def run(self, work: int, slack: float, at_least: int = 2) -> bool:
        """Try until ``work`` person-days have been looked at; false when every job is at its least.

        ``slack`` is the share by which the timetable in hand may be dearer than the best, ``at_least`` so much: a way
        out of dead ends.
        """
        goal = self.hours.work + work
        self.slack = max(int(slack * min(self.best, tuning.SLACK_OF)), at_least if slack else 0)
        while self.hours.work < goal:
            if not self._once():
                return False
        return True

    def _once(self) -> bool:
        target = self._target()
        if target < 0:
            return False
        chosen = self._around(target)
        self.hours.journal.clear()
        for index in chosen:
            if self.hours.start[index] >= 0:
                self.hours.take(index)
        for index in self._turns(target, chosen):
            if self.hours.start[index] < 0:
                self._put(index)
        touched = {row[0] for row in self.hours.journal}
        touched |= {other for index in touched for other in self.after[index]}
        fresh = {index: self._cost(index) for index in sorted(touched)}
        gain = sum(self.cost[index] - cost for index, cost in fresh.items())
        if self.total - gain > max(self.best + self.slack, self.total if gain >= 0 else 0):
            self.hours.undo()
            return True
        self.total -= gain
        for index, cost in fresh.items():
            if cost > self.least[index] and self.cost[index] <= self.least[index]:
                self.dear.append(index)
            self.cost[index] = cost
        self.hours.journal.clear()
        if self.total < self.best:
            self.best = self.total
            self.kept = (list(self.hours.start), list(self.hours.who))
        return True

    def _target(self) -> int:
        """The job to aim at: one of those asked for that is still dear, or any dear one; -1 when there is none."""
        self.dear = [index for index in self.dear if self.cost[index] > self.least[index]]
        if not self.dear or not self.aims:
            return self._aim() if self.dear else -1
        aims = [index for index in self.aims if self.cost[index] > self.least[index]]
        return aims[self.dice.below(len(aims))] if aims else -1

    def answer(self) -> Hours:
        """The best timetable found."""
        twin = self.hours.copy()
        differ = [
            index
            for index in range(len(self.jobs))
            if (twin.start[index], twin.who[index]) != (self.kept[0][index], self.kept[1][index])
        ]
        for index in differ:
            if twin.start[index] >= 0:
                twin.take(index)
        for index in differ:
            if self.kept[0][index] >= 0:
                twin.put(index, self.kept[0][index], self.kept[1][index])
        twin.journal.clear()
        return twin

    def _aim(self) -> int:
        """A dear job: the dearer of two drawn."""
        draws = [self.dear[self.dice.below(len(self.dear))] for _ in range(2)]
        return max(draws, key=lambda index: (self.cost[index] - self.least[index], -index))

    def _around(self, target: int) -> list[int]:
        """The job, those tied to it, and some of those that stand where it would rather be, often whole chains."""
        job = self.jobs[target]
        chosen = dict.fromkeys(self.tied[target] if self.dice.below(3) else [target])
        if job.after >= 0 and self.dice.below(2):
            chosen[job.after] = None
        chosen.update(dict.fromkeys(self.after[target]))
        pool = self._rivals(target)
        want = 2 + self.dice.below(12)
        while pool and len(chosen) < want:
            other = pool.pop(self.dice.below(len(pool)))
            chosen.update(dict.fromkeys(self.tied[other] if self.dice.below(2) else [other]))
        return [index for index in chosen if not self.jobs[index].fixed]

    def _rivals(self, target: int) -> list[int]:
        """Jobs near where the target would rather be, or where it stands, that have its people or its station."""
        problem, job = self.hours.problem, self.jobs[target]
        day = problem.day_of(max(0, job.low))
        if self.dice.below(4) == 0 and self.hours.start[target] >= 0:
            day = problem.day_of(self.hours.start[target])
        days = [day] if self.dice.below(2) else [day, day - 1, day + 1]
        pool = [other for day in days if 0 <= day < len(problem.days) for other in self.hours.on_day(day)]
        stations = [kind for kind in job.uses if kind in problem.places]
        if stations and self.dice.below(4) == 0:
            return [other for other in pool if stations[0] in self.jobs[other].uses]
        able = set(job.who)
        return [other for other in pool if not able.isdisjoint(self.hours.who[other])]

    def _put(self, index: int) -> None:
        """Put one job down, or the whole of its chain if it is the first of it and all of it is lifted."""
        chain = self.tied[index]
        whole = len(chain) > 1 and chain[0] == index and all(self.hours.start[other] < 0 for other in chain)
        if whole and self.dice.below(4):
            place_chain(self.hours, chain, self.after)
        else:
            place(self.hours, index, self.after)

    def _turns(self, target: int, chosen: list[int]) -> list[int]:
        """Order of putting down: the target first, or the urgent, or any; what follows another comes after it."""
        how = self.dice.below(3)
        if how == 0:
            rest = sorted(chosen, key=lambda index: (-self.jobs[index].weight, self.jobs[index].latest, index))
        elif how == 1:
            rest = sorted(chosen, key=lambda index: (self.jobs[index].latest, index))
        else:
            rest = sorted(chosen, key=lambda _: self.dice.below(1 << 20))
        order = [target, *rest] if self.dice.below(2) else rest
        ready: list[int] = []
        for index in dict.fromkeys(order):
            before = self.jobs[index].after
            if before in chosen and before not in ready:
                ready.append(before)
            if index not in ready:
                ready.append(index)
        return ready

    def _cost(self, index: int) -> int:
        start, job = self.hours.start[index], self.jobs[index]
        if start < 0:
            return tuning.UNPLACED_COST
        before = self.hours.start[job.after] if job.after >= 0 and self.hours.start[job.after] >= 0 else None
        return job_cost(self.hours.problem, job, start, before, self.hours.who[index])
