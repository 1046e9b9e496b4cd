"""Tuned constants of the vat plan: each with its unit, its value and the bench that set it."""

MOST_BRANCHED_ROWS = 8_000
"""Rows (count) above which an aggregated part is bounded by its linear relaxation: presolving more takes longer than it is
worth. Set by ``tests/bench/plan.py`` at 200/150."""

MOST_STARTING_ROWS = 3_000
"""Rows (count) of the aggregated model above which the search does not start from it: the start alone would take longer
than the rest of the search. Set by ``tests/bench/plan.py`` at 60/40 and 200/150."""
