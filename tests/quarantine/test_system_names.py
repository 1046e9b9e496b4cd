"""Short names of water systems, as titles of rounds and care show them."""

from __future__ import annotations

import pytest

from intake.quarantine.daily.rounds import short_name
from tests.rules.ground import SITE


@pytest.mark.parametrize(
    ("name", "short"),
    [
        ("Quarantine A", "A"),
        ("Fish quarantine", "Fish"),
        ("Fish quarantine, second water", "Fish, second"),
        ("Quarantine, fish", "fish"),
        ("quarantine-c", "c"),
        ("Quarantine", "Quarantine"),
    ],
)
def test_a_short_name_leaves_out_what_all_share_and_no_blank_before_a_comma(name: str, short: str) -> None:
    """What is left reads as a name; a system that is called nothing else keeps the word."""
    named = SITE.model_copy(
        update={"systems": {**SITE.systems, "qa": SITE.systems["qa"].model_copy(update={"name": name})}}
    )
    assert short_name(named, "qa") == short
