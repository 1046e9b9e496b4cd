"""The daily watch: a planted crash and a slow bleed are seen, quiet weeks alarm as rarely as announced."""

from __future__ import annotations

import numpy as np
import pytest

from intake.errors import BadInput
from intake.ledger import Entry
from intake.report import control_steps
from intake.report.watching import STARTING_RATES, BatchWatch, watch_batches
from tests.ledger.books import Scribe, hour


def deaths(scribe: Scribe, batch: str, animals: int, by_day: dict[int, int], source: str = "supplier") -> list[Entry]:
    """A batch that loses so many animals at noon of so many days; invented."""
    return [
        scribe.move(batch, f"{source} > vat:Q1", animals),
        *(scribe.move(batch, "vat:Q1 > dead", number, 24 * day + 4) for day, number in by_day.items() if number),
    ]


def watch_of(extra: dict[int, int], days: int = 20, back: int = 30) -> BatchWatch:
    """Five quiet batches of 200 with a death each now and then, and one with the deaths given."""
    scribe = Scribe()
    entries: list[Entry] = []
    for number in range(5):
        entries += deaths(scribe, f"quiet {number}", 200, {2 + number: 1, 9 + number: 1})
    entries += deaths(scribe, "watched", 200, extra)
    names = [*(f"quiet {number}" for number in range(5)), "watched"]
    return watch_batches(entries, names, hour(24 * days), days_back=back)


def test_a_crash_alarms_on_its_day_and_only_its_batch() -> None:
    """Eight of 200 in a day, where the others lose one a week."""
    found = watch_of({12: 8})
    assert {alarm.batch for alarm in found.alarms} == {"watched"}
    assert found.alarms[0].look.deaths == 8
    assert (found.alarms[0].look.span_days, found.alarms[0].look.day) == (1, 12)
    assert found.days["watched"][12].out
    assert found.alarms[0].starts_at == hour(24 * 12)


def test_a_slow_bleed_alarms_over_seven_days_as_one_alarm() -> None:
    """One a day alarms on no single day; the week does, and days that overlap are one alarm."""
    found = watch_of(dict.fromkeys(range(8, 20), 1))
    (alarm,) = found.alarms
    assert alarm.look.span_days == 7
    assert not any(look.out for look in found.days["watched"])
    assert alarm.last_day > alarm.first_day


def test_only_the_last_days_are_looked_at() -> None:
    """An old crash is history."""
    assert watch_of({8: 9}, days=20, back=5).alarms == ()


def test_a_batch_is_judged_by_the_others_and_does_not_excuse_itself() -> None:
    """Where the only batch bleeds, the starting rate judges it, not its own losses."""
    scribe = Scribe()
    found = watch_batches(deaths(scribe, "alone", 100, {9: 6}), ["alone"], hour(24 * 12), days_back=10)
    assert found.alarms[0].look.deaths == 6
    assert found.days["alone"][9].expected == pytest.approx(100 * STARTING_RATES["later"])


def test_stock_that_stood_here_has_no_first_week() -> None:
    """A first stocktake is no journey: its first days are judged like any later day."""
    scribe = Scribe()
    found = watch_batches(deaths(scribe, "old", 100, {}, "opening"), ["old"], hour(24 * 3), days_back=3)
    assert found.days["old"][0].expected == pytest.approx(100 * STARTING_RATES["later"])


def test_the_death_of_one_of_very_few_is_no_alarm() -> None:
    """One of two fish: even both dead may be chance where nothing is known; no limit is ever above its chance."""
    found = watch_of({})
    for looks in found.days.values():
        for look in looks:
            assert look.false_alarm <= 0.00135
            assert not look.out or look.chance <= 0.00135


def test_quiet_weeks_alarm_about_as_often_as_announced() -> None:
    """Forty batches of 300 that die at one rate, spread as chance spreads them: alarms near the number expected."""
    rng = np.random.default_rng(23)
    scribe = Scribe()
    entries: list[Entry] = []
    names = [f"b{number}" for number in range(40)]
    for name in names:
        entries += deaths(scribe, name, 300, {day: int(rng.binomial(300, 0.002)) for day in range(30)})
    found = watch_batches(entries, names, hour(24 * 30), days_back=40)
    raised = sum(look.out for looks in found.days.values() for look in looks)
    expected = sum(look.false_alarm for looks in found.days.values() for look in looks)
    assert 0.2 < expected < found.looks * 0.00135
    assert abs(raised - expected) <= 4 * expected**0.5
    assert 1.0 <= found.usual["later"].spread < 1.3


def test_deaths_that_come_in_clusters_raise_the_limit() -> None:
    """Where the other batches lose animals five at a time, five in a day are less alarming."""
    scribe = Scribe()
    entries: list[Entry] = []
    clumped = [f"b{number}" for number in range(6)]
    for number, name in enumerate(clumped):
        entries += deaths(scribe, name, 200, {10 + number: 5, 18 + number: 5})
    entries += deaths(scribe, "watched", 200, {})
    found = watch_batches(entries, [*clumped, "watched"], hour(24 * 28))
    assert found.usual["later"].spread > 2
    scattered = watch_of({}).days["watched"][12]
    look = found.days["watched"][12]
    assert look.limit > scattered.limit


def test_the_control_chart_shows_every_day_and_rings_the_alarm() -> None:
    """A dot a day, limit and usual as dashed lines, the alarm named in the picture and in its words."""
    found = watch_of({12: 8})
    picture = control_steps(found.days["watched"], title="Control chart")
    assert picture.count('class="day"') == len(found.days["watched"])
    assert picture.count('class="out"') == 1
    assert "Alarm on day 12." in picture
    with pytest.raises(BadInput):
        control_steps([], title="none")


def test_impossible_watches_are_refused() -> None:
    """No days, no chance."""
    for days, chance in ((0, 0.01), (3, 0.0), (3, 1.0)):
        with pytest.raises(BadInput):
            watch_batches([], [], hour(0), days_back=days, chance=chance)
