"""Edges of the plan's question and of its plain answers: days that end today, closures, promises, shares, overlaps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.farm.floor import Closure, Floor, Freedom, Hold, Stay
from intake.library import load
from intake.plan import Arrival, BatchNeed, Problem, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.answers.capacity import _share
from intake.plan.answers.landing_days import change_days
from intake.plan.answers.longer_holds import days_to_hold, held_until, lots_held
from intake.plan.answers.relief_ideas import _split
from intake.plan.answers.vat_space import space
from intake.plan.answers.water_forecast import Rhythm, WaterForecast, _of_water, rhythm
from intake.plan.framing import Commitment, frame
from intake.plan.model.occupancy import Occupant
from intake.plan.model.overlap import cliques, together
from intake.plan.problem import Opening
from intake.plan.solve import solve
from intake.plan.tuning import BEYOND_EVERY_PLAN, DELAY_MOST_DAYS
from tests.plan.farm import TODAY, arrivals, batch, floor, site
from tests.plan.test_release_dates import ZERO, farm, present
from tests.plan.test_release_dates import batch as need

LIBRARY = load()
DAY = timedelta(days=1)
NOON = datetime(2030, 3, 1, 12, tzinfo=UTC)


def framed(here: Floor, *, coming: Sequence[Arrival] | None = None, more: str = "", **options: Any) -> Problem:
    """The plan's question of the invented farm."""
    return frame(site(more), LIBRARY, here, arrivals() if coming is None else coming, TODAY, **options)


# ── who stands there, and until when ────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("days_ago", "until"), [(41, 1), (42, BEYOND_EVERY_PLAN), (60, BEYOND_EVERY_PLAN), (0, 42)])
def test_a_quarantine_that_ends_today_says_nothing_of_the_day_of_leaving(days_ago: int, until: int) -> None:
    """Clams stay 42 days; tomorrow is a day, today and earlier are none: the stock is taken to stay."""
    here = floor()
    here = replace(here, stays=(replace(here.stays[0], since=NOON - days_ago * DAY),))
    (one,) = framed(here, coming=[]).standing
    assert (one.from_day, one.until_day, one.served_day) == (-days_ago, until, 42 - days_ago)


def test_stock_that_landed_in_days_to_come_stands_from_today() -> None:
    """A clock that ran ahead puts nobody into the future."""
    here = floor()
    here = replace(here, stays=(replace(here.stays[0], since=NOON + 2 * DAY),))
    assert framed(here, coming=[]).standing[0].from_day == 0


def test_stock_on_hold_is_never_moved_and_stays() -> None:
    """Held, it has no day; lifted, it has the group's."""
    here = floor()
    hold = Hold("S0-01", "gaping", NOON)
    held = framed(replace(here, holds=(hold,)), movable=("S0-01", "H1")).standing[0]
    assert (held.until_day, held.served_day, held.movable) == (BEYOND_EVERY_PLAN, BEYOND_EVERY_PLAN, False)
    lifted = framed(replace(here, holds=(replace(hold, lifted="clear"),)), movable=("S0-01",)).standing[0]
    assert lifted.until_day == 42 - 19
    healthy = framed(here, movable=("H1",)).standing[1]
    assert (healthy.movable, healthy.served_day, "Ga" in healthy.move_to) == (True, 0, False)
    assert healthy.move_day == 4, "the first landing is in four days, and grow-out needs no fallow days"


@pytest.mark.parametrize(("free_in", "movable"), [(6, True), (7, False)])
def test_quarantine_stock_moves_only_when_served_before_the_fallow_days(free_in: int, movable: bool) -> None:
    """The first landing is in nine days, the vat needs three of them: served by day 6 it may go, on day 7 not."""
    told = Freedom(
        batch="S0-01",
        stage="quarantine",
        entered=NOON - 19 * DAY,
        own_end=NOON + free_in * DAY,
        free_from=NOON + free_in * DAY,
        set_by="S0-01",
        waters=("Q1",),
        unknown=(),
        why=(),
        sooner=(),
    )
    here = floor()
    coming = [one for one in arrivals() if one.shipment == "S1"]
    options: dict[str, Any] = {"movable": ("S0-01",), "leave": {("S0-01", "Q1a"): date(2030, 3, 30)}, "coming": coming}
    one = framed(here, free={("S0-01", "quarantine"): told}, **options).standing[0]
    assert (one.move_day, one.served_day, one.movable, one.until_day) == (6, free_in, movable, 29)
    assert framed(here, free={}, **options).standing[0].served_day == BEYOND_EVERY_PLAN
    gone = {**options, "leave": {("S0-01", "Q1a"): date(2030, 3, 7)}}
    assert not framed(here, free={("S0-01", "quarantine"): told}, **gone).standing[0].movable, "gone by then anyway"
    assert framed(here, free={}, **{**options, "leave": {}}).standing[0].until_day == BEYOND_EVERY_PLAN


# ── promises of accepted plans ──────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("start", "until", "kept"),
    [(date(2030, 3, 2), date(2030, 3, 9), True), (TODAY, date(2030, 3, 9), False), (date(2030, 2, 1), TODAY, False)],
)
def test_a_promise_counts_from_tomorrow_for_those_who_stand_there_already(start: date, until: date, kept: bool) -> None:
    """What began today, or ended, is what the floor says."""
    promised = Commitment("S0-01", "Ga", "grow-out", 30, start, until)
    found = [one for one in framed(floor(), coming=[], commitments=[promised]).standing if one.stage == "grow-out"]
    assert [one.batch for one in found if one.batch == "S0-01"] == (["S0-01"] if kept else [])


def test_promises_are_cut_to_the_animals_alive_in_the_order_of_their_days() -> None:
    """Thirty alive, forty-five promised to two vats of one stage: twenty in the first, ten in the later, none in a third."""
    rows = [
        Commitment("S0-01", "Gb", "grow-out", 15, date(2030, 3, 25), date(2030, 4, 7)),
        Commitment("S0-01", "Ga", "grow-out", 20, date(2030, 3, 24), date(2030, 4, 7)),
        Commitment("S0-01", "Gc", "grow-out", 10, date(2030, 3, 26), date(2030, 4, 7)),
    ]
    found = [one for one in framed(floor(), coming=[], commitments=rows).standing if one.from_day > 0]
    assert [(one.vat, one.count, one.from_day, one.until_day) for one in found] == [
        ("Ga", 20, 23, 37),
        ("Gb", 10, 24, 37),
    ]


# ── closed vats ─────────────────────────────────────────────────────────────────────────────────────────────────────


def closed(here: Floor, vat: str) -> tuple[tuple[int, int], ...]:
    """Days on which a vat holds nobody."""
    return next(one.closed for one in framed(here, coming=[]).vats if one.id == vat)


def test_a_vat_closed_by_hand_is_closed_to_its_day_and_today_at_least() -> None:
    """Until the 5th: days 0 to 4; until today: today; without an end: beyond every plan; over since yesterday: open."""
    since = NOON - 3 * DAY
    for until, days in (
        (NOON + 4 * DAY, [(-3, 4)]),
        (NOON, [(-3, 1)]),
        (None, [(-3, BEYOND_EVERY_PLAN)]),
        (NOON - DAY, []),
    ):
        here = replace(floor(), closures=(Closure("Ca", since, until, "leak"),))
        assert list(closed(here, "Ca")) == days
        assert closed(here, "Ga") == ()


def test_a_vat_opened_within_a_closure_of_the_file_is_open_and_before_it_is_not() -> None:
    """20 to 25 April, both included: 50 to 55 days from today; opened on the 20th it is open, on the 19th not yet."""
    assert closed(floor(), "Gb") == ((50, 56),)
    for day, days in ((19, ((50, 56),)), (20, ())):
        opened = datetime(2030, 4, day, 12, tzinfo=UTC)
        assert closed(replace(floor(), opened={"Gb": opened}), "Gb") == days


# ── what each animal needs ──────────────────────────────────────────────────────────────────────────────────────────


def test_a_small_batch_keeps_together_and_fighters_may_stand_alone() -> None:
    """At least five in a vat, or the whole batch where it is smaller; one by one where the kind may not share a vat."""
    coming = [
        Arrival(
            "S1", "one", date(2030, 3, 10), (batch("S1-01", "clam_small", 40, 4), batch("S1-02", "zoanthid", 40, 9))
        )
    ]
    assert [one.min_portion for one in framed(floor(), coming=coming).batches] == [4, 5]
    lonely = next(group for group in LIBRARY.groups if LIBRARY.apart(group, group) in {"vat", "water"})
    (one,) = framed(floor(), coming=[Arrival("S1", "one", date(2030, 3, 10), (batch("S1-01", lonely, 60, 9),))]).batches
    assert one.min_portion == 1


@pytest.mark.parametrize(("lands", "count", "size", "wrong"), [(0, 1, 0.1, 0), (-1, 0, 0.0, 3), (-1, 1, 1.0, 1)])
def test_an_arrival_may_land_today_with_one_animal_of_any_size(lands: int, count: int, size: float, wrong: int) -> None:
    """Yesterday, none, and no size are refused, all at once."""
    coming = [Arrival("S1", "one", TODAY + lands * DAY, (batch("S1-01", "clam_small", size, count),))]
    if not wrong:
        assert framed(floor(), coming=coming).batches[0].count == count
        return
    with pytest.raises(BadInput) as caught:
        framed(floor(), coming=coming)
    assert len(caught.value.findings) == wrong


FAULTS: tuple[tuple[dict[str, Any], int], ...] = (
    ({"count": 1}, 0),
    ({"count": 0}, 1),
    ({"footprint_mm2": -1}, 1),
    ({"weight": 0}, 1),
    ({"weight": 1}, 0),
    ({"min_portion": 10}, 0),
    ({"min_portion": 11}, 1),
    ({"min_portion": 0}, 1),
    ({"max_vats": 0}, 1),
    ({"max_vats": 1}, 0),
    ({"stages": ()}, 1),
    ({"stages": (StageNeed("quarantine", 3, 3, ("QA",)),)}, 1),
    ({"stages": (StageNeed("quarantine", 3, 4, ("QA", "nowhere")),)}, 1),
)


@pytest.mark.parametrize(("changed", "wrong"), FAULTS)
def test_a_question_is_refused_beyond_each_limit_and_not_at_it(changed: dict[str, Any], wrong: int) -> None:
    """Each fault of a batch is one finding."""
    one = replace(need("A", 0, 5, grow=0), **changed)
    if not wrong:
        assert farm(one).batches == (one,)
        return
    with pytest.raises(BadInput) as caught:
        farm(one)
    assert len(caught.value.findings) == wrong


def test_standing_stock_and_filters_are_refused_beyond_their_limits() -> None:
    """Served by the day of the move, no negative count, first day on or before the last; a new filter up to the mature one."""
    stock = replace(present("QA", 9), movable=True, move_to=("G",), move_day=9)
    for sound in (stock, replace(stock, count=0), replace(stock, from_day=9)):
        assert farm(standing=(sound,)).standing == (sound,)
    for spoiled in ({"count": -1}, {"from_day": 10}, {"served_day": 10}, {"move_to": ()}, {"move_to": ("nowhere",)}):
        with pytest.raises(BadInput) as caught:
            farm(standing=(replace(stock, **spoiled),))
        assert len(caught.value.findings) == 1
    plain = farm()
    for share, refused in ((0, False), (10**6, False), (10**6 + 1, True), (-1, True)):
        systems = (replace(plain.systems[0], new_filter_ug_per_h=share), *plain.systems[1:])
        if refused:
            with pytest.raises(BadInput):
                replace(plain, systems=systems)
        else:
            assert replace(plain, systems=systems).systems == systems


def test_a_filter_is_mature_from_its_day_on() -> None:
    """The day itself included."""
    water = SystemOffer("W", "quarantine", 100, 40, matured_day=5)
    assert [water.ammonia_on(day) for day in (4, 5, 6)] == [40, 100, 100]
    assert SystemOffer("W", "quarantine", 100).ammonia_on(0) == 100, "without a day it is mature from the first"


# ── answers by arithmetic ───────────────────────────────────────────────────────────────────────────────────────────


def test_vat_space_of_stock_alone_is_plain_arithmetic() -> None:
    """Two lots over one vat: sums while both are there, fallow days after the last, a promised lot named as such."""
    two = (present("QA", 9, count=30), replace(present("QA", 14, count=50, name="I"), from_day=1))
    plain = farm(standing=two)
    problem = replace(plain, vats=(replace(plain.vats[0], fallow_days=2), *plain.vats[1:]))
    (vat,) = space(problem, solve(problem, seconds=1))[0].vats
    assert [(one.batch, one.start_day, one.end_day, one.kind) for one in vat.stays] == [
        ("H", -10, 9, "present"),
        ("I", 1, 14, "promised"),
        ("", 14, 16, "fallow"),
    ]
    assert [(one.start_day, one.end_day, one.percent) for one in vat.fullness] == [
        (0, 1, 30.0),
        (1, 9, 80.0),
        (9, 14, 50.0),
    ]


def occupant(name: str, start: int, end: int, *, free: int | None = 0) -> Occupant:
    """A lot in a water from day to day."""
    return Occupant(0, start, end, 1, 1, 1, "clam", "P", (name, start), 5, free, end, name)


@pytest.mark.parametrize(
    ("rows", "empties", "lots", "entry"),
    [
        ((), 0, (), None),
        ((("A", -5, 0),), 0, (), None),
        ((("A", -5, 1),), 1, ("A",), None),
        ((("A", -5, 9), ("B", 9, 20)), 20, ("A", "B"), None),
        ((("A", -5, 9), ("B", 10, 20)), 9, ("A",), 10),
        ((("A", -5, BEYOND_EVERY_PLAN), ("B", 3, 20)), None, ("A", "B"), None),
        ((("A", -5, BEYOND_EVERY_PLAN - 1),), BEYOND_EVERY_PLAN - 1, ("A",), None),
    ],
)
def test_a_water_empties_where_nobody_enters_by_the_day_the_last_leaves(
    rows: tuple[tuple[str, int, int], ...], empties: int | None, lots: tuple[str, ...], entry: int | None
) -> None:
    """A lot that enters on the very day the last leaves follows it: the water was not empty between."""
    assert _of_water("W", [occupant(*row) for row in rows]) == WaterForecast("W", empties, lots, entry)
    assert _of_water("W", [occupant(*row, free=None) for row in rows]) == WaterForecast("W", 0, (), None)


def test_as_many_waters_as_the_rhythm_needs_are_enough() -> None:
    """Thirty days each, a shipment every fifteen: two waters; fallow days count, stock that stays for ever does not."""
    landings = [ZERO + 15 * n * DAY for n in range(3)]
    problem = farm(need("A", 0, 30, grow=0))
    assert rhythm(problem, landings) == Rhythm(15.0, 30, 2, 2)
    assert Rhythm(15.0, 30, 2, 2).words == ""
    fallow = replace(
        problem,
        vats=(replace(problem.vats[0], fallow_days=1), problem.vats[1], replace(problem.vats[2], fallow_days=40)),
    )
    assert rhythm(fallow, landings) == Rhythm(15.0, 31, 2, 3)
    stays = replace(problem, standing=(present("QA", BEYOND_EVERY_PLAN), present("QB", 25, name="I")))
    assert rhythm(stays, landings) == Rhythm(15.0, 35, 2, 3)


@pytest.mark.parametrize(("until", "days"), [(2, [30]), (1, []), (4, [30]), (3, [30]), (30, [])])
def test_a_lot_is_held_for_newcomers_who_meet_it_for_as_long_as_is_allowed(until: int, days: list[int]) -> None:
    """Newcomers enter on day 2 and end on day 30; 28 days more are the most a lot is held."""
    problem = farm(need("A", 2, 28, grow=0), standing=(present("QA", until),))
    assert days_to_hold(problem, "WA", {"A": 3}) == days
    assert days_to_hold(problem, "WB", {"A": 3}) == []
    assert days_to_hold(problem, "WA", {}) == []


def test_lots_are_held_to_the_day_and_what_was_promised_them_moves_along() -> None:
    """Held from day 9 to 12: served then, and its grow-out promise is three days later; a lot that enters later is not held."""
    here = present("QA", 9, name="H")
    later = replace(here, vat="G", stage="grow-out", from_day=9, until_day=20)
    new = replace(present("QA", 9, name="N"), from_day=13, until_day=20)
    other = present("QB", 9, name="O")
    problem = farm(standing=(here, later, new, other))
    assert [one.batch for one in lots_held(problem, "WA", 12)] == ["H"]
    assert [one.batch for one in lots_held(problem, "WA", 9)] == []
    assert [one.batch for one in lots_held(problem, "WA", 13)] == ["H"]
    found = held_until(problem, "WA", 12).standing
    assert [(one.from_day, one.until_day, one.served_day) for one in found] == [
        (-10, 12, 12),
        (12, 23, 9),
        (13, 20, 9),
        (-10, 9, 9),
    ]


def test_days_on_which_room_grows_are_those_on_which_something_ends() -> None:
    """Stock leaves on day 9 (and a day, and two fallow days later), a vat opens on 20, water on 31, a filter matures on 25."""
    one = need("A", 3, 10, grow=0)
    stage = replace(one.stages[0], vats=("QA",), opening=(Opening(31, ("QA",), "free"),))
    plain = farm(replace(one, shipment="S", stages=(stage,)), standing=(present("QA", 9), present("QB", 50)))
    problem = replace(
        plain,
        systems=(replace(plain.systems[0], matured_day=25), *plain.systems[1:]),
        vats=(replace(plain.vats[0], fallow_days=2, closed=((15, 20),)), *plain.vats[1:]),
    )
    assert change_days(problem, "S") == [6, 7, 8, 17, 22, 28]
    assert change_days(problem, "T") == []
    far = replace(problem, standing=(present("QA", 3 + DELAY_MOST_DAYS),))
    assert DELAY_MOST_DAYS in change_days(far, "S")
    assert DELAY_MOST_DAYS + 1 not in change_days(far, "S")


@given(counts=st.lists(st.integers(0, 40), min_size=1, max_size=6).filter(any), animals=st.integers(0, 300))
def test_a_multiple_of_a_mix_is_whole_animals_by_largest_remainder(counts: list[int], animals: int) -> None:
    """All animals, each line within one of its exact share, and no line is rounded up before one with a larger remainder."""
    mix = [batch(f"S1-{n:02d}", "clam_small", 40, count) for n, count in enumerate(counts)]
    found = _share(mix, animals)
    exact = [count * animals / sum(counts) for count in counts]
    assert sum(found) == animals
    assert all(abs(one - share) < 1 for one, share in zip(found, exact, strict=True))
    up = [share % 1 for one, share in zip(found, exact, strict=True) if one > share + 1e-9]
    down = [share % 1 for one, share in zip(found, exact, strict=True) if one < share - 1e-9]
    assert min(up, default=1.0) >= max(down, default=0.0) - 1e-9


@dataclass(frozen=True)
class Span:
    """Half-open days."""

    start: int
    end: int


@given(rows=st.lists(st.tuples(st.integers(0, 8), st.integers(1, 5)), max_size=6, unique=True), gap=st.integers(0, 2))
def test_the_largest_sets_of_stays_with_a_day_in_common_are_those_of_brute_force(
    rows: list[tuple[int, int]], gap: int
) -> None:
    """Every set of stays with a common day, a stay lasting ``gap`` days longer, that no larger one holds."""
    stays = [Span(start, start + length) for start, length in rows]
    alive = [
        frozenset(n for n, one in enumerate(stays) if one.start <= day < one.end + gap) for day in range(20) if stays
    ]
    largest = {one for one in alive if one and not any(one < other for other in alive)}
    assert {frozenset(stays.index(one) for one in group) for group in together(stays, gap)} == largest


@given(edges=st.sets(st.sampled_from(list(combinations("abcde", 2)))))
def test_cliques_are_those_of_brute_force(edges: set[tuple[str, str]]) -> None:
    """All largest sets of two or more names of which no two may meet."""

    def apart(one: str, other: str) -> bool:
        return tuple(sorted((one, other))) in edges

    every = [
        set(names)
        for size in range(2, 6)
        for names in combinations("abcde", size)
        if all(pair in edges for pair in combinations(names, 2))
    ]
    largest = {frozenset(one) for one in every if not any(one < other for other in every)}
    assert {frozenset(one) for one in cliques("abcde", apart)} == largest


def test_of_a_batch_without_quarantine_no_end_is_reckoned() -> None:
    """Cuttings heal; a lot is one shipment on one day, or the batch alone."""
    cutting = BatchNeed("C", "", "", "clam", 5, 1, 0, 0, (StageNeed("healing", 2, 9, ("G",)),))
    assert (cutting.quarantine, cutting.own_end, cutting.lot, cutting.excluded) == (-1, 0, ("C", 2), False)
    one = need("A", 4, 6, lot="S")
    assert (one.quarantine, one.own_end, one.lot) == (0, 10, ("S", 4))
    assert replace(one, stages=(replace(one.stages[0], vats=()), one.stages[1])).excluded


def test_kept_apart_is_asked_either_way_round() -> None:
    """The pair is stored sorted."""
    problem = replace(farm(need("A", 0, 5)), apart={("clam", "fish"): "water"})
    assert (
        problem.kept_apart("fish", "clam"),
        problem.kept_apart("clam", "fish"),
        problem.kept_apart("clam", "clam"),
    ) == (
        "water",
        "water",
        "",
    )
    assert VatOffer("V", "W", 1, 1).weekly_cents == 0
    assert isinstance(Standing("A", "V", "grow-out", 1, "clam", 0, 1, 1, 1, 1).lot, tuple)
    assert Stay("A", "Q1a", 1, NOON, "quarantine").count == 1


def test_only_quarantine_vats_with_fallow_days_lie_fallow() -> None:
    """A grow-out vat with fallow days, and a quarantine vat without: nothing follows the lot."""
    here = (present("QA", 9), replace(present("G", 9, name="I"), stage="grow-out"))
    plain = farm(standing=here)
    problem = replace(plain, vats=(*plain.vats[:2], replace(plain.vats[2], fallow_days=2)))
    found = [vat for water in space(problem, solve(problem, seconds=1)) for vat in water.vats]
    kinds = {vat.vat: [one.kind for one in vat.stays] for vat in found}
    assert kinds == {"QA": ["present"], "QB": [], "G": ["present"]}


def test_a_shipment_of_which_nobody_fits_is_not_split() -> None:
    """A split leaves animals on the first day; where all would land later it is a delay, which stands beside it."""
    crowded = present("QA", 12, count=95), present("QB", 12, count=95, name="I", supplier="Q")
    problem = farm(replace(need("S-01", 2, 20, 20, grow=0), shipment="S"), standing=crowded)
    assert list(_split(problem, {"S-01": 20})) == []
    some = list(_split(problem, {"S-01": 15}))
    assert some
    assert all(one.relief.count == 15 for one in some)
    assert {one.relief.shipment for one in some} == {"S"}


@pytest.mark.parametrize(
    ("supplier", "resource", "where", "need_have"),
    [
        ("Q", "quarantine systems not used by another supplier", "quarantine in WA (Q until 2030-03-23)", (1, 0)),
        ("P", "quarantine vats free of other lots", "quarantine in WA: QA, QB (H until 2030-03-23)", (2, 0)),
    ],
)
def test_what_binds_is_a_water_or_vats_by_name(
    supplier: str, resource: str, where: str, need_have: tuple[int, int]
) -> None:
    """Two lots in two vats of one water: another supplier's bar the water, the own supplier's its vats."""
    here = tuple(present(vat, 22, name=name, supplier=supplier) for vat, name in (("QA", "H"), ("QB", "I")))
    problem = replace(farm(need("A", 2, 20, grow=0), standing=here, waters="AA"), most_days_held=0)
    (short,) = solve(problem, seconds=1).short
    assert [(one.resource, one.where, (one.need, one.have), one.gain) for one in short.binding] == [
        (resource, where, need_have, 10)
    ]
