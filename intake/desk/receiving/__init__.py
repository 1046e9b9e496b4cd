"""The receiving day at the desk: boxes in their order over the stations, kept, re-run as it slips, and on paper."""

from intake.desk.receiving.day import BAGS_IN_A_BOX, Slip, day_of, framed, prepared, prepared_by_system
from intake.desk.receiving.going_on import DayRun, going_on, keep_day, kept_day, records_of
from intake.desk.receiving.paper import BoxTurn, box_turns, current_day, runsheet_pdf, short_lanes, water_rows

__all__ = [
    "BAGS_IN_A_BOX",
    "BoxTurn",
    "DayRun",
    "Slip",
    "box_turns",
    "current_day",
    "day_of",
    "framed",
    "going_on",
    "keep_day",
    "kept_day",
    "prepared",
    "prepared_by_system",
    "records_of",
    "runsheet_pdf",
    "short_lanes",
    "water_rows",
]
