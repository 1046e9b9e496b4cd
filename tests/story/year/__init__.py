"""A year on an invented farm, run by command and judged from what the commands answer."""
