"""The receiving day: how animals come out of their bags, in which order, at which station, with how much water.

:mod:`intake.receiving.acclimation` has the way of one bag; here are the names of the whole day.
"""

from intake.receiving.box import BoxLine, BoxNeed
from intake.receiving.framing import BoxFacts, Pace, arrival_dip, frame_day
from intake.receiving.preparation import (
    DipBaths,
    HourNeed,
    Preparation,
    acclimation_water_l,
    prepare,
    water_to_prepare_l,
)
from intake.receiving.problem import DayProblem, Hand, Lane, Underway
from intake.receiving.solution import Aim, DayPlan, OpeningRow, Progress, Step, moved
from intake.receiving.solve import rerun, run_day, started_by

__all__ = [
    "Aim",
    "BoxFacts",
    "BoxLine",
    "BoxNeed",
    "DayPlan",
    "DayProblem",
    "DipBaths",
    "Hand",
    "HourNeed",
    "Lane",
    "OpeningRow",
    "Pace",
    "Preparation",
    "Progress",
    "Step",
    "Underway",
    "acclimation_water_l",
    "arrival_dip",
    "frame_day",
    "moved",
    "prepare",
    "rerun",
    "run_day",
    "started_by",
    "water_to_prepare_l",
]
