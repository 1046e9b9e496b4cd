"""Which copies stay: enough of each age, never none, whatever the clock did."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from intake.store.copying.rotation import DAYS, HOURS, WEEKS, expendable

START = datetime(2027, 3, 4, tzinfo=UTC)


def test_a_year_of_copies_every_half_hour() -> None:
    """A day of hours, a fortnight of days, eight weeks, each the newest of its period."""
    made = [START + timedelta(minutes=30 * number) for number in range(365 * 48)]
    kept = sorted(set(made) - expendable(made), reverse=True)
    assert kept[0] == made[-1]
    assert [a - b for a, b in pairwise(kept)][:23] == [timedelta(hours=1)] * 23
    assert len({moment.date() for moment in kept}) >= DAYS
    assert len({moment.isocalendar()[:2] for moment in kept}) == WEEKS
    assert len(kept) <= HOURS + DAYS + WEEKS


@given(st.lists(st.integers(0, 10**7).map(lambda minutes: START + timedelta(minutes=minutes)), max_size=60))
def test_the_newest_and_the_younger_copies_stay(moments: list[datetime]) -> None:
    """Nothing is deleted twice over, the newest never, and thinning again deletes nothing more."""
    gone = expendable(moments)
    kept = set(moments) - gone
    assert gone <= set(moments)
    assert (max(moments) in kept) if moments else not kept
    assert expendable(kept) == frozenset()


def test_a_copy_dated_in_the_future_does_not_push_the_others_out() -> None:
    """A clock that stood a year ahead for one copy costs one place."""
    made = [START + timedelta(hours=number) for number in range(10)]
    assert expendable([*made, START + timedelta(days=365)]) == frozenset()
