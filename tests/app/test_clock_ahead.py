"""A clock that stood ahead: asked about before it is believed, and its entries dated anew without losing one."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from intake.app.backups.redate_entries import ahead, redate_entries
from intake.app.calendars import feed_publication
from intake.app.commands import count_animals
from intake.app.commands.count_animals import Count
from intake.app.farm_folder import check_house
from intake.app.session import as_of_last_entry, open_house
from intake.app.system_clock import LONG_SILENCE
from intake.errors import BadInput, Refused
from intake.farm.local_time import on_farm_clock
from tests.app.deliveries import LANDED, Open, received

LATER = LANDED + timedelta(hours=5)
YEAR_AHEAD = LATER + timedelta(days=365)


def test_an_entry_after_a_long_silence_asks_for_the_day(house_at: Open) -> None:
    """With a clock a year ahead nothing is recorded until somebody says that it is that day."""
    house = received(house_at)
    count_animals.count(house, "S1-01", "Q1", Count(dead=1))
    with pytest.raises(Refused, match="--today 2028-03-03"):
        count_animals.count(house_at(YEAR_AHEAD), "S1-01", "Q1", Count(dead=1))
    sure = open_house(house.folder, who="ada", now=YEAR_AHEAD, confirmed="2028-03-03")
    count_animals.count(sure, "S1-01", "Q1", Count(dead=2))
    assert house_at(YEAR_AHEAD).floor().headcount("S1-01") == 37
    sure.books.close()
    count_animals.count(house_at(YEAR_AHEAD + LONG_SILENCE - timedelta(days=1)), "S1-01", "Q1", Count(dead=1))


def test_a_farm_with_entries_ahead_opens_and_can_be_put_right(house_at: Open) -> None:
    """Counts, a finding, a hold and calendars made a year ahead: after dating anew the farm stands as they say, today."""
    house = received(house_at)
    feed_publication.publish(house)
    before = {uid: row.sequence for uid, row in feed_publication.revisions(house).items()}
    wrong = open_house(house.folder, who="ben", now=YEAR_AHEAD, confirmed="2028-03-03")
    count_animals.count(wrong, "S1-01", "Q1", Count(dead=3, alive=37))
    with wrong.act() as act:
        act.note("hold", "S1-02", {"batch": "S1-02", "reason": "spots"})
    feed_publication.publish(wrong)
    told = as_of_last_entry(house_at(LATER))
    assert told.refuses is not None
    assert told.floor().headcount("S1-01") == 37
    with pytest.raises(Refused, match="clock --right"):
        count_animals.count(told, "S1-01", "Q1", Count(dead=1))
    right = house_at(LATER)
    assert ahead(right)
    redate_entries(right)
    after = house_at(LATER)
    assert as_of_last_entry(after).refuses is None
    assert ahead(after) == ()
    assert after.floor().headcount("S1-01") == 37
    assert [hold.batch for hold in after.floor().holds] == ["S1-02"]
    count_animals.count(after, "S1-01", "Q1", Count(dead=1))
    assert house_at(LATER + timedelta(hours=1)).floor().headcount("S1-01") == 36
    assert check_house(house_at(LATER + timedelta(hours=1))) == []
    now = feed_publication.revisions(house_at(LATER))
    assert all(now[uid].sequence >= sequence for uid, sequence in before.items())
    with pytest.raises(Refused, match="later than that"):
        redate_entries(house_at(LATER + timedelta(hours=1)))


@pytest.mark.parametrize(
    ("typed", "words"),
    [("2027-03-28T02:30", "skip"), ("2027-10-31T02:30", "twice")],
    ids=["clocks go forward", "clocks go back"],
)
def test_a_time_the_clock_skips_or_repeats_is_asked_about(typed: str, words: str) -> None:
    """Never guessed: a dip an hour off is another dip.  The choices are offered with their offsets."""
    zone = ZoneInfo("Europe/Berlin")
    with pytest.raises(BadInput, match=words) as refused:
        on_farm_clock(datetime.fromisoformat(typed), zone, "--at")
    choices = refused.value.findings[0].expected.split(" or ")
    assert len(choices) == 2
    for one in choices:
        assert on_farm_clock(datetime.fromisoformat(one), zone, "--at") == datetime.fromisoformat(one)


def test_any_other_time_is_taken_as_the_farms(house_at: Open) -> None:
    """Nothing is asked on the other 8,758 hours of the year."""
    zone = ZoneInfo("Europe/Berlin")
    assert on_farm_clock(datetime(2027, 3, 28, 3, 0), zone, "--at").isoformat() == "2027-03-28T03:00:00+02:00"  # noqa: DTZ001
