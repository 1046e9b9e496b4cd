"""A person's hand in the plan: batches pinned to vats or kept out of some, vats kept free, ceilings for systems."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from intake.errors import BadInput, Finding
from intake.plan.problem import BatchNeed, Problem, StageNeed

__all__ = ["Pins", "pinned"]


@dataclass(frozen=True, slots=True)
class Pins:
    """What a person has decided before the search.

    Attributes
    ----------
    pin, keep_out
        Batch id → vats it is to be in, in every stage that one of them suits; and vats it is to stay out of.
    free
        Vats no newcomer gets.
    ceiling
        System id → share of the bench area of each of its vats, in percent, that newcomers may fill it to.
    """

    pin: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    keep_out: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    free: tuple[str, ...] = ()
    ceiling: Mapping[str, int] = field(default_factory=dict)

    def __bool__(self) -> bool:
        """Whether anything was decided."""
        return bool(self.pin or self.keep_out or self.free or self.ceiling)

    def as_dict(self) -> dict[str, object]:
        """The pins as plain data, as they are kept with a plan."""
        return {
            "pin": {batch: list(vats) for batch, vats in self.pin.items()},
            "keep_out": {batch: list(vats) for batch, vats in self.keep_out.items()},
            "free": list(self.free),
            "ceiling": dict(self.ceiling),
        }

    @classmethod
    def of(cls, told: Mapping[str, object]) -> Pins:
        """The pins from plain data."""
        return cls(
            {str(batch): tuple(vats) for batch, vats in dict(told.get("pin") or {}).items()},  # type: ignore[call-overload]
            {str(batch): tuple(vats) for batch, vats in dict(told.get("keep_out") or {}).items()},  # type: ignore[call-overload]
            tuple(told.get("free") or ()),  # type: ignore[arg-type]
            {str(name): int(share) for name, share in dict(told.get("ceiling") or {}).items()},  # type: ignore[call-overload]
        )

    def words(self) -> tuple[str, ...]:
        """Each decision as a sentence."""
        return (
            *(f"{batch} only in {', '.join(vats)}" for batch, vats in self.pin.items()),
            *(f"{batch} not in {', '.join(vats)}" for batch, vats in self.keep_out.items()),
            *(f"{vat} kept free" for vat in self.free),
            *(f"{system} filled to {share} % at most" for system, share in self.ceiling.items()),
        )


def pinned(problem: Problem, pins: Pins) -> Problem:
    """The problem as the pins leave it.

    Raises
    ------
    BadInput
        With a finding per fault: a batch, vat or system the problem does not have, a pin that suits no stage, a ceiling that is
        no percentage.  Pins of batches that are no longer to come are passed over by the caller, not here.
    """
    faults = _faults(problem, pins)
    if faults:
        raise BadInput(faults)
    return replace(
        problem,
        batches=tuple(_batch(one, pins) for one in problem.batches),
        vats=tuple(
            replace(vat, area_mm2=vat.area_mm2 * pins.ceiling[vat.system] // 100) if vat.system in pins.ceiling else vat
            for vat in problem.vats
        ),
    )


def _batch(batch: BatchNeed, pins: Pins) -> BatchNeed:
    return replace(batch, stages=tuple(_stage(batch.id, stage, pins) for stage in batch.stages))


def _stage(batch: str, stage: StageNeed, pins: Pins) -> StageNeed:
    shut = {*pins.free, *pins.keep_out.get(batch, ())}
    wanted = set(pins.pin.get(batch, ()))
    vats = tuple(vat for vat in stage.vats if vat not in shut)
    if wanted & set(stage.vats):
        vats = tuple(vat for vat in vats if vat in wanted)
    return replace(stage, vats=vats)


def _unfit(batch: BatchNeed, names: tuple[str, ...]) -> Finding:
    """A pin to vats that do not suit a batch: why where it is for a finding, and which do suit."""
    why = "; ".join(
        dict.fromkeys(
            opening.words
            for stage in batch.stages
            for opening in stage.opening
            if not set(names).isdisjoint(opening.vats)
        )
    )
    suited = ", ".join(dict.fromkeys(vat for stage in batch.stages for vat in stage.vats)) or "none does"
    return Finding(
        f"pin {batch.id}",
        ", ".join(names) + (f" ({why})" if why else ""),
        f"a vat that suits it: {suited}",
        "No rule is set aside by a pin.",
    )


def _faults(problem: Problem, pins: Pins) -> list[Finding]:
    batches = {one.id: one for one in problem.batches}
    vats, systems = {one.id for one in problem.vats}, {one.id for one in problem.systems}
    faults = []
    for what, told in (("pin", pins.pin), ("keep out", pins.keep_out)):
        for batch, names in told.items():
            if batch not in batches:
                faults.append(Finding(f"{what} {batch}", batch, "a batch that is to come"))
            faults += [Finding(f"{what} {batch}", name, "a vat of this farm") for name in names if name not in vats]
    for batch, names in pins.pin.items():
        if batch in batches and not {vat for stage in batches[batch].stages for vat in stage.vats} & set(names):
            faults.append(_unfit(batches[batch], names))
    faults += [Finding("keep free", name, "a vat of this farm") for name in pins.free if name not in vats]
    for system, share in pins.ceiling.items():
        if system not in systems or not 0 <= share <= 100:
            faults.append(Finding(f"ceiling {system}", str(share), "a system of this farm, and 0 to 100 percent"))
    return faults
