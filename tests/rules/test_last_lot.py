"""The one rule of release in shared water: the least fix-point, whatever the order, and never shortened by company."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from intake.rules.last_lot import shared_end

LOTS = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 45)), min_size=1, max_size=9)


def entries(lots: list[tuple[int, int]]) -> list[tuple[int, int, str]]:
    """Entry, own end and name of lots given by entry and length."""
    return [(start, start + days, f"L{number}") for number, (start, days) in enumerate(lots)]


def naive(own: int, lots: list[tuple[int, int, str]]) -> int:
    """Round after round until nothing changes, any lot in any order."""
    end, changed = own, True
    while changed:
        changed = False
        for entered, other, _ in reversed(lots):
            if entered < end < other:
                end, changed = other, True
    return end


@given(lots=LOTS, order=st.randoms(use_true_random=False))
def test_one_pass_is_the_least_fix_point_whatever_the_order(lots: list[tuple[int, int]], order: object) -> None:
    """The study counted 20,000 cases; here against rounds that look at the lots in another order."""
    known = entries(lots)
    mixed = list(known)
    order.shuffle(mixed)  # type: ignore[attr-defined]
    for _, own, _ in known:
        end, setter = shared_end(own, mixed)
        assert end == naive(own, known) == shared_end(own, known)[0]
        assert end in {other for _, other, _ in known}
        assert (setter == "") == (end == own)


@given(lots=LOTS)
def test_company_never_shortens_a_stay(lots: list[tuple[int, int]]) -> None:
    """Taking a lot away never makes another's end later."""
    known = entries(lots)
    for _, own, _ in known:
        for gone in range(len(known)):
            assert shared_end(own, known[:gone] + known[gone + 1 :])[0] <= shared_end(own, known)[0]


def test_the_hour_decides_on_the_day_of_an_end() -> None:
    """An hour before the end the newcomer sets the date; at the end, and an hour after, the lots are apart."""
    end = datetime(2027, 3, 30, 14, tzinfo=UTC)
    for hours, held in ((-1, True), (0, False), (1, False)):
        entered = end + timedelta(hours=hours)
        later = entered + timedelta(days=30)
        assert shared_end(end, [(entered, later, "B")])[0] == (later if held else end)


def test_who_overstays_waits_with_the_newcomer() -> None:
    """A lot whose end is past but that still stands there is met by who enters today."""
    assert shared_end(30, [(33, 60, "B")]) == (30, "")
    assert shared_end(30, [(33, 60, "B")], 34) == (60, "B")
