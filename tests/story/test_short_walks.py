"""The story over other lengths than six weeks: whatever fits or does not by its last day, it ends in good order."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app import system_clock as clock
from intake.cli.command_table import vatside
from intake.demo import before_landing, second_shipment, six_weeks
from tests.story.conftest import NOW

QUICKER = (
    (before_landing, "PLAN_SECONDS"),
    *((module, "TABLE_SECONDS") for module in (before_landing, six_weeks, second_shipment)),
    (six_weeks, "QUICK_SECONDS"),
)
"""Searches of half a second: plans are not the best there are, and the story must bear them."""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("days", "now"), [(1, "2027-10-03T18:00:00+00:00"), (9, NOW), (9, "2026-11-30T15:20:00+00:00"), (20, NOW)]
)
def test_the_demo_ends_well_after_any_number_of_days(
    days: int, now: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After 9 days no water could take the second list: all of it was struck out and the story ended in a refusal."""
    monkeypatch.setattr(clock, "now", lambda: datetime.fromisoformat(now))
    for module, name in QUICKER:
        monkeypatch.setattr(module, name, 0.5)
    told = CliRunner().invoke(vatside, ["demo", str(tmp_path / "farm"), "--days", str(days)], catch_exceptions=False)
    said = " ".join(told.output.split())
    assert told.exit_code == 0, said[-600:]
    assert "Every animal is accounted for." in said
    assert "Plan for it:" in said
