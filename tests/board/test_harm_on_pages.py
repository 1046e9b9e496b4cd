"""What would harm animals, tried at the board's forms as somebody new to the farm tries it."""

from __future__ import annotations

import pytest
from starlette.applications import Starlette

from tests.board.conftest import Entering, entries_of, post

WRITTEN = {"prescriber": "vet", "reference": "RX", "agent": "copper", "strength": "as told", "dose_source": "RX"}
TRIED: dict[str, tuple[str, dict[str, str], str]] = {
    "copper for clams": (
        "/batches/S1-01/order",
        {"dip": "fish-copper-bath", "reason": "spots seen", **WRITTEN},
        "(copper)",
    ),
    "free text that is copper": (
        "/batches/S1-01/order",
        {"dip": "coral-iodine-dip", "reason": "spots seen", "strength": "Cu 0.2"},
        "(copper)",
    ),
    "fresh water for clams": (
        "/batches/S1-01/order",
        {"dip": "coral-freshwater-dip", "reason": "spots seen"},
        "(treatment-forbidden)",
    ),
    "fragments of a clam": ("/batches/S1-01/cut", {"pieces": "4", "vat": "Q1"}, "(cut-kind)"),
    "a finding where nobody stood": (
        "/batches/S1-01/finding",
        {"what": "perkinsus", "vat": "G1"},
        "(finding-elsewhere)",
    ),
    "five thousand more on a line of sixty": ("/batches/S1-01/rebook", {"count": "5000", "vat": "Q1"}, "(above-line)"),
    "out of quarantine on the first day": (
        "/batches/S1-01/move",
        {"count": "5", "source": "Q1", "target": "G1"},
        "(not-free)",
    ),
    "eight degrees": ("/vats/Q1/reading", {"quantity": "temperature_c", "value": "8"}, "(reading-far)"),
    "a clean vat full of clams": ("/vats/Q1/clean", {}, "(clean-occupied)"),
}


@pytest.mark.parametrize("name", TRIED)
def test_harm_is_named_on_the_page_and_nothing_is_saved(enter: Entering, app: Starlette, name: str) -> None:
    """By its rule, with what is needed and what is there; without a word too few or many of a reason."""
    where, fields, rule = TRIED[name]
    ben = enter("ben")
    before = entries_of(app)
    answer = post(ben, where, **fields)
    assert answer.status_code == 422
    assert rule in answer.text
    assert "Needed:" in answer.text
    assert post(ben, where, **fields, despite="too short").status_code == 422
    assert entries_of(app) == before


def test_a_closed_vat_takes_nobody_from_the_page(enter: Entering, app: Starlette) -> None:
    """Closed on the board, refused on the board, whatever the reason."""
    ben = enter("ben")
    assert post(ben, "/vats/Q2/close", reason="crack in the glass").status_code == 200
    before = entries_of(app)
    fields = {"count": "5", "source": "Q1", "target": "Q2"}
    for reason in ("", "we must do it today"):
        answer = post(ben, "/batches/S1-01/move", **fields, despite=reason)
        assert answer.status_code == 422
        assert "(vat-closed)" in answer.text
        assert "Save with this reason" not in answer.text
    assert entries_of(app) == before


def test_a_warm_vat_is_saved_and_told(enter: Entering, app: Starlette) -> None:
    """31 °C is true and someone must act: it is on record, and an alarm on the page."""
    ben = enter("ben")
    before = entries_of(app)
    answer = post(ben, "/vats/Q1/reading", quantity="temperature_c", value="31")
    assert answer.status_code == 200
    assert entries_of(app) > before
    assert "! Q1: 31 °C, alarm above 29.5 °C." in ben.get("/").text
