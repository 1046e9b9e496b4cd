"""Free minutes and stocks as bits of whole numbers, against counting minute by minute."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from intake.receiving.solving.free_minutes import Store

DRAWS = st.lists(st.tuples(st.integers(-5, 40), st.integers(-5, 60), st.integers(0, 45)), max_size=8)


@given(
    draws=DRAWS,
    amount=st.integers(0, 130),
    asked=st.tuples(st.integers(0, 45), st.integers(0, 60), st.integers(0, 140)),
)
def test_a_stock_is_there_where_no_minute_uses_too_much(
    draws: list[tuple[int, int, int]], amount: int, asked: tuple[int, int, int]
) -> None:
    """What is drawn before the first minute, over itself, or beyond the stock counts as it would minute by minute."""
    store = Store(amount)
    for draw in draws:
        store.draw(*draw)
    used = [sum(litres for start, end, litres in draws if start <= minute < end) for minute in range(70)]
    start, end, wanted = asked
    there = wanted == 0 or all(used[minute] + wanted <= amount for minute in range(start, end))
    assert store.fits(start, end, wanted) == there
    for minute in range(70):
        assert bool(store.room(wanted) >> minute & 1) == (wanted == 0 or used[minute] + wanted <= amount)


def test_a_stock_goes_back_to_what_it_was() -> None:
    """The room asked for in between is not remembered."""
    store = Store(100)
    store.draw(0, 10, 60)
    before = store.used
    store.draw(5, 15, 40)
    assert not store.fits(5, 10, 1)
    store.back(before)
    assert store.fits(5, 10, 40)
    assert Store(None).fits(0, 10, 1000)
