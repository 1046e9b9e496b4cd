"""The vat plan: how many animals of each batch are in which vat, when, and what must leave."""

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from intake.plan.framing import Arrival, Commitment, frame
    from intake.plan.problem import BatchNeed, Grown, Problem, StageNeed, Standing, SystemOffer, VatOffer
    from intake.plan.solution import Relief, Solution

__all__ = [
    "Arrival",
    "BatchNeed",
    "Commitment",
    "Grown",
    "Problem",
    "Relief",
    "Solution",
    "StageNeed",
    "Standing",
    "SystemOffer",
    "VatOffer",
    "frame",
]

_HOMES = {
    "Arrival": "framing",
    "BatchNeed": "problem",
    "Grown": "problem",
    "Commitment": "framing",
    "Problem": "problem",
    "Relief": "solution",
    "Solution": "solution",
    "StageNeed": "problem",
    "Standing": "problem",
    "SystemOffer": "problem",
    "VatOffer": "problem",
    "frame": "framing",
}
"""Name → module it is in: read when it is asked for, so that a count does not draw in every solver.  The solver itself is
asked for by its own module, which has its name."""


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


class _Room(ModuleType):
    """Keeps the function ``solve`` under that name: importing its module of the same name would put the module there."""

    def __setattr__(self, name: str, value: object) -> None:
        super().__setattr__(name, vars(value)[name] if name == "solve" and isinstance(value, ModuleType) else value)


sys.modules[__name__].__class__ = _Room
