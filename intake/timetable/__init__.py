"""The timetable: who does what, where and when, from the needs of quarantine and what was published before."""

from intake.timetable.answers.skills import Lacking, lacking
from intake.timetable.holding import not_holding
from intake.timetable.mixed import PreparedWater, litres_by_count
from intake.timetable.problem import Unplaced
from intake.timetable.relief import Relief, reliefs, with_reliefs
from intake.timetable.schedule import Conditions, repair, schedule
from intake.timetable.search.replan import GRACE_H
from intake.timetable.search.solve import Progress
from intake.timetable.solution import Change, Task, Timetable, as_dict
from intake.timetable.sun import dusk_times

__all__ = [
    "GRACE_H",
    "Change",
    "Conditions",
    "Lacking",
    "PreparedWater",
    "Progress",
    "Relief",
    "Task",
    "Timetable",
    "Unplaced",
    "as_dict",
    "dusk_times",
    "lacking",
    "litres_by_count",
    "not_holding",
    "reliefs",
    "repair",
    "schedule",
    "with_reliefs",
]
