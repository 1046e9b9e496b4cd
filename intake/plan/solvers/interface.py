"""How a run of the solver is asked for and what it gives back, so that searching needs no door of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from intake.plan.model.mip import Rows, Terms
from intake.plan.tuning import LEAST_ASKED_SHARE, OVERRUN_SECONDS, RATE_ALONE, RATE_INTERLEAVED

__all__ = ["Answer", "Crew", "Effort", "Heartbeat", "Limits", "Runner", "no_report"]


@dataclass(frozen=True, slots=True)
class Limits:
    """How long and how a run may search; one worker, or several that take turns in a fixed order.

    Attributes
    ----------
    brief
        Suits small models of which very many are solved: little presolve, strong linear relaxation.
    proving
        Suits models that ask whether anything better than what is known exists at all.
    """

    seconds: float
    seed: int = 1
    workers: int = 8
    presolve: bool = True
    brief: bool = False
    proving: bool = False

    @property
    def work(self) -> float:
        """Deterministic seconds to ask for."""
        if self.workers == 1:
            return max(0.01, self.seconds * RATE_ALONE)
        return max(0.01, self.seconds * LEAST_ASKED_SHARE, self.seconds * RATE_INTERLEAVED - OVERRUN_SECONDS)

    def seconds_of(self, work: float) -> float:
        """Seconds that deterministic work counts for; the same on every machine, unlike the clock."""
        return work / (RATE_ALONE if self.workers == 1 else RATE_INTERLEAVED)


@dataclass(frozen=True, slots=True)
class Answer:
    """What a run found: no values when it found none.

    Attributes
    ----------
    charged
        Seconds of the budget it used, by deterministic work.
    seconds
        Seconds it took by the clock.
    cut
        Whether clock or caller ended it, so that another run may end elsewhere.
    """

    status: str
    values: tuple[int, ...]
    value: int
    bound: int
    charged: float
    seconds: float
    cut: bool


class Effort(Protocol):
    """Whatever shows what it took: seconds charged, seconds by the clock, and whether clock or caller cut it short."""

    @property
    def charged(self) -> float:
        """Seconds of the budget."""

    @property
    def seconds(self) -> float:
        """Seconds by the clock."""

    @property
    def cut(self) -> bool:
        """Whether another run may end elsewhere."""


Heartbeat = Callable[[float], bool]
"""Called with the seconds something is under way; a true answer ends it."""


def no_report(_: float) -> bool:
    """No one listens."""
    return False


class Runner(Protocol):
    """Makes an objective over rows as small as it gets within limits."""

    def __call__(
        self,
        rows: Rows,
        objective: Terms,
        limits: Limits,
        *,
        hint: Sequence[int] = (),
        report: Callable[[int, int, float], object] | None = None,
    ) -> Answer:
        """Run once."""
        ...


class Crew(Protocol):
    """Makes several runs at a time, each by one worker; the answers do not depend on how they share the machine."""

    def start(self, rows: Rows, objective: Terms, limits: Limits, hint: Sequence[int]) -> Callable[[], Answer]:
        """Begin a run; what is given back waits for its answer."""
        ...
