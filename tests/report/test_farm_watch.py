"""The daily watch: a planted crash and a slow bleed are seen, one event is one message, tiny lots and gaps are understood."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC
from itertools import pairwise

import pytest

from intake.errors import BadInput
from intake.ledger import Entry
from intake.report import control_steps
from intake.report.alarms.farm_watch import FarmWatch, watch_farm
from tests.ledger.books import Scribe, hour

WATERS = {"Q1": "A", "Q2": "A", "Q3": "B", "Q4": "C"}


def deaths(
    scribe: Scribe, batch: str, animals: int, by_day: dict[int, int], *, source: str = "supplier", vat: str = "Q1"
) -> list[Entry]:
    """A batch that loses so many animals at noon of so many days; invented."""
    return [
        scribe.move(batch, f"{source} > vat:{vat}", animals),
        *(scribe.move(batch, f"vat:{vat} > dead", number, 24 * day + 4) for day, number in by_day.items() if number),
    ]


def watch(entries: list[Entry], names: list[str], days: int, back: int = 7) -> FarmWatch:
    """The watch at the end of so many days."""
    return watch_farm(entries, names, WATERS, hour(24 * days), UTC, days_back=back)


def watch_of(extra: dict[int, int], days: int = 20, back: int = 30, *, counted_to: int = 16) -> FarmWatch:
    """Five quiet batches of 200 with a death a week each in water A to a day, and one in water B with the deaths given."""
    scribe = Scribe()
    entries: list[Entry] = []
    for number in range(5):
        every_week = {day + number: 1 for day in range(2, counted_to - number, 7)}
        entries += deaths(scribe, f"quiet {number}", 200, every_week)
    entries += deaths(scribe, "watched", 200, extra, vat="Q3")
    return watch(entries, [*(f"quiet {number}" for number in range(5)), "watched"], days, back)


def test_a_crash_alarms_and_names_only_its_batch() -> None:
    """Eight of 200 in a day, where the others lose one a week; the chart rings that day."""
    (alarm,) = watch_of({12: 8}).alarms
    assert (alarm.unit, alarm.name, alarm.deaths) == ("batch", "watched", 8)
    assert alarm.since <= hour(24 * 12) < alarm.until
    found = watch_of({12: 8})
    assert [look.day for look in found.charts["watched"] if look.out] == [12]


def test_a_slow_bleed_alarms_over_a_longer_window_as_one_alarm() -> None:
    """Two a day for nine days alarm on no single day; the days together do, once."""
    found = watch_of(dict.fromkeys(range(11, 20), 2))
    (alarm,) = found.alarms
    assert (alarm.unit, alarm.name) == ("batch", "watched")
    assert alarm.days > 1
    assert not any(look.out for look in found.charts["watched"])
    assert alarm.last_day > alarm.first_day


def test_an_alarm_says_how_the_last_week_was() -> None:
    """A crash is over when a week has passed as usual; deaths in the last week keep it going with the figures of that week."""
    (over,) = watch_of({12: 8}, days=22, counted_to=22).alarms
    assert (over.deaths, over.week[0], over.past, over.over) == (8, 0, True, True)
    (fresh,) = watch_of({12: 8}, days=14, counted_to=14).alarms
    assert (fresh.week[0], fresh.past, fresh.over) == (8, False, False)
    (going,) = watch_of({12: 8, 20: 2, 21: 2}, days=22, counted_to=22).alarms
    assert (going.week[0], going.past, going.over) == (4, True, False)


def test_only_the_last_days_are_looked_at() -> None:
    """An old crash is history."""
    assert watch_of({8: 9}, days=40, back=5).alarms == ()


def test_a_water_whose_batches_all_die_a_little_is_one_alarm_on_the_water() -> None:
    """Five batches of 100 in one water lose three each in two days; no batch alone would be looked at twice."""
    scribe = Scribe()
    entries: list[Entry] = []
    for number in range(5):
        entries += deaths(scribe, f"b{number}", 100, {15: 2, 16: 1}, source="opening", vat="Q3")
        entries += deaths(scribe, f"quiet{number}", 100, {3 * number: 1}, source="opening", vat="Q1")
    names = [f"{kind}{number}" for number in range(5) for kind in ("b", "quiet")]
    (alarm,) = watch(entries, names, 17).alarms
    assert (alarm.unit, alarm.name, alarm.deaths, alarm.batches) == ("water", "B", 15, 5)


def test_half_the_farm_crashing_is_one_message_that_names_the_dead() -> None:
    """Six of twelve batches over three waters lose a tenth in two days: the farm alarms, and the six are named."""
    scribe = Scribe()
    entries: list[Entry] = []
    names = [f"b{number:02}" for number in range(12)]
    for number, name in enumerate(names):
        vat = ("Q1", "Q3", "Q4")[number % 3]
        lost = {20: 12, 21: 8} if number % 2 else {number: 1}
        entries += deaths(scribe, name, 200, lost, source="opening", vat=vat)
    (alarm,) = watch(entries, names, 22).alarms
    assert alarm.unit == "farm"
    assert sorted(name for name, _, _ in alarm.named) == names[1::2]


def test_a_past_outbreak_of_the_whole_farm_does_not_hide_the_next() -> None:
    """Every batch lost a tenth five weeks ago; four dead in a day are still seen."""
    scribe = Scribe()
    entries: list[Entry] = []
    names = [f"b{number}" for number in range(8)]
    for name in names:
        past = dict.fromkeys(range(20, 25), 5)
        entries += deaths(scribe, name, 200, past, source="opening", vat="Q1")
    entries.append(scribe.move("b0", "vat:Q1 > dead", 8, 24 * 60 + 4))
    (alarm,) = watch(entries, names, 61).alarms
    assert (alarm.unit, alarm.name) == ("batch", "b0")


def test_deaths_heaped_on_monday_by_an_uncounted_weekend_are_no_crash() -> None:
    """Three quiet days' deaths in one count alarm when the farm looks daily, and not when nobody looked."""
    scribe = Scribe()
    names = [f"b{number}" for number in range(6)]
    entries: list[Entry] = [scribe.move(name, "opening > vat:Q1", 300) for name in names]
    for day in range(40):
        if day % 7 < 5:
            for number, name in enumerate(names):
                if (day + number) % 3 == 0 or day % 7 == 0:
                    entries.append(scribe.move(name, "vat:Q1 > dead", 3 if day % 7 == 0 else 1, 24 * day + 4))
    assert watch(entries, names, 40, back=20).alarms == ()


def test_stock_that_stood_here_has_no_first_week() -> None:
    """A first stocktake is no journey: its first days are judged like any later day."""
    scribe = Scribe()
    both = [*deaths(scribe, "old", 100, {2: 6}, source="opening"), *deaths(scribe, "new", 100, {2: 6}, vat="Q3")]
    found = watch(both, ["old", "new"], 3)
    assert [alarm.name for alarm in found.alarms] == ["old"]


def test_the_death_of_one_or_two_of_very_few_is_no_alarm_and_such_lots_are_named() -> None:
    """Two fish: even both dead may be chance; the watch says that it cannot see them."""
    scribe = Scribe()
    entries = [*deaths(scribe, "pair", 2, {9: 2}), *deaths(scribe, "two", 2, {}), *deaths(scribe, "many", 500, {5: 1})]
    found = watch(entries, ["pair", "two", "many"], 12)
    assert found.alarms == ()
    assert found.unseen == ("two",)


def test_a_batch_in_two_waters_is_counted_where_it_stands() -> None:
    """Moved from A to B: deaths before count in A, deaths after in B; the batch is one."""
    scribe = Scribe()
    entries = [
        *deaths(scribe, "b", 200, {10: 2}, source="opening", vat="Q1"),
        scribe.move("b", "vat:Q1 > vat:Q3", 198, 24 * 11),
        scribe.move("b", "vat:Q3 > dead", 12, 24 * 12 + 4),
    ]
    (alarm,) = watch(entries, ["b"], 13).alarms
    assert (alarm.unit, alarm.name, alarm.batches) == ("batch", "b", 1)
    assert alarm.named[0][1] == alarm.deaths


def test_the_control_chart_shows_every_day_and_rings_the_alarm() -> None:
    """A dot a day counted, limit and usual as dashed lines, the alarm named in the picture and in its words."""
    found = watch_of({12: 8})
    picture = control_steps(found.charts["watched"], title="Control chart")
    assert picture.count('class="day"') == len(found.charts["watched"])
    assert picture.count('class="out"') == 1
    assert "Alarm on day 12." in picture
    with pytest.raises(BadInput):
        control_steps([], title="none")


def test_days_named_in_a_control_chart_never_run_into_each_other() -> None:
    """Alarms on neighboring days: at one height each word ends before the next begins, and the description has them all."""
    looks = watch_of({12: 8}, counted_to=20).charts["watched"]
    ringed = [replace(one, deaths=9, limit=4) if 10 <= one.day <= 16 else one for one in looks]
    picture = control_steps(ringed, title="Control chart")
    said = re.findall(r'<text x="([\d.]+)" y="([\d.]+)" text-anchor="middle">([\w ]+)</text>', picture)
    height = next(y for _, y, words in said if words == "day 10")
    named = [(float(x), words) for x, y, words in said if y == height]
    assert [words for _, words in named] == ["day 10", "11", "day 12", "13", "day 16"]
    for (x, words), (then, more) in pairwise(named):
        assert x + 4 * len(words) <= then - 4 * len(more)
    assert "Alarm on day 10, 11, 12, 13, 16." in picture


def test_impossible_watches_are_refused_and_empty_books_are_quiet() -> None:
    """No days; no entries."""
    with pytest.raises(BadInput):
        watch([], [], 1, back=0)
    assert watch([], ["b"], 1).alarms == ()
