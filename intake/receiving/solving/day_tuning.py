"""Tuned constants of the receiving day: each with its unit, its value and the bench that set it.

What the bench came to stands in ``docs/decisions/receiving-day.md``.
"""

# receiving.solving.solve: ``python -m tests.bench.receiving``.
SHARES = (0.15, 0.25, 0.2, 0.6, 1.0)
"""Part of the effort still left that each aim may use."""
PROOF_SHARE, PROOF_EFFORT, PROOF_STEP = 0.25, 0.01, 4
"""Part of the effort left to the finish that goes to the bound on it, what asking whether the day can end by a minute may take
of it (0.3 s at 20 boxes), and the minutes above the bound by work alone that are asked about first.  Not asked from
``LARGE_DAY`` on: at 40 boxes no minute was gained."""
MOST_WORK, WORK_OF_BOXES = 0.3, 1.8
"""Units of the solver's own deterministic measure per second asked for: at most, and over the number of boxes, since a
unit takes the longer the larger the day (measured: 14 s at 60 boxes)."""
PLACED_PER_SECOND = 14_000
"""Boxes placed per second asked for: about half of it."""
LARGE_DAY, LARGE_TIMES = 36, 2
"""From so many boxes on the solver improves little: so many times the orders are tried, and half of the moves let two boxes
change turns (60 boxes: 18.5, 12.0 and 37.1 h past red instead of 29.7, 15.1 and 55.6)."""
TRIES_PER_BOX = 100
"""Orders tried at most, per box of the day: small days are left to the solver, which proves them."""
BRAKE = 8.0
"""Times the seconds asked for after which the wall clock stops the solver and the plan is marked not reproducible."""
RERUN_SECONDS = 0.5
"""Work of a re-run by default, in the measure of ``seconds`` (bench: under 2 s by the clock at 60 boxes)."""


# receiving.solving.keeping: design default; a scale.
MOVE_PRICE = 1000
"""What moving one unopened box costs: 10 minutes in the bag at sensitivity 1, in hundredths (design default: the crew has
read its sheet and stands at its tables)."""
FINISH_SCALE = 100
"""The last aim counts minutes; the others hundredths of sensitivity × minutes."""


# receiving.solving.order_search: turns; ``python -m tests.bench.receiving``.
NEAR = 6
"""Half of the moves go at most so many turns away: cheap to place again, and most often what helps."""


# receiving.solving.resource_prices: ``python -m tests.bench.receiving``.
PRICE_ROUNDS, PRICE_ROUNDS_PER_SECOND = 100, 20
"""Rounds of the search for prices, for each aim: at most, and per second asked for (3 to 10 ms each at 40 to 60 boxes)."""
PRICE_SCALE = 64
"""Parts of a hundredth of sensitivity × minute in which prices are counted."""
PRICE_BLOCK = 10
"""Minutes that share a price (1 minute each: the same bound in ten times the rounds)."""
PRICE_MEMORY = 0.7
"""Share of the last direction kept in the next."""
PRICE_PATIENCE = 12
"""Rounds without a better bound before the step is halved."""
PRICE_OF_AIM = 100.0
"""Hundredths of sensitivity × minute of a kept aim that weigh as much as one minute of a resource used beyond what is there."""

MOST_SETS = 5
"""So many different sets of able people are joined in every way; beyond, each set and all together (a scale)."""
