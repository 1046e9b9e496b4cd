"""How large a shipment of a given mix would fit on each day, found by planning it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from intake.errors import BadInput, Finding
from intake.farm.floor import Batch, Floor, Freedom
from intake.farm.site import Site
from intake.library import Library
from intake.plan.framing import Arrival, Commitment, frame
from intake.plan.problem import Problem
from intake.plan.solution import Progress
from intake.plan.solve import solve
from intake.plan.tuning import CAPACITY_MOST_MULTIPLE

__all__ = ["Capacity", "DayCapacity", "capacity"]


@dataclass(frozen=True, slots=True)
class DayCapacity:
    """The largest shipment that fits when it lands on a day.

    Attributes
    ----------
    animals
        Animals of the largest shipment a plan was found for.
    multiple
        The same against the mix as given.
    proved
        Whether one animal more is proved not to fit (the mix being rounded to whole animals line by line).
    """

    day: date
    animals: int
    multiple: float
    proved: bool


@dataclass(frozen=True, slots=True)
class Capacity:
    """Capacity day by day, the size of the mix, and the first of the days on which all of it fits."""

    days: tuple[DayCapacity, ...]
    mix: int
    fits_on: date | None


def capacity(
    site: Site,
    library: Library,
    floor: Floor,
    mix: Sequence[Batch],
    days: Sequence[date],
    today: date,
    *,
    supplier: str = "",
    commitments: Sequence[Commitment] = (),
    leave: Mapping[tuple[str, str], date] | None = None,
    free: Mapping[tuple[str, str], Freedom] | None = None,
    movable: Collection[str] = (),
    quarantine_days: Mapping[str, int] | None = None,
    sales: Mapping[str, float] | None = None,
    coming: Sequence[Arrival] = (),
    seconds: float = 1.0,
    seed: int = 1,
) -> Capacity:
    """Find the largest shipment of a mix that fits, for each landing day.

    Parameters
    ----------
    mix
        Batches whose ``announced`` counts give the proportions; a multiple is rounded to whole animals by largest
        remainder.
    days
        Landing days to try, each by itself.
    quarantine_days, sales
        As for ``frame``.
    coming
        Shipments still to come, with the animals that have a place without the mix: a size fits where all of these fit as well.
    seconds
        Time for one attempt at one size; around ten sizes are tried per day.

    Raises
    ------
    BadInput
        The mix is empty or holds no animals.
    """
    whole = sum(batch.announced for batch in mix)
    if whole < 1 or any(batch.announced < 0 for batch in mix):
        raise BadInput(Finding("mix", str(whole), "at least one animal, and no negative count"))
    found, guess = [], whole
    beside = sum(batch.announced for one in coming for batch in one.batches)
    for day in days:

        def stated(animals: int, landing: date = day) -> Problem:
            batches = tuple(
                replace(batch, announced=count) for batch, count in zip(mix, _share(mix, animals), strict=True) if count
            )
            arrival = Arrival("what-if", supplier, landing, batches)
            return frame(
                site, library, floor, [*coming, arrival], today, commitments=commitments, leave=leave, free=free, movable=movable,
                quarantine_days=quarantine_days, sales=sales,
            )  # fmt: skip

        animals, proved = _largest(stated, guess, whole * CAPACITY_MOST_MULTIPLE, (seconds, seed), beside)
        guess = max(1, animals)
        found.append(DayCapacity(day, animals, animals / whole, proved))
    fits_on = next((one.day for one in found if one.animals >= whole), None)
    return Capacity(tuple(found), whole, fits_on)


def _share(mix: Sequence[Batch], animals: int) -> list[int]:
    """Split a number of animals in the proportions of a mix, by largest remainder."""
    whole = sum(batch.announced for batch in mix)
    exact = [batch.announced * animals / whole for batch in mix]
    counts = [int(share) for share in exact]
    order = sorted(range(len(mix)), key=lambda line: (counts[line] - exact[line], line))
    for line in order[: animals - sum(counts)]:
        counts[line] += 1
    return counts


def _largest(
    stated: Callable[[int], Problem], guess: int, most: int, effort: tuple[float, int], beside: int
) -> tuple[int, bool]:
    """Bisect between a size that fits and one that does not, starting near the neighbor day's answer.

    Parameters
    ----------
    effort
        Seconds of an attempt, and its seed.
    beside
        Animals of others in the question, all of whom must fit.
    """
    fits, fails, proved = 0, most + 1, False
    size = min(guess, most)
    while fails - fits > 1:
        placed, certain = _try(stated(size), *effort)
        placed -= beside
        if placed == size:
            fits = size
            size = min(most, 2 * size) if fails > most else (fits + fails) // 2
        else:
            fails, proved = size, certain
            size = placed if fits < placed < size - 1 else (fits + fails) // 2
    return fits, proved


def _try(problem: Problem, seconds: float, seed: int) -> tuple[int, bool]:
    """Animals placed, and whether it is certain that not all can be; stops as soon as that is known."""

    def enough(progress: Progress) -> bool:
        return progress.bound < problem.announced

    solution = solve(problem, seconds=seconds, seed=seed, aims=1, progress=enough)
    return solution.placed, solution.placed_bound < solution.announced
