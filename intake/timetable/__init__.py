"""The timetable: who does what, where and when, from the needs of quarantine and what was published before."""

from intake.timetable.mixed import PreparedWater, litres_by_count
from intake.timetable.problem import Unplaced
from intake.timetable.relief import Relief, reliefs, with_reliefs
from intake.timetable.schedule import schedule
from intake.timetable.solution import Change, Task, Timetable, as_dict
from intake.timetable.solve import Progress
from intake.timetable.sun import dusk_times

__all__ = [
    "Change",
    "PreparedWater",
    "Progress",
    "Relief",
    "Task",
    "Timetable",
    "Unplaced",
    "as_dict",
    "dusk_times",
    "litres_by_count",
    "reliefs",
    "schedule",
    "with_reliefs",
]
