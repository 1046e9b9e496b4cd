"""What a timetable answers beside its tasks: why, what moved, what is late or unplaced, and which skills are short."""
