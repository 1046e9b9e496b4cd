"""The story told over other lengths than six weeks: whatever fits or does not by its last day, it ends in good order."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app import system_clock as clock
from intake.cli.command_table import vatside
from tests.story.conftest import NOW


@pytest.mark.slow
@pytest.mark.parametrize(
    ("days", "now"),
    [(1, NOW), (9, NOW), (9, "2026-11-30T15:20:00+00:00"), (20, NOW), (33, "2027-10-03T18:00:00+00:00")],
)
def test_the_demo_ends_well_after_any_number_of_days(
    days: int, now: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After 9 days no water could take the second list: all of it was struck out and the story ended in a refusal."""
    monkeypatch.setattr(clock, "now", lambda: datetime.fromisoformat(now))
    told = CliRunner().invoke(vatside, ["demo", str(tmp_path / "farm"), "--days", str(days)], catch_exceptions=False)
    said = " ".join(told.output.split())
    assert told.exit_code == 0, said[-600:]
    assert "Every animal is accounted for." in said
    assert "Plan for it:" in said
