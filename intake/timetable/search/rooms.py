"""What runs out in a CP-SAT model of work: hands that may do it, places of a station, mixed water."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from intake.timetable.search.core import Core
from intake.timetable.search.hours import Hours

__all__ = ["share"]


def share(core: Core, base: Hours, free: Sequence[int], days: Callable[[int], Iterable[int]]) -> None:
    """Let the freed jobs, their starts already in the model, share what there is with all that is in ``base``.

    ``days`` gives the days on which a freed job may stand.
    """
    _hands(core, base, free, days)
    _stations(core, base, free)
    _mixed_water(core, base, free)


def _hands(core: Core, base: Hours, free: Sequence[int], days: Callable[[int], Iterable[int]]) -> None:
    """No more jobs at once than people who may do them: follows from naming people, but is seen much sooner."""
    jobs = base.problem.jobs
    pools = {jobs[index].who for index in free}
    pools.add(tuple(sorted({person for pool in pools for person in pool})))
    for pool in sorted(pools):
        inside = set(pool)
        users = [index for index in free if set(jobs[index].who) <= inside]
        if len(users) < 2 or len(pool) < 2:
            continue
        shown = sorted({day for index in users for day in days(index)})
        core.room({index: jobs[index].people for index in users}, len(pool), base.away_runs(pool, shown))


def _stations(core: Core, base: Hours, free: Sequence[int]) -> None:
    """No more jobs at a kind of station than it has places, and no animal in two hands at once."""
    users: dict[str, list[int]] = {}
    for index in free:
        for kind in base.problem.jobs[index].uses:
            users.setdefault(kind, []).append(index)
    for kind, jobs in users.items():
        core.room(dict.fromkeys(jobs, 1), base.problem.places.get(kind, 1), base.used_runs(kind))


def _mixed_water(core: Core, base: Hours, free: Sequence[int]) -> None:
    """No more mixed water is drawn than stands ready; what was drawn comes back when it is mixed again."""
    problem = base.problem
    drawn = {index: problem.jobs[index].water_l for index in free if problem.jobs[index].water_l}
    if drawn:
        core.room(drawn, problem.tank_l, base.water_runs(), after=problem.refill)
