"""Rules of days in the farm file: what RFC 5545 text gives, where it counts, and how a wrong rule is refused."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.farm.reading import read_site
from intake.farm.recurrence import Closed, Recurs
from intake.farm.site import Site
from intake.library import load
from intake.plan.framing import frame
from intake.plan.offers import CLOSURE_DAYS
from intake.quarantine import needs_for
from intake.timetable import schedule
from tests.timetable.farms import MONDAY, PEOPLE, floor_of, need, site_of

SATURDAY = date(2027, 1, 2)
CUTTING = """
[routine.cuttings]
name = "Cutting day"
kind = "cutting"
rule = "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU"
since = 2027-03-02
system = "{system}"
minutes = 120
skill = "dip"
"""


def _days(rule: str, since: date, last: date) -> list[date]:
    recurs = Recurs(rule=rule, since=since)
    return [
        since + timedelta(days=step)
        for step in range((last - since).days + 1)
        if recurs.on(since + timedelta(days=step))
    ]


@pytest.mark.parametrize(
    ("rule", "since", "days"),
    [
        ("FREQ=WEEKLY;INTERVAL=2;BYDAY=SA", date(2027, 1, 2), [date(2027, 1, 2), date(2027, 1, 16), date(2027, 1, 30)]),
        ("RRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=SA", date(2027, 1, 9), [date(2027, 1, 9), date(2027, 1, 23)]),
        ("FREQ=MONTHLY;BYDAY=1MO", date(2026, 12, 20), [date(2027, 1, 4)]),
        ("FREQ=MONTHLY;BYMONTHDAY=-1", date(2026, 12, 20), [date(2026, 12, 31), date(2027, 1, 31)]),
        ("FREQ=DAILY;INTERVAL=10;COUNT=3", date(2027, 1, 1), [date(2027, 1, 1), date(2027, 1, 11), date(2027, 1, 21)]),
        ("freq=daily;interval=15;until=20270120", date(2027, 1, 1), [date(2027, 1, 1), date(2027, 1, 16)]),
        # the standard's own example: every other week on Tuesday and Thursday (RFC 5545 3.8.5.3), weeks from Monday
        (
            "FREQ=WEEKLY;INTERVAL=2;WKST=MO;BYDAY=TU,TH",
            date(2027, 1, 5),
            [date(2027, 1, 5), date(2027, 1, 7), date(2027, 1, 19), date(2027, 1, 21)],
        ),
    ],
)
def test_rule_falls_on_these_days(rule: str, since: date, days: list[date]) -> None:
    """Counted by hand on a calendar, from December 2026 to January 2027."""
    assert _days(rule, since, date(2027, 1, 31)) == days


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 9), st.integers(0, 800), st.integers(0, 400))
def test_every_nth_day_is_plain_division(step: int, start: int, ahead: int) -> None:
    """The expansion by year must not lose a day at a new year, nor count before the start."""
    since = date(2026, 1, 1) + timedelta(days=start)
    recurs = Recurs(rule=f"FREQ=DAILY;INTERVAL={step}", since=since)
    assert recurs.on(since + timedelta(days=ahead)) == (ahead % step == 0)
    assert not recurs.on(since - timedelta(days=step))


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        ("every second Saturday", "such as 'FREQ=WEEKLY;INTERVAL=2;BYDAY=SA'"),
        ("BYDAY=SA", "a rule with FREQ"),
        ("FREQ=HOURLY", "DAILY, WEEKLY, MONTHLY or YEARLY"),
        ("FREQ=WEEKLY;BYHOUR=9", "BYHOUR=9"),
        ("FREQ=WEEKLY;BYDAY=SU,XX", "not 'XX'"),
        ("FREQ=WEEKLY;BYDAY=1SA", "FREQ=MONTHLY or YEARLY"),
        ("FREQ=WEEKLY;BYDAY=MO;BYDAY=TU", "BYDAY stands twice"),
        ("FREQ=WEEKLY;INTERVAL=0", "from 1 to 999"),
        ("FREQ=WEEKLY;INTERVAL=-1", "from 1 to 999"),
        ("FREQ=WEEKLY;UNTIL=20270101T000000Z", "a date such as 20271231"),
        ("FREQ=WEEKLY;UNTIL=20271331", "RFC 5545"),
        ("FREQ=WEEKLY;COUNT=3;UNTIL=20280101", "not both"),
        ("FREQ=WEEKLY;BYMONTHDAY=1", "BYMONTHDAY with FREQ="),
        ("FREQ=MONTHLY;BYWEEKNO=20", "BYWEEKNO with FREQ=YEARLY"),
        ("FREQ=WEEKLY;BYSETPOS=1", "beside another BY"),
        ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "a day that exists"),
        ("FREQ=DAILY;UNTIL=20260101", "at least one day"),
        ("FREQ=MONTHLY;BYMONTHDAY=0", "not '0'"),
        ("", "at least 1 character"),
    ],
)
def test_wrong_rule_is_refused_by_table_and_key(rule: str, says: str) -> None:
    """A rule nobody can mean is reported with the table, the text met and what is accepted."""
    people = PEOPLE.replace(
        'starts = "08:00"\nends = "17:00"',
        f'starts = "08:00"\nends = "17:00"\nalso = [{{ rule = "{rule}", since = 2027-01-02 }}]',
    )
    with pytest.raises(BadInput) as refused:
        site_of(people)
    assert "person.bo, also #1" in str(refused.value)
    assert says in str(refused.value)


@pytest.mark.parametrize(
    ("gap", "says"),
    [
        ("first = 2027-02-10, last = 2027-02-01", "first on or before last"),
        ("first = 2027-02-10", "first and last, or rule and since"),
        ('rule = "FREQ=MONTHLY;BYDAY=1MO"', "first and last, or rule and since"),
        ('first = 2027-02-10, last = 2027-02-11, rule = "FREQ=DAILY", since = 2027-01-01', "first and last, or rule"),
        ('rule = "FREQ=DAILY", since = 2027-01-01, days = 0', "a number of at least 1"),
    ],
)
def test_stretch_of_days_is_dated_or_ruled_not_both(gap: str, says: str) -> None:
    """Half a stretch, or two ways at once, is no stretch."""
    with pytest.raises(BadInput, match=says):
        site_of(extra=f'[vat.G2]\nlike = "G1"\nclosed = [{{ {gap} }}]\n')


def _with_bo_on_saturdays() -> Site:
    also = 'also = [{ rule = "FREQ=WEEKLY;INTERVAL=2;BYDAY=SA", since = 2027-03-06 }]\n'
    leave = 'leave = [{ rule = "FREQ=MONTHLY;BYDAY=1MO", since = 2027-01-01 }]\n'
    return site_of(PEOPLE.replace("[person.cy]", f"{also}{leave}[person.cy]"))


def test_every_second_saturday_is_worked_and_the_one_between_is_not() -> None:
    """Shifts by rule reach whoever asks the farm, leave by rule wins over a working day."""
    bo = _with_bo_on_saturdays().people["bo"]
    assert [bo.works_on(date(2027, 3, day)) for day in (6, 13, 20, 27)] == [True, False, True, False]
    assert not bo.works_on(date(2027, 3, 1)), "the first Monday of the month is off"
    assert bo.works_on(date(2027, 3, 8))
    assert not bo.works_on(date(2027, 3, 7)), "a Sunday is neither"


def test_timetable_gives_work_to_the_saturday_shift() -> None:
    """Work only Bo may do, wanted on a Saturday, is placed on that of the rule and is unplaced on the other."""
    people = "".join(part for part in _people_of_bo())
    site = site_of(people)
    for day, placed in ((5, True), (12, False)):
        wanted = need("x", day=day, slack_h=8, earliest=MONDAY.replace(hour=8) + timedelta(days=day), skill="dip")
        table = schedule((wanted,), site, now=MONDAY, seconds=0.3)
        starts = [task.start.date() for task in table.tasks]
        assert (starts == [date(2027, 3, 1) + timedelta(days=day)]) == placed


def _people_of_bo() -> tuple[str, ...]:
    also = 'also = [{ rule = "FREQ=WEEKLY;INTERVAL=2;BYDAY=SA", since = 2027-03-06 }]\n'
    hours = 'starts = "08:00"\nends = "17:00"\n'
    return ('[person.bo]\nskills = ["dip"]\ndays = ["mon", "tue", "wed", "thu", "fri"]\n', hours, also)


def test_receiving_team_may_work_a_saturday_by_rule_and_close_by_rule() -> None:
    """The same two keys stand in [receiving]."""
    text = """
[receiving]
days = ["mon", "tue", "wed", "thu", "fri"]
also = [{ rule = "FREQ=MONTHLY;BYDAY=1SA", since = 2027-01-01 }]
closed = [{ rule = "FREQ=YEARLY;BYMONTH=12;BYMONTHDAY=24", since = 2026-01-01, days = 3, why = "nobody here" }]
"""
    receiving = site_of(extra=text).receiving
    assert receiving.works_on(date(2027, 1, 2))
    assert not receiving.works_on(date(2027, 1, 9))
    assert [receiving.works_on(date(2026, 12, day)) for day in (23, 24, 25, 28)] == [True, False, False, True]


def test_closures_by_rule_reach_the_plan() -> None:
    """A vat scrubbed on the first Monday of each month is closed to the plan on those days, day after day to the horizon."""
    extra = '[vat.G2]\nlike = "G1"\nclosed = [{ rule = "FREQ=MONTHLY;BYDAY=1MO", since = 2027-01-01, days = 2 }]\n'
    site = site_of(extra=extra)
    assert not site.vats["G2"].open_on(date(2027, 3, 1))
    assert not site.vats["G2"].open_on(date(2027, 3, 2)), "two days long"
    assert site.vats["G2"].open_on(date(2027, 3, 3))
    today = MONDAY.date()
    problem = frame(site, load(), floor_of([]), (), today)
    closed = {offer.id: offer.closed for offer in problem.vats}
    assert closed["G1"] == ()
    assert closed["G2"][:3] == ((0, 2), (35, 37), (63, 65)), "1 March, 5 April, 3 May 2027 are first Mondays"
    assert 23 <= len(closed["G2"]) <= 25
    assert closed["G2"][-1][0] <= CLOSURE_DAYS


def test_span_reaching_into_the_window_from_before_counts() -> None:
    """A week's closure that began last year still closes the first days of this one."""
    gap = Closed(rule="FREQ=YEARLY;BYMONTH=12;BYMONTHDAY=29", since=date(2025, 1, 1), days=7)
    assert gap.holds(date(2027, 1, 4))
    assert not gap.holds(date(2027, 1, 5))
    assert list(gap.spans(date(2027, 1, 1), date(2027, 1, 1))) == [(date(2026, 12, 29), date(2027, 1, 4))]


def test_cutting_day_is_work_while_animals_stand_there() -> None:
    """A routine is laid out on its days, once each, for its skill; an empty system has none."""
    site = site_of(extra=CUTTING.format(system="grow"))
    floor = floor_of([("T-1", "stony_montipora", 20, "G1", MONDAY - timedelta(days=90))])
    needs = [one for one in needs_for(floor.stays, floor, load(), site, now=MONDAY) if one.kind == "cutting"]
    days = [one.nominal.date() for one in needs]
    assert days == [date(2027, 3, 2) + timedelta(days=14 * step) for step in range(5)]
    assert [one.uid for one in needs][:1] == ["grow/routine/cuttings/2027-03-02"]
    assert {(one.minutes, one.skill, one.headcount) for one in needs} == {(120, "dip", 20)}
    assert needs[0].title == "Cutting day: house cuttings in grow"
    assert needs[0].latest - needs[0].nominal == timedelta(hours=23, minutes=45)
    empty = floor_of([])
    assert needs_for(empty.stays, empty, load(), site, now=MONDAY) == ()
    table = schedule((needs[0],), site, now=MONDAY, seconds=0.3)
    assert [task.start.date() for task in table.tasks] == [date(2027, 3, 2)]


def test_routine_names_a_system_and_a_vat_of_it() -> None:
    """A routine that points nowhere is refused with what is there."""
    with pytest.raises(BadInput, match="Q1, Q2, grow"):
        site_of(extra=CUTTING.format(system="pond"))
    with pytest.raises(BadInput, match="a vat of system grow"):
        site_of(extra=CUTTING.format(system="grow") + 'vat = "Q1a"\n')


def test_days_of_a_zone_are_the_farms_days() -> None:
    """A routine late on the last day of the horizon is still that day's, in the farm's own zone."""
    site = site_of(extra=CUTTING.format(system="grow"))
    floor = floor_of([("T-1", "stony_montipora", 20, "G1", MONDAY - timedelta(days=90))])
    late = datetime(2027, 3, 2, 23, 30, tzinfo=MONDAY.tzinfo)
    uids = [one.uid for one in needs_for(floor.stays, floor, load(), site, now=late) if one.kind == "cutting"]
    assert uids[0].endswith("2027-03-02"), "still today until a quarter to midnight"


def test_farm_file_reads_a_rule_as_it_is_typed() -> None:
    """What `init` shows as a note is accepted when the note is taken away."""
    from importlib.resources import files

    text = (files("intake") / "app" / "new_farm" / "farm_template.toml").read_text(encoding="utf-8")
    lines = [
        line.removeprefix("# ") if line.startswith("# ") and ("rule = " in line or "routine" in line) else line
        for line in text.splitlines()
    ]
    typed = "\n".join(lines).replace("# name = ", "name = ").replace('# kind = "cutting"', 'kind = "cutting"')
    typed = typed.replace("# since = ", "since = ").replace('# system = "growout"', 'system = "growout"')
    site = read_site(typed.replace("# minutes = 120", "minutes = 120").encode())
    assert site.people["owner"].also[0].rule == "FREQ=WEEKLY;INTERVAL=2;BYDAY=SA"
    assert site.people["owner"].leave[1].rule == "FREQ=MONTHLY;BYDAY=1MO"
    assert site.routines["cuttings"].minutes == 120


def test_work_names_the_water_as_people_call_it() -> None:
    """The name of the system, and of the vat where one is meant, not their ids."""
    named = '[system.pool]\nname = "Green pool"\nrole = "grow-out"\ntemperature_c = 26\nsalinity_psu = 35\n'
    vat = '[vat.P1]\nname = "Basin"\nsystem = "pool"\nbench_area_m2 = 2\nwater_depth_mm = 300\nvolume_l = 600\n'
    site = site_of(extra=named + vat + CUTTING.format(system="pool") + 'vat = "P1"\n')
    floor = floor_of([("T-1", "stony_montipora", 20, "P1", MONDAY - timedelta(days=90))])
    needs = [one for one in needs_for(floor.stays, floor, load(), site, now=MONDAY) if one.kind == "cutting"]
    assert needs[0].title == "Cutting day: house cuttings in Basin, Green pool"
