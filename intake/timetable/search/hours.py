"""Who and which station is free in which quarter hour: one bit a slot, one whole number a person and day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from intake.timetable.problem import Day, Job, Problem

__all__ = ["Hours", "bits", "runs", "starts_of"]

_Key = tuple[tuple[int, ...], int, int, int, int]
"""People who may do it, slots, people at once, rank and water: jobs alike in these are free at the same starts."""


def starts_of(free: int, slots: int) -> int:
    """Bits at which ``slots`` free slots in a row begin."""
    have, width = free, 1
    while width < slots and have:
        step = min(width, slots - width)
        have &= have >> step
        width += step
    return have


def bits(mask: int) -> Iterator[int]:
    """Positions of the set bits, lowest first."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def runs(mask: int) -> Iterator[tuple[int, int]]:
    """Runs of set bits as first and last position."""
    while mask:
        first = (mask & -mask).bit_length() - 1
        rest = ~(mask >> first)
        length = (rest & -rest).bit_length() - 1
        yield first, first + length - 1
        mask = mask >> (first + length) << (first + length)


class Hours:
    """Free time of people and use of stations, changed as jobs are put down and taken up.

    Attributes
    ----------
    start, who
        For each job its first slot (-1: not placed) and the people named.
    journal
        Every change since it was last emptied, so that it can be undone.
    work
        Person-days looked at: effort counted the same on every machine.
    total
        For each person the slots of work given.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.start: list[int] = [-1] * len(problem.jobs)
        self.who: list[tuple[int, ...]] = [()] * len(problem.jobs)
        self.journal: list[tuple[int, int, tuple[int, ...]]] = []
        self.work = 0
        self._free = [[_open(day, person) for person in range(len(day.shifts))] for day in problem.days]
        self._by: list[list[set[int]]] = [[set() for _ in day.shifts] for day in problem.days]
        self.total = [0] * len(problem.people)
        self._offered = [sum(row[person].bit_count() for row in self._free) for person in range(len(problem.people))]
        self._whole = [(1 << day.slots) - 1 for day in problem.days]
        self._full: dict[tuple[str, int], int] = {}
        self._used: dict[tuple[str, int], list[int]] = {}
        self._on_day: list[set[int]] = [set() for _ in problem.days]
        self._masks: list[dict[_Key, int]] = [{} for _ in problem.days]
        last = problem.days[-1].first + 3 * problem.days[-1].slots if problem.days else 0
        self._drawn = [0] * (last + problem.refill if problem.tank_l else 0)

    def copy(self) -> Hours:
        """An independent copy with an empty journal."""
        twin = object.__new__(Hours)
        twin.problem = self.problem
        twin.start, twin.who, twin.journal = list(self.start), list(self.who), []
        twin.work = self.work
        twin._free = [list(row) for row in self._free]
        twin._by = [[set(mine) for mine in row] for row in self._by]
        twin.total, twin._offered = list(self.total), self._offered
        twin._whole = self._whole
        twin._full = dict(self._full)
        twin._used = {key: list(row) for key, row in self._used.items()}
        twin._on_day = [set(row) for row in self._on_day]
        twin._masks = [{} for _ in self._masks]
        twin._drawn = list(self._drawn)
        return twin

    def undo(self, mark: int = 0) -> None:
        """Take back every change in the journal from its ``mark``-th on, last first."""
        for index, start, who in reversed(self.journal[mark:]):
            if self.start[index] >= 0:
                self._mark(index, self.start[index], self.who[index], taken=False)
            if start >= 0:
                self._mark(index, start, who, taken=True)
            self.start[index], self.who[index] = start, who
        del self.journal[mark:]

    def jobs_on(self, day: int) -> tuple[int, ...]:
        """Jobs standing on a day, in the order of start."""
        return tuple(sorted(self._on_day[day], key=lambda job: (self.start[job], job)))

    def on_day(self, day: int) -> list[int]:
        """Jobs standing on a day, in the order of their numbers."""
        return sorted(self._on_day[day])

    def free_starts(self, day: int, person: int, job: Job) -> int:
        """Bits of the day at which the person can do the job."""
        return starts_of(self._clear(day, person, job.rank, job.water), job.slots)

    def with_person(self, day: int, person: int) -> list[int]:
        """Jobs someone has on a day, in the order of start."""
        return sorted(self._by[day][person], key=lambda job: (self.start[job], job))

    def open_starts(self, day: int, job: Job, floor: int) -> int:
        """Bits of the day, from slot ``floor`` on, at which enough people and a place are free for the job."""
        self.work += 1
        first = self.problem.days[day].first
        key = (job.who, job.slots, job.people, *((job.rank, job.water) if self.problem.changeover else (0, 0)))
        known = self._masks[day].get(key)
        found = self._hands(day, key) if known is None else known
        for kind in job.uses:
            full = self._full.get((kind, day))
            if full:
                found &= starts_of(self._whole[day] & ~full, job.slots)
        if job.water_l and found:
            found &= self._water_starts(day, job)
        if job.apart and found:
            found &= ~self._recovering(day, job)
        if floor > first:
            found = (found >> (floor - first)) << (floor - first)
        return found

    def _recovering(self, day: int, job: Job) -> int:
        """Bits of the day at which the job would come too close to another handling of the same animals."""
        first, slots, rest = self.problem.days[day].first, self.problem.days[day].slots, self.problem.recovery
        blocked = 0
        for other in job.apart:
            at = self.start[other]
            if at < 0:
                continue
            low = max(0, at - job.slots - rest + 1 - first)
            high = min(slots, at + self.problem.jobs[other].slots + rest - first)
            if low < high:
                blocked |= _span(low, high)
        return blocked

    def _clear(self, day: int, person: int, rank: int, water: int) -> int:
        """Free bits of someone's day for work in one water, with time left to change over from or to another."""
        free, change = self._free[day][person], self.problem.changeover
        if not change or not free:
            return free
        first, jobs = self.problem.days[day].first, self.problem.jobs
        for other in self._by[day][person]:
            there = jobs[other]
            if there.water == water:
                continue
            at = self.start[other] - first
            if there.rank >= rank:
                free &= ~_span(at + there.slots, at + there.slots + change)
            if there.rank <= rank and at > 0:
                free &= ~_span(max(0, at - change), at)
        return free

    def breaches(self, indices: Iterable[int]) -> int:
        """How often these jobs leave no time to change over or to recover."""
        found = 0
        for index in indices:
            job, start = self.problem.jobs[index], self.start[index]
            if start < 0:
                continue
            day = self.problem.day_of(start)
            at = start - self.problem.days[day].first
            if job.apart:
                found += self._recovering(day, job) >> at & 1
            span = _span(at, at + job.slots)
            for person in self.who[index]:
                whole = self._free[day][person]
                self._free[day][person] = whole | span
                found += self._clear(day, person, job.rank, job.water) & span != span
                self._free[day][person] = whole
        return found

    def _hands(self, day: int, key: _Key) -> int:
        """Starts at which enough of the people are free for so many slots, kept until the day changes."""
        who, slots, people, rank, water = key
        self.work += len(who)
        masks = [starts_of(free, slots) for person in who if (free := self._clear(day, person, rank, water))]
        if people == 1:
            found = 0
            for mask in masks:
                found |= mask
        else:
            found = _at_least(masks, people)
        self._masks[day][key] = found
        return found

    def _water_starts(self, day: int, job: Job) -> int:
        """Bits of the day from which, until the job is over and its water mixed again, enough mixed water is left."""
        long = job.slots + self.problem.refill
        first = self.problem.days[day].first
        window = self._drawn[first : first + self.problem.days[day].slots + long]
        spare = self.problem.tank_l - job.water_l
        left = sum(1 << slot for slot, used in enumerate(window) if used <= spare)
        return starts_of(left, long) & self._whole[day]

    def available(self, job: Job, start: int) -> list[int]:
        """People free for the whole job if it begins at ``start``."""
        day = self.problem.day_of(start)
        span = _span(start - self.problem.days[day].first, start - self.problem.days[day].first + job.slots)
        return [person for person in job.who if self._clear(day, person, job.rank, job.water) & span == span]

    def put(self, index: int, start: int, who: tuple[int, ...]) -> None:
        """Place a job; the caller has checked that it fits."""
        self.journal.append((index, self.start[index], self.who[index]))
        self._mark(index, start, who, taken=True)
        self.start[index], self.who[index] = start, who

    def take(self, index: int) -> None:
        """Lift a placed job."""
        self.journal.append((index, self.start[index], self.who[index]))
        self._mark(index, self.start[index], self.who[index], taken=False)
        self.start[index], self.who[index] = -1, ()

    def used_runs(self, kind: str) -> list[tuple[int, int, int]]:
        """Runs of slots (first, after, places used) in which places of one kind are taken."""
        found: list[tuple[int, int, int]] = []
        for day, whole in enumerate(self.problem.days):
            counts = self._used.get((kind, day))
            if counts is None:
                continue
            begin = 0
            for slot in range(1, len(counts)):
                if counts[slot] != counts[begin]:
                    if counts[begin]:
                        found.append((whole.first + begin, whole.first + slot, counts[begin]))
                    begin = slot
        return found

    def water_runs(self) -> list[tuple[int, int, int]]:
        """Runs of slots (first, after, liters) in which mixed water is in use or being mixed again."""
        found: list[tuple[int, int, int]] = []
        begin = 0
        for slot in range(1, len(self._drawn) + 1):
            if slot == len(self._drawn) or self._drawn[slot] != self._drawn[begin]:
                if self._drawn[begin]:
                    found.append((begin, slot, self._drawn[begin]))
                begin = slot
        return found

    def away_runs(self, pool: tuple[int, ...], days: list[int]) -> list[tuple[int, int, int]]:
        """Runs of slots (first, after, people not free) of a group of people on some days."""
        found: list[tuple[int, int, int]] = []
        for day in days:
            whole = self.problem.days[day]
            counts = [sum(not self._free[day][person] >> slot & 1 for person in pool) for slot in range(whole.slots)]
            begin = 0
            for slot in range(1, whole.slots + 1):
                if slot == whole.slots or counts[slot] != counts[begin]:
                    if counts[begin]:
                        found.append((whole.first + begin, whole.first + slot, counts[begin]))
                    begin = slot
        return found

    def load(self, day: int, person: int) -> int:
        """Slots of the day in which the person is not free, shift ends included."""
        return self.problem.days[day].slots - self._free[day][person].bit_count()

    def share(self, person: int, day: int) -> tuple[int, int]:
        """How much of someone's time is given, in thousandths of their shifts, and on that day in slots."""
        return 1000 * self.total[person] // max(1, self._offered[person]), self.load(day, person)

    def _mark(self, index: int, start: int, who: Iterable[int], *, taken: bool) -> None:
        job = self.problem.jobs[index]
        day = self.problem.day_of(start)
        at = start - self.problem.days[day].first
        span = _span(at, at + job.slots)
        self._masks[day].clear()
        for person in who:
            self._free[day][person] = self._free[day][person] & ~span if taken else self._free[day][person] | span
            self.total[person] += job.slots if taken else -job.slots
            if taken:
                self._by[day][person].add(index)
            else:
                self._by[day][person].discard(index)
        if taken:
            self._on_day[day].add(index)
        else:
            self._on_day[day].discard(index)
        for kind in job.uses:
            self._use(kind, day, at, at + job.slots, taken=taken)
        if job.water_l:
            litres = job.water_l if taken else -job.water_l
            for slot in range(start, start + job.slots + self.problem.refill):
                self._drawn[slot] += litres

    def _use(self, kind: str, day: int, first: int, after: int, *, taken: bool) -> None:
        """One place more or less in use; the bits of slots in which every place is taken follow."""
        counts = self._used.setdefault((kind, day), [0] * (self.problem.days[day].slots + 1))
        places = self.problem.places.get(kind, 1)
        full = self._full.get((kind, day), 0)
        for slot in range(first, after):
            counts[slot] += 1 if taken else -1
            if counts[slot] >= places:
                full |= 1 << slot
            else:
                full &= ~(1 << slot)
        self._full[kind, day] = full


def _open(day: Day, person: int) -> int:
    """Bits of a day in which someone may be booked: the shift without its pauses."""
    shift = day.shifts[person]
    if shift is None:
        return 0
    free = _span(shift[0] - day.first, shift[1] - day.first)
    for first, after in day.pauses[person] if day.pauses else ():
        free &= ~_span(first - day.first, after - day.first)
    return free


def _span(first: int, after: int) -> int:
    return ((1 << (after - first)) - 1) << first


def _at_least(masks: list[int], least: int) -> int:
    """Bits set in at least ``least`` of the masks."""
    levels = [0] * least
    for mask in masks:
        for level in range(least - 1, 0, -1):
            levels[level] |= levels[level - 1] & mask
        levels[0] |= mask
    return levels[least - 1]
