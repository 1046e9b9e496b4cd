"""The timetable: who does which work at what hour, and what moves when the day does not hold."""
