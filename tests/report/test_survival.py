"""The product-limit estimate against published values and another implementation, and lives taken from the books."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.duration.survfunc import SurvfuncRight

from intake.errors import BadInput
from intake.ledger import Entry, counter
from intake.report.survival import Life, curve, kaplan_meier, lives
from tests.ledger.books import Scribe, hour

# Freireich et al. (1963), remission times under 6-mercaptopurine in weeks, 21 patients.
EVENTS = [6, 6, 6, 7, 10, 13, 16, 22, 23]
CENSORED = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
SIX_MP = [Life(0.0, float(week), 1, died=True) for week in EVENTS]
SIX_MP += [Life(0.0, float(week), 1, died=False) for week in CENSORED]

# S(t) and Greenwood's standard error, to three decimals: example output of NAG library routine g12aac for these data
# (read); week 13 recomputed with lifelines.
PUBLISHED = {
    6: (0.857, 0.076),
    7: (0.807, 0.087),
    10: (0.753, 0.096),
    13: (0.690, 0.107),
    16: (0.627, 0.114),
    22: (0.538, 0.128),
    23: (0.448, 0.135),
}


def test_the_published_remission_curve_is_reproduced() -> None:
    """Steps at the published weeks, with the published shares and standard errors; median 23 weeks."""
    steps = {step.day: step for step in kaplan_meier(SIX_MP).steps}
    assert set(steps) == set(PUBLISHED)
    for week, (share, error) in PUBLISHED.items():
        assert steps[week].survival == pytest.approx(share, abs=6e-4)
        assert steps[week].standard_error == pytest.approx(error, abs=6e-4)
    assert kaplan_meier(SIX_MP).median_days == 23


LIVES = st.lists(
    st.tuples(st.integers(0, 6), st.integers(1, 20), st.integers(1, 5), st.booleans()), min_size=1, max_size=25
)


@given(LIVES, st.booleans())
@settings(max_examples=60, deadline=None)
def test_the_curve_agrees_with_statsmodels_on_any_lives(drawn: list[tuple[int, int, int, bool]], late: bool) -> None:
    """Shares, standard errors and numbers at risk, with and without delayed entry (its rule: entry before the time)."""
    observed = [Life(float(a) if late else 0.0, float(a + b), n, died) for a, b, n, died in drawn]
    if late:
        observed = [Life(0.0, 40.0, 3, died=False), *observed]  # keeps somebody at risk from the first moment
    single = [life for life in observed for _ in range(life.count)]
    oracle = SurvfuncRight(
        [life.left_days for life in single],
        [int(life.died) for life in single],
        entry=[life.entered_days for life in single] if late else None,
    )
    expected = {
        float(time): (float(share), float(error), int(risk))
        for time, share, error, risk, deaths in zip(
            oracle.surv_times, oracle.surv_prob, oracle.surv_prob_se, oracle.n_risk, oracle.n_events, strict=True
        )
        if deaths
    }
    steps = kaplan_meier(observed).steps
    assert [step.day for step in steps] == sorted(expected)
    for step in steps:
        share, error, at_risk = expected[step.day]
        assert step.at_risk == at_risk
        assert step.survival == pytest.approx(share, abs=1e-12)
        if share > 0:
            assert step.standard_error == pytest.approx(error, rel=1e-9, abs=1e-12)


def test_the_log_log_interval_follows_its_formula_and_holds_the_share() -> None:
    """exp(−exp(log(−log S) ± z·σ/ log S)) written out for the first step: S = 18/21, Greenwood sum 3/(21·18)."""
    first = kaplan_meier(SIX_MP).steps[0]
    spread = 1.959963984540054 * math.sqrt(3 / (21 * 18)) / math.log(18 / 21)
    bounds = sorted((18 / 21) ** math.exp(sign * spread) for sign in (1, -1))
    assert (first.low, first.high) == pytest.approx(tuple(bounds))
    for step in kaplan_meier(SIX_MP).steps:
        assert 0 < step.low < step.survival < step.high < 1


def test_no_death_yet_is_not_certainty() -> None:
    """Twenty alive after a week: the lower limit is the exact one for 0 of 20 (Newcombe: upper 0.1684 of deaths)."""
    step = kaplan_meier([Life(0.0, 7.0, 20, died=False)]).at(7)
    assert step is not None
    assert (step.survival, step.high) == (1.0, 1.0)
    assert step.low == pytest.approx(1 - 0.1684, abs=5e-5)


def test_all_dead_leaves_an_upper_limit() -> None:
    """Ten of ten dead: 0, but the true share could be up to the exact limit 1 − 0.025^(1/10)."""
    (step,) = kaplan_meier([Life(0.0, 2.0, 10, died=True)]).steps
    assert (step.survival, step.low) == (0.0, 0.0)
    assert step.high == pytest.approx(1 - 0.025 ** (1 / 10))


def test_nothing_is_said_beyond_the_last_observation() -> None:
    """A curve that ends at day 5 says nothing of day 30; a batch all dead stays dead."""
    shape = kaplan_meier([Life(0.0, 5.0, 9, died=False), Life(0.0, 3.0, 1, died=True)])
    assert shape.at(30) is None
    assert shape.at(5) == shape.steps[-1]
    dead = kaplan_meier([Life(0.0, 2.0, 10, died=True)]).at(30)
    assert dead is not None
    assert dead.survival == 0


@pytest.mark.parametrize("observed", [[], [Life(0.0, 1.0, 0, died=True)], [Life(2.0, 1.0, 1, died=True)]])
def test_impossible_lives_are_refused(observed: list[Life]) -> None:
    """No animal, a count of none, an end before the beginning."""
    with pytest.raises(BadInput):
        kaplan_meier(observed)


def day(days: float) -> float:
    """Hours of so many days."""
    return 24 * days


def test_lives_come_from_movements_with_late_entry_and_censoring() -> None:
    """Two bags a day apart, deaths, a sale, a sample, a move between vats; those still there are censored now."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > dock", 30),
        scribe.move("S1-01", "dock > doa", 2),
        scribe.move("S1-01", "dock > vat:Q1", 18),
        scribe.move("S1-01", "dock > vat:Q2", 10, day(1)),
        scribe.move("S1-01", "vat:Q1 > dead", 4, day(2)),
        scribe.move("S1-01", "vat:Q1 > vat:Q2", 5, day(3)),
        scribe.move("S1-01", "vat:Q2 > sold", 6, day(4)),
        scribe.move("S1-01", "vat:Q2 > sample", 1, day(5)),
        scribe.move("S1-01", "vat:Q2 > dead", 2, day(6)),
        scribe.move("S9-01", "supplier > vat:Q2", 99, day(1)),
    ]
    shape = curve(entries, "S1-01", hour(day(10)))
    assert shape is not None
    assert [(step.day, step.at_risk, step.deaths) for step in shape.steps] == [(2, 28, 4), (6, 17, 2)]
    assert shape.steps[-1].survival == pytest.approx(24 / 28 * 15 / 17)
    assert (shape.entered, shape.deaths, shape.last_day) == (28, 6, 10)
    early = curve(entries, "S1-01", hour(day(3)))
    assert early is not None
    assert [step.day for step in early.steps] == [2]


def test_dead_on_arrival_never_enter_the_curve_even_when_booked_into_a_vat_first() -> None:
    """They are a share of their own; counted late they leave the number at risk as if never there."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > vat:Q1", 20),
        scribe.move("S1-01", "vat:Q1 > doa", 5, 2),
        scribe.move("S1-01", "vat:Q1 > dead", 3, day(1)),
    ]
    shape = curve(entries, "S1-01", hour(day(2)))
    assert shape is not None
    assert [(step.at_risk, step.deaths) for step in shape.steps] == [(15, 3)]


def test_dead_between_bag_and_vat_count_as_deaths() -> None:
    """Alive when opened, dead in the acclimation tub: at risk for that moment."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > dock", 10),
        scribe.move("S1-01", "dock > dead", 1, 1),
        scribe.move("S1-01", "dock > vat:Q1", 9, 1),
    ]
    shape = curve(entries, "S1-01", hour(day(2)))
    assert shape is not None
    assert [(step.at_risk, step.deaths) for step in shape.steps] == [(10, 1)]


def test_a_corrected_death_leaves_no_trace_in_the_curve() -> None:
    """The curve is drawn from what is known now."""
    scribe = Scribe()
    wrong = scribe.move("S1-01", "vat:Q1 > dead", 4, day(1))
    entries: list[Entry] = [scribe.move("S1-01", "supplier > vat:Q1", 10), wrong]
    undo = counter(wrong, 3, at=hour(day(5)), who="Ada", key="undo")
    shape = curve([*entries, undo], "S1-01", hour(day(6)))
    assert shape is not None
    assert [(step.day, step.deaths) for step in shape.steps] == [(1, 1)]


def test_missing_animals_are_censored_or_dead_as_asked() -> None:
    """Lost from sight in a vat is not known to be dead; the pessimist may ask."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > vat:Q1", 10),
        scribe.move("S1-01", "vat:Q1 > missing", 2, 24),
    ]
    assert sum(life.count for life in lives(entries, "S1-01", hour(48)) if life.died) == 0
    assert sum(life.count for life in lives(entries, "S1-01", hour(48), missing_died=True) if life.died) == 2


def test_batches_together_run_each_on_its_own_clock() -> None:
    """Two shipments a month apart, each losing one on its second day: one step at day 2."""
    scribe = Scribe()
    entries: list[Entry] = []
    for batch, start in (("S1-01", 0.0), ("S2-01", 30.0)):
        entries.append(scribe.move(batch, "supplier > vat:Q1", 10, day(start)))
        entries.append(scribe.move(batch, "vat:Q1 > dead", 1, day(start + 2)))
    shape = curve(entries, ["S1-01", "S2-01"], hour(day(40)))
    assert shape is not None
    assert [(step.day, step.at_risk, step.deaths) for step in shape.steps] == [(2, 20, 2)]


def test_a_batch_never_placed_has_no_curve() -> None:
    """All dead on arrival, or unknown: nothing to draw."""
    scribe = Scribe()
    assert curve([scribe.move("S1-01", "supplier > doa", 5)], "S1-01", hour(9)) is None
    assert curve([], "S1-01", hour(9)) is None
