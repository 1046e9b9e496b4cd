"""The vat plan: how many animals of each batch are in which vat, when, and what must leave."""

from intake.plan.framing import Arrival, Commitment, frame
from intake.plan.problem import BatchNeed, Problem, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.solution import Relief, Solution
from intake.plan.solve import solve

__all__ = [
    "Arrival",
    "BatchNeed",
    "Commitment",
    "Problem",
    "Relief",
    "Solution",
    "StageNeed",
    "Standing",
    "SystemOffer",
    "VatOffer",
    "frame",
    "solve",
]
