"""Amber and red hours in the bag: a bag is past them from the hour itself on."""

from __future__ import annotations

import pytest

from intake.receiving.solution import _state
from tests.receiving.test_day import box


@pytest.mark.parametrize(
    ("hours", "state"), [(0.0, ""), (23.99, ""), (24.0, "amber"), (35.99, "amber"), (36.0, "red"), (50.0, "red")]
)
def test_a_bag_is_amber_and_red_from_the_hour_itself(hours: float, state: str) -> None:
    """24 h and 36 h are the group's figures: at the hour the mark is there, a minute before it is not."""
    assert _state(box(1), hours) == state
