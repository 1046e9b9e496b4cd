"""Tuned constants of the timetable: each with its unit, its value and the bench that set it.

What the benches came to is kept in ``docs/decisions/timetable-model.md`` and ``tests/bench/results``; slots are 15 min.
"""

# timetable.search.solve: ``python -m tests.bench.timetable`` (shares, work and steps), work per second measured on one core.
WORK_PER_SECOND = 80_000
"""Person-days the search by lifting and putting down looks at in a second of one core: measured, docs/decisions."""
DET_PER_SECOND = 0.085
"""Deterministic seconds the solver does in a second of one core: measured, docs/decisions."""
LIFTING = 0.8
"""Share of the effort given to lifting and putting down; CP-SAT has the rest."""
IN_TIME = 0.2
"""Share of the effort given at most to each of the two questions whether nothing need be late: with 0.3 a crowded job shop
had too little left, with 0.15 one that can be in time was not found (``python -m tests.bench.job_shops``)."""
SLACK = 0.03
"""Share of the cost by which the timetable in hand may be dearer than the best, at the beginning of the first cycle."""
PIECES = 20
CYCLES = 5
CYCLE_WORK = 300
"""A cycle has no less work than this for each job: in a shorter one the leave to be dearer goes before it has been used."""
IDLE_CYCLES = 2
"""Cycles without a cheaper timetable after which the search ends; pieces of a cycle and cycles above."""
COOLER = 0.8
"""Factor on the slack from one cycle to the next."""
ROUNDS = 4
WAY_OUT = 200
"""From the second round on the search may be so much dearer than the best, twice in the third: two slots of lateness."""
REPAIR_LOOKS = 12_000
REPAIR_MODELS = 2
REPAIR_STEP = 0.02
PROOF = 0.05
"""Effort of one repair: person-days looked at, models around late work and their deterministic seconds, and that of the
proof that no fewer moves are possible; together under a second of one core at 600 tasks."""
LAPSE_TASKS = 3
LAPSE_DAYS = 3
LAPSE_STEP = 0.03
"""Repeats put back into their series in one repair, days tried for each, and deterministic seconds of each try."""
IDLE = 6
"""Solver steps in a row without gain after which it stops."""
STEP = 0.1
"""Deterministic seconds of one solver step."""
WHOLE = 60
"""Tasks up to which the solver is given the whole timetable at once."""
WHOLE_SHARE = 0.4
"""Share of the solver's effort for the whole timetable, where it is small enough."""
CROWDED = 200
CROWDED_SHARE = 0.5
"""Up to so many tasks, where some must be late, half of what is left of the effort goes to one model of them all: where
one machine is the neck, as in a job shop, that finds what lifting does not (``python -m tests.bench.job_shops``)."""
FREE = 40
"""Tasks freed together in one step."""


# timetable.search.chains: days; ``python -m tests.bench.timetable``.
CHAIN_DAYS_TRIED = 8
"""A chain is tried on so many days at the most."""


# timetable.search.cost: prices in strict order, so that no bench can change them without changing the order.
MOVE_COST = 100_000
"""Cost of moving a published time: more than the comfort of everything that can be laid out again with it."""
WHO_COST = 10_000
"""Cost of naming someone else at the published time."""


# timetable.search.model: slots and days; reach by ``python -m tests.bench.timetable``.
MOST_AWAY_SLOTS = 96 * 400
"""No lateness or distance is longer than this many slots."""
REACH_DAYS = 8
"""A freed job may go this many days beyond where it stands and where it is wanted."""


# timetable.search.placing: marks, no bench.
BEYOND = 1 << 60
"""Dearer than anything."""
LONGEST_DAY_SLOTS = 128
"""No day has so many slots."""


# timetable.search.recreate: cost; ``python -m tests.bench.timetable``.
SLACK_OF = 200_000
"""Slack is a share of the cost, but of no more than this: a hopelessly late timetable should only get better."""
UNPLACED_COST = 10**15
"""Cost of a job that stands nowhere: more than any lateness within a season."""


# timetable.search.repair: tasks; ``python -m tests.bench.timetable``.
REPAIR_REACH = 100
"""Up to so many tasks in reach it is proved that no fewer have to move."""
