"""Tuned constants of the vat plan: each with its unit, its value and the bench that set it.

``plan 60/40`` stands for ``python -m tests.bench.plan --sizes 60/40``, and so on; what the benches came to is kept in
``tests/bench/results/vat-plan.md``.  A name says its unit (seconds, rows, vats, steps, share of the time, price of a step's
objective); before each group stand its module and its bench.
"""

MOST_BRANCHED_ROWS = 8_000
"""Rows (count) above which an aggregated part is bounded by its linear relaxation: presolving more takes longer than it is
worth. Set by ``tests/bench/plan.py`` at 200/150."""

MOST_STARTING_ROWS = 3_000
"""Rows (count) of the aggregated model above which the search does not start from it: the start alone would take longer
than the rest of the search. Set by ``tests/bench/plan.py`` at 60/40 and 200/150."""

# framing: days; a mark, no bench.
BEYOND_EVERY_PLAN = 10_000
"""Stock without a day of leaving stays beyond every plan."""

GROWTH_DAYS = 7
"""Days for which an animal is counted at one size: growth and sales are known by the week at best."""


# answers.water_forecast: count; design default, no bench.
FEWEST_LANDINGS = 3
"""Fewest landings that make a rhythm."""


# answers.capacity: count; design default, no bench.
CAPACITY_MOST_MULTIPLE = 16
"""No shipment larger than this many times the mix is tried."""


# answers.least_change_replan: places, vats; plan 60/40.
REPLAN_WHOLE_PLACES = 2500
REPLAN_ROOMIEST_VATS = 6
"""Up to so many places (batch × stage × suited vat) every suited vat is considered; beyond, those of either plan and
the roomiest few."""


PROMISED_WEIGHT = 200
"""An animal with a place in an accepted plan counts as so many without: bounds grow loose with greater ratios."""


# shortage: count, facts; design defaults, no bench.
REASONS_MOST_PLANNED = 60_000
"""Batches planned again without a fact, times the vats of the farm, at most: beyond, facts in the way are reported untried."""

REASONS_MOST_TOLD = 6
"""Facts reported for one batch, those that would help most first."""


# answers.relief_options: min, min, count; design defaults, no bench.
DAY_MINUTES = 30.0
"""What each day of waiting is priced at, in minutes of work: animals held back cost somebody keeping and orders. A
design default, no source."""

OFFICE_MINUTES = 30.0
"""Paper work of agreeing another landing or another count with a supplier: a design default, no source."""

RELIEFS_MOST_TRIED = 32
RELIEFS_MOST_PAIRS = 4
RELIEFS_MOST_SEARCHED = 14
"""Reliefs planned again at most, the most promising of each kind first; two together where none alone is enough; and searches
among which the time is divided."""

RELIEF_RANKS = 20
"""Reliefs are ranked by what they place, in so many steps from none to all; within a step by cost."""


# answers.worth: times the cheapest, count; design defaults, no bench.
WORTH_MOST = 200
"""Most an animal counts against the cheapest, however dear it is: bounds grow loose with greater ratios."""

LINES_NAMED = 4
"""Lines without a price that are named one by one; of more only the number is said."""


# answers.landing_days: days, share, count; design defaults, no bench.
DELAY_MOST_DAYS = 90
DELAY_NEARLY_ALL = 0.9
DELAY_PLACES_TRIED = 40_000
"""Longest wait offered; the share of the best day's gain that a sooner day must reach to be offered beside it; and days tried
by first fit times places to choose from, at most."""

STRAY_PERCENT = 25
"""Percent of a quarantine water's bench area up to which those who stand in it are strays: design default, no bench."""

STRAYS_MOVE_DAY = 1
"""Day on which strays would move, from the day of the plan: animals are not carried between waters the same day; no bench."""


# model.objectives: vats, days; design defaults, no bench.
LOT_WATER_PRICE = 2
STRANGER_PRICE = 3
"""A lot divided over one more quarantine water, and a batch in a water meant for others, count as much as so many vats: strays
then join their own kind instead of opening, or blocking, a water."""

LOT_WATER_DAYS = 7
"""A further quarantine water of a shipment counts as so many days of waiting of all its animals: design default, measured by
``python -m tests.story.year``."""

WATER_PRICE = 5
"""A batch divided over one more quarantine water counts as much as so many vats: what is found in one of its waters
then holds the other as well."""


# relaxations.aggregated_quarantine: groups; plan 60/40.
SIDES_MOST_GROUPS = 8
"""With more groups in a lot than this, not all sides are looked at."""


# relaxations.lower_bound: share of time; plan 200/150.
CURVES_SHARE = 0.5
CURVES_SHARE_LARGE = 0.8
"""Share of a part's time for what a supplier must leave over when it holds few waters, and of a part too large for
more."""

SUPPLIER_COUNT_SHARE = 0.2
"""Share of a part's time for waters counted by supplier alone."""

PART_SHARE = 0.5
"""Share of the time left for each part but the last and largest; small parts use little and gain most."""

LINEAR_SHARE = 0.7
LINES_FACTOR = 1.1
"""Most of a part's time for the linear relaxation of all of its aggregated quarantine; and how much the lines of curves
add to what that takes."""


# relaxations.partial_aggregation: s; plan 60/40.
PACKING_SECONDS = 0.3
"""Time to fit what one lot was counted for into its vats."""


# relaxations.supplier_curves: s, s, count; plan 200/150.
RUN_SECONDS = 0.01
"""What handing a small model over costs, beside the solver's own work."""

CURVE_SECONDS = 0.5
"""The time of one run."""

CURVE_HALVINGS = 2
"""How often the gap between two points of a curve is halved in search of a better row."""


# search.aggregate_lns: plan 200/150.
AGGREGATE_ANIMAL_PRICE = 10_000
AGGREGATE_VAT_PRICE = 2
AGGREGATE_PORTION_PRICE = 1
"""Prices of a weighted animal left over, of a vat a lot uses and of a vat a batch uses, so that few are used."""

AGGREGATE_WATER_RANGE = 11
AGGREGATE_WATER_LEAST = 5
"""A stretch of water is priced by chance, from the second figure on below their sum, so that no step looks like
another."""

PERTURBATION_FACTOR = 50
"""Penalty factor for unplaced animals of the lot being inserted."""

AGGREGATE_FEWEST_LOTS = 3.0
AGGREGATE_FIRST_LOTS = 5.0
"""Lots re-optimised in one step: more while steps are solved to their end in little time, fewer while they are not."""

AGGREGATE_STEP_SECONDS = 0.4
AGGREGATE_PATIENT_AFTER = 15
AGGREGATE_MOST_PATIENT = 6.0
"""Time for a step; after so many in vain twice as much, and how many times as much at most."""

AGGREGATE_ADOPT_AFTER = 20
AGGREGATE_GIVE_UP = 400
"""Steps in vain after which a search thread goes on from the best one, and after which no search thread is followed any
more."""

AGGREGATE_SECONDS_PER_STEP = 0.08
AGGREGATE_SECONDS_PER_ENTRY = 6e-6
"""What a step, and each entry of its rows, cost besides the solver's search: its presolve is not in its own account."""


# search.candidates: vats; plan 200/150 and 500/400.
OFFERED_VATS = 40
"""Vats offered to one batch in one stage of a step."""

OFFERED_VATS_BESIDE = 6
"""Vats offered in a stage that is not looked at."""


# search.destroy_and_repair: price, s; plan 60/40.
STEP_ANIMAL_PRICE = 1000
"""Worth of an animal against one vat more, so that compactness decides only between equals."""

STEP_LOT_PRICE = 2
STEP_WATER_PRICE = 10
STEP_PORTION_PRICE = 1
"""Prices of a quarantine vat, of a stretch of quarantine water and of a portion: compact plans leave room for others."""

STEP_HELD_SCALE = 100
STEP_HELD_PRICE = 1
"""Where batches may wait for others: an animal left over is so many times dearer, so that it outweighs days of waiting, and the
price of an animal-day held."""

ENDS_OFFERED = 5
"""Days of release offered to a batch in a step, the earliest first, beside the one it is planned for."""

STEP_OVERHEAD_SECONDS = 0.016
STEP_SECONDS_PER_ENTRY = 2.2e-5
"""What a step, and each entry of its rows, cost besides the solver's search, so that steps are charged for all they do."""


# search.driver: plan 60/40 and 200/150.
WIDE_PLACES = 4000
"""Places times days of release to choose from up to which the exact model has them all: beyond, the days of the plan in hand and
each batch's own."""

SMALL_PLACES = 600
LARGE_PLACES = 2500
"""Places to choose from (batch × stage × suited vat): up to the first the exact model alone is best, beyond the second
it is too slow to be tried whole."""

OBJECTIVE_SHARES = (0.5, 0.1, 0.1, 0.15, 0.1, 0.05)
"""Each objective's share of the time, in their order; what one leaves unused goes to the next."""

ROUNDS = ((0.15, 0.05), (0.4, 0.12), (0.13, 0.1))
ROUNDS_LARGE = ((0.45, 0.53),)
ROUNDS_SHORT = ((0.65, 0.15),)
SHORT_SECONDS = 5.0
"""Shares of the first objective's time left for neighbourhood search and for the bound, by turns; the rest is the exact
model's. Too many turns leave none of them time for a step when there are only so few seconds."""

ASSIGNMENT_SHARE = 0.1
AGGREGATE_SHARE = 0.35
PLACEMENT_SHARE = 0.15
"""Shares of the first objective's time, at most, for assigning waters, for re-optimising a few lots at a time (on a large
farm), and for a plan made of either."""

PARTIAL_SHARE = 0.9
PARTIAL_FIRST_SHARE = 0.25
PARTIAL_LEAST_SECONDS = 2.0
TAKE_IN_SECONDS = 2.0
"""Share of what is then left of the first objective's time for the model of partial aggregation, of that for its first run,
the least time in which it is tried once more, and the time to make a plan of what it found."""

NEAR_FACTOR = 1.05
CLOSE_FACTOR = 1.02
"""A plan that leaves over so many times the bound, and no more, is near enough: waters need not be reassigned, and a
proof is tried without any search."""

FAR_FACTOR = 1.3
FAR_SHARE = 0.7
"""A plan that leaves over more times the bound than this is left for a search from first fit, for this share of the time, and
partial aggregation is left out while it is: release is what it relaxes, and release decides there. ``tests/bench/plan.py``,
60/40 #21."""

ELIMINATION_SHARE = 0.5
"""Share of the time of the objective *vats and splits* for vat elimination."""

NODES_PER_SECOND = 10
"""Nodes of branching on aggregated quarantine for each second of the first objective."""


# search.lot_placement: s, steps; plan 200/150.
LOT_SECONDS = 0.6
"""Time to place one lot."""

PLACEMENT_STALE_STEPS = 20
"""Steps in a row without a gain after which other stages are no longer reassigned."""


# search.neighborhoods: plan 60/40 and 200/150.
STALE_STEPS = 400
"""Steps in a row that gain nothing after which the search gives up."""

FEWEST_RELAXED = 3.0
FIRST_RELAXED = 10.0
MOST_RELAXED = 40.0
"""Batches relaxed in one step: it grows while steps are solved to the end, and shrinks when they are not."""

STEP_SECONDS = 0.5
"""Time for one step."""

RELAXED_STOCK = 6
"""Movable stock relaxed in a step."""

WHOLE_BATCHES = 60
WHOLE_AFTER_STEPS = 8
WHOLE_SECONDS = 1.5
WHOLE_LONGEST_SECONDS = 8.0
"""Most batches with which everybody is relaxed at once, the steps in vain after which that is done, and for how long:
twice as long each time it is in vain, to the last figure."""

EJECT_AFTER_STEPS = 14
"""Steps in vain after which a lot ejects others."""

CURIOSITY = 1.0
"""Chance given to every kind alike, against that given by record."""

PATIENT_AFTER_STEPS = 15
MOST_PATIENT_FACTOR = 6.0
"""Steps in vain after which steps are twice as large and long, and how many times as large they become at most."""

RECORD_MEMORY = 0.9
"""What is kept, from step to step, of the record of gains."""


# search.vat_elimination: s; plan 60/40 with all objectives.
ELIMINATION_TRY_SECONDS = 1.5
"""Time to find room for the animals of one vat."""


# search.water_assignment: price; plan 200/150.
ASSIGNMENT_ANIMAL_PRICE = 1000
ASSIGNMENT_WATER_PRICE = 10
ASSIGNMENT_VAT_PRICE = 2
"""Prices of an animal without a place, of a stretch of water and of a vat: as in the steps that model individual vats."""


# search.water_assignment_lns: plan 200/150.
ASSIGNMENT_STEP_SECONDS = 0.4
ASSIGNMENT_FEWEST_WATERS = 2.0
ASSIGNMENT_FIRST_WATERS = 4.0
ASSIGNMENT_MOST_WATERS = 12.0
"""Waters reassigned in one step: more while steps are solved to the end, fewer while they are not."""

ASSIGNMENT_GUESTS = 8
"""Parties that lack room and are asked to a step beside those who stand in its waters."""

ASSIGNMENT_BESIDE_WATERS = 2
"""Waters, of those it has, in which a party's other stages are reassigned as well."""

ASSIGNMENT_STALE_STEPS = 60
"""Steps in a row without a gain after which nothing more is looked for."""

ASSIGNMENT_OVERHEAD_SECONDS = 0.06
"""What a step costs beside the solver's own work: its presolve is not in its own account."""

FILL_SECONDS = 1.5e-4
"""What it is charged to see how well one supplier's animals fit one water: 0.5 to 1.7 of 10⁻⁴ s were measured."""


# solvers.cpsat: factor, s, s; plan 60/40 under load.
BRAKE_FACTOR = 3.0
BRAKE_LEAST_SECONDS = 2.0
BRAKE_BRIEF_SECONDS = 10.0
"""A run that takes this many times its seconds is cut by the wall clock, and is then not reproducible; but not before
it has had so many seconds, or so many if it is brief: what is meant to be short may wait for a core on a busy
machine."""


# solvers.highs: plan 60/40 and 200/150.
HIGHS_BRAKE_FACTOR = 6.0
HIGHS_BRAKE_LEAST_SECONDS = 20.0
"""A run that takes this many times the seconds it is charged, and so many at least, is cut by the clock: the answer
then depends on the machine."""

HIGHS_START_SECONDS_PER_ENTRY = 4e-4
HIGHS_SECONDS_PER_NODE_ENTRY = 5e-6
"""What each entry of the rows is charged before branching begins and at each node: a rough fit to the times in
tests/bench/results/vat-plan-bounds.md, half of the time to twice as much, and up to eight times where 0.2 s were enough."""

LINEAR_SECONDS = 1.6
LINEAR_ENTRIES = 65_000
LINEAR_GROWTH = 1.8
"""Rows with so many entries took so long without branching, by the interior point method, and others as this power of
their entries: 1.3 to 1.8 s at 55,000 to 75,000 entries, 3.5 s at 95,000, 78 s at 540,000."""

WHOLE_TOLERANCE = 1e-4
"""A bound this little above a whole number is that number."""


# solvers.interface: deterministic s; plan 60/40.
RATE_ALONE = 0.55
RATE_INTERLEAVED = 0.93
"""Deterministic seconds that count for one second, of one worker and of several in turns."""

OVERRUN_SECONDS = 6.0
LEAST_ASKED_SHARE = 0.25
"""Interleaved search was seen to use 2 to 6 deterministic seconds more than it was given, whatever that was (ortools
9.15 on two cores); so much less is asked for, but so many at least for a second."""

AT_ONCE = 2
"""Runs a crew makes at the same time."""


# model.release_dates: days; design default, no bench.
MOST_DAYS_HELD = 28
"""Most days a batch is planned to be held in quarantine because of other lots in its water: longer waits are no plan."""


# search.release_sooner: s, batches; plan 60/40.
SOONER_STEP_SECONDS = 1.0
SOONER_BESIDE = 14
"""Time for one step, and batches relaxed in it beside the one that waits."""
