"""Work of a whole system on a day: death rounds, the farm's own routines, the care of newly landed lots."""
