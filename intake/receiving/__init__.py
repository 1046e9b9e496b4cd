"""The receiving day: how animals come out of their bags, in which order, at which station, with how much water.

:mod:`intake.receiving.acclimation` has the way of one bag; here are the names of the whole day.
"""

from intake.receiving.box import BoxDraw, BoxLine, BoxNeed
from intake.receiving.framing import BoxFacts, Pace, arrival_dip, frame_day
from intake.receiving.landing import LandingStep, landing_steps, last_placings
from intake.receiving.preparation import (
    DipBaths,
    HourNeed,
    Preparation,
    acclimation_water_l,
    prepare,
    water_to_prepare_l,
)
from intake.receiving.problem import DayProblem, Hand, Lane, Taken, Underway
from intake.receiving.refusal import ClosedTooLong, Relief, closed_too_long, reliefs
from intake.receiving.solution import Aim, DayPlan, OpeningRow, Progress, Step, moved
from intake.receiving.solving.solve import replay, rerun, run_day, started_by

__all__ = [
    "Aim",
    "BoxDraw",
    "BoxFacts",
    "BoxLine",
    "BoxNeed",
    "ClosedTooLong",
    "DayPlan",
    "DayProblem",
    "DipBaths",
    "Hand",
    "HourNeed",
    "LandingStep",
    "Lane",
    "OpeningRow",
    "Pace",
    "Preparation",
    "Progress",
    "Relief",
    "Step",
    "Taken",
    "Underway",
    "acclimation_water_l",
    "arrival_dip",
    "closed_too_long",
    "frame_day",
    "landing_steps",
    "last_placings",
    "moved",
    "prepare",
    "reliefs",
    "replay",
    "rerun",
    "run_day",
    "started_by",
    "water_to_prepare_l",
]
