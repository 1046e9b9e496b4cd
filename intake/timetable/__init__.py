"""The timetable: who does what, where and when, from the needs of quarantine and what was published before."""

from intake.timetable.problem import Unplaced
from intake.timetable.schedule import schedule
from intake.timetable.solution import Change, Task, Timetable, as_dict
from intake.timetable.solve import Progress

__all__ = ["Change", "Progress", "Task", "Timetable", "Unplaced", "as_dict", "schedule"]
