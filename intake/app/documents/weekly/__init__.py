"""Papers of the weeks after landing: calendar of the sheet, dip log, round, history, suppliers."""
