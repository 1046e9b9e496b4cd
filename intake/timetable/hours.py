"""Who and which station is free in which quarter hour: one bit a slot, one whole number a person and day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from intake.timetable.problem import Job, Problem

__all__ = ["Hours", "bits", "runs", "starts_of"]


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
    """

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.start: list[int] = [-1] * len(problem.jobs)
        self.who: list[tuple[int, ...]] = [()] * len(problem.jobs)
        self.journal: list[tuple[int, int, tuple[int, ...]]] = []
        self.work = 0
        self._free = [
            [0 if shift is None else _span(shift[0] - day.first, shift[1] - day.first) for shift in day.shifts]
            for day in problem.days
        ]
        self._whole = [(1 << day.slots) - 1 for day in problem.days]
        self._full: dict[tuple[str, int], int] = {}
        self._used: dict[tuple[str, int], list[int]] = {}
        self._on_day: list[set[int]] = [set() for _ in problem.days]
        self._masks: list[dict[tuple[tuple[int, ...], int, int], int]] = [{} for _ in problem.days]
        last = problem.days[-1].first + 3 * problem.days[-1].slots if problem.days else 0
        self._drawn = [0] * (last + problem.refill if problem.tank_l else 0)

    def copy(self) -> Hours:
        """An independent copy with an empty journal."""
        twin = object.__new__(Hours)
        twin.problem = self.problem
        twin.start, twin.who, twin.journal = list(self.start), list(self.who), []
        twin.work = self.work
        twin._free = [list(row) for row in self._free]
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

    def free_starts(self, day: int, person: int, slots: int) -> int:
        """Bits of the day at which the person has ``slots`` slots in a row."""
        return starts_of(self._free[day][person], slots)

    def open_starts(self, day: int, job: Job, floor: int) -> int:
        """Bits of the day, from slot ``floor`` on, at which enough people and a place are free for the job."""
        self.work += 1
        first = self.problem.days[day].first
        key = (job.who, job.slots, job.people)
        known = self._masks[day].get(key)
        found = self._hands(day, key) if known is None else known
        for kind in job.uses:
            full = self._full.get((kind, day))
            if full:
                found &= starts_of(self._whole[day] & ~full, job.slots)
        if job.water_l and found:
            found &= self._water_starts(day, job)
        if floor > first:
            found = (found >> (floor - first)) << (floor - first)
        return found

    def _hands(self, day: int, key: tuple[tuple[int, ...], int, int]) -> int:
        """Starts at which enough of the people are free for so many slots, kept until the day changes."""
        who, slots, people = key
        free = self._free[day]
        self.work += len(who)
        masks = [starts_of(free[person], slots) for person in who if free[person]]
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
        return [person for person in job.who if self._free[day][person] & span == span]

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
        """Runs of slots (first, after, litres) in which mixed water is in use or being mixed again."""
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

    def _mark(self, index: int, start: int, who: Iterable[int], *, taken: bool) -> None:
        job = self.problem.jobs[index]
        day = self.problem.day_of(start)
        at = start - self.problem.days[day].first
        span = _span(at, at + job.slots)
        self._masks[day].clear()
        for person in who:
            self._free[day][person] = self._free[day][person] & ~span if taken else self._free[day][person] | span
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
