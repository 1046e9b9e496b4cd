"""Judge of the solvers' own problem, quarter hour by quarter hour; it shares no code with the solvers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

__all__ = ["faults", "late"]


def faults(problem: Any, start: Sequence[int], who: Sequence[Sequence[int]]) -> list[str]:
    """Everything that cannot be: a sentence each, lateness apart."""
    found = []
    busy: Counter[tuple[str, int]] = Counter()
    for job, at, names in zip(problem.jobs, start, who, strict=True):
        if at < max(0, job.earliest):
            found.append(f"{job.uid} begins at {at}, before {job.earliest}, or nowhere")
            continue
        if len(set(names)) != job.people or not set(names) <= set(job.who):
            found.append(f"{job.uid} is given to {names}")
        day = next(day for day in problem.days if day.first <= at < day.first + day.slots)
        for name in names:
            shift = day.shifts[name]
            if shift is None or at < shift[0] or at + job.slots > shift[1]:
                found.append(f"{job.uid} at {at} is outside the shift of {name}")
        if job.after >= 0 and at < start[job.after] + job.lag_min:
            found.append(f"{job.uid} begins too soon after the job before it")
        for slot in range(at, at + job.slots):
            busy.update((f"person {name}", slot) for name in names)
            busy.update((f"place {kind}", slot) for kind in job.uses)
    for (thing, slot), count in sorted(busy.items()):
        has = problem.places.get(thing.removeprefix("place "), 1) if thing.startswith("place ") else 1
        if count > has:
            found.append(f"{thing} is taken {count} times in slot {slot}")
    return found


def late(problem: Any, start: Sequence[int]) -> int:
    """Slots of lateness, each job's counted from its latest start or its greatest lag, whichever is more."""
    total = 0
    for job, at in zip(problem.jobs, start, strict=True):
        over = [0, at - job.latest]
        if job.after >= 0 and job.lag_max is not None:
            over.append(at - start[job.after] - job.lag_max)
        total += max(over)
    return total
