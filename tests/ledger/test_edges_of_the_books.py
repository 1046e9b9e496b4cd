"""Edges of what the books say: the first receipt and the last cleaning over several batches, and animals shared over boxes."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from intake.ledger.balance import Parts, floor_of
from intake.ledger.boxes import _evenly
from tests.ledger.books import hour


def test_the_first_receipt_and_the_last_cleaning_count_whoevers_record_they_are() -> None:
    """Accounts of several batches are put together in any order: the moments decide."""
    early, late = (hour(1), 1), (hour(5), 2)
    rows = [
        Parts(received=((late, "S1"), (early, "S2")), cleaned=((late, "Q1"), (early, "Q2"))),
        Parts(received=((early, "S1"), (late, "S2")), cleaned=((early, "Q1"), (late, "Q2"))),
    ]
    for parts in (rows, rows[::-1]):
        here = floor_of(parts, hour(9))
        assert here.received == {"S1": hour(1), "S2": hour(1)}
        assert here.cleaned == {"Q1": hour(5), "Q2": hour(5)}


def test_a_box_that_lost_one_more_than_its_share_leaves_the_rest_to_the_others() -> None:
    """Eleven came in two boxes, six dead in the second: five lay in the first, and the boxes add up to eleven."""
    assert _evenly(11, ["7", "8"], {"8": 6}) == {"7": 5, "8": 6}
    assert _evenly(11, ["7", "8"], {"7": 6}) == {"7": 6, "8": 5}
    assert _evenly(11, ["7", "8"], {}) == {"7": 6, "8": 5}
    assert _evenly(0, ["7"], {"7": 2}) == {"7": 2}
    assert _evenly(5, [], {}) == {}


@given(total=st.integers(0, 60), least=st.lists(st.integers(0, 25), min_size=1, max_size=6))
def test_shared_animals_add_up_and_no_box_holds_fewer_than_it_lost(total: int, least: list[int]) -> None:
    """Where more were lost than came, what was lost; boxes that lost no more than their share differ by one at most."""
    lost = {f"box {number}": count for number, count in enumerate(least)}
    found = _evenly(total, list(lost), lost)
    assert sum(found.values()) == max(total, sum(found[box] for box in lost if found[box] == lost[box]))
    assert all(found[box] >= lost[box] for box in lost)
    rest = [found[box] for box in lost if found[box] > lost[box]]
    assert max(rest, default=0) - min(rest, default=0) <= 1
    if sum(least) <= total:
        assert sum(found.values()) == total
