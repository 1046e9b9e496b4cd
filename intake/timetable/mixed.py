"""Mixed salt water as something that runs out: what the mixing tank holds and what each task draws from it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import ceil

from intake.errors import BadInput, Finding
from intake.quarantine.needs import Need

__all__ = ["PreparedWater", "litres_by_count"]

_WET = frozenset({"acclimation", "dip"})


@dataclass(frozen=True, slots=True)
class PreparedWater:
    """The mixing tank and what is drawn from it.

    Attributes
    ----------
    tank_l
        Liters of mixed water that stand ready at once.
    refill_minutes
        Minutes after the end of the work until what it drew is mixed again, saturated with air and at temperature.
    drawn_l
        Uid of a need → liters it draws when it begins; what is not named draws none.

    Raises
    ------
    BadInput
        For a tank that holds nothing, a negative time or a negative amount.
    """

    tank_l: float
    refill_minutes: int
    drawn_l: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        faults = []
        if not self.tank_l > 0:
            faults.append(Finding("mixing tank, L", f"{self.tank_l:g}", "more than 0"))
        if self.refill_minutes < 0:
            faults.append(Finding("mixing tank, refill, min", f"{self.refill_minutes}", "0 or more"))
        faults += [
            Finding(f"mixed water for {uid}, L", f"{litres:g}", "0 or more")
            for uid, litres in sorted(self.drawn_l.items())
            if not litres >= 0
        ]
        if faults:
            raise BadInput(faults)


def litres_by_count(needs: Iterable[Need], *, bath_l: float, animals_a_bath: int) -> dict[str, float]:
    """Liters each acclimation and dip draws: as many baths as its animals need, each filled once.

    Parameters
    ----------
    bath_l
        Liters of one bath or acclimation tub, more than 0.
    animals_a_bath
        Animals that share one bath before it is changed, 1 or more: the farm's own habit, no source.

    Raises
    ------
    BadInput
        For a bath that holds nothing or no one.
    """
    faults = []
    if not bath_l > 0:
        faults.append(Finding("bath, L", f"{bath_l:g}", "more than 0"))
    if animals_a_bath < 1:
        faults.append(Finding("animals a bath", f"{animals_a_bath}", "1 or more"))
    if faults:
        raise BadInput(faults)
    return {
        need.uid: bath_l * ceil(need.headcount / animals_a_bath)
        for need in needs
        if need.kind in _WET and need.headcount > 0
    }
