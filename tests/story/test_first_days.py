"""The story in its first days: there is little to report yet, and that is said without stumbling."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from intake.app.queries.reports import loss_report
from intake.demo import second_shipment


@pytest.mark.parametrize(
    ("days", "survival", "said"),
    [(1, None, "After 1 day:"), (9, {"survival": 0.9, "low": 0.8, "high": 0.95}, "worst:")],
)
def test_survival_is_told_only_once_it_can_be_estimated(
    days: int, survival: dict[str, float] | None, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On the day after landing no batch has an estimate; naming the worst of none ended the story with a traceback."""
    row: dict[str, Any] = {"batch": "S1-01", "name": "clams", "came": 10, "doa": 1, "dead_first_7_days": 0}
    told = {"files": ["losses.csv"], "batches": [row | {"survival": survival}]}
    monkeypatch.setattr(loss_report, "losses", lambda *_, **__: told)
    monkeypatch.setattr(second_shipment, "print_forms", lambda *_, **__: [])
    heard: list[str] = []
    story = SimpleNamespace(
        now=None, out=Path(), files=[], days=days, at=lambda _: None, working=lambda _: None, tell=heard.append
    )
    second_shipment.report(story)  # type: ignore[arg-type]
    assert any(said in line for line in heard)
    assert any("worst:" in line for line in heard) is (survival is not None)
