"""The demo walked once for all tests of this folder, with the clock held at one moment."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from freezegun import freeze_time

import tests.cli.conftest  # noqa: F401  # imports everything that must not be imported while the clock is frozen
from intake.cli import vatside
from intake.desk import plans
from intake.desk.plans import Proposal

__all__ = ["NOW", "Command", "Story"]

NOW = "2027-05-12T09:35:00+00:00"
"""A Wednesday; the deliveries of the story lie ten days before and four days after it."""


@dataclass(slots=True)
class Story:
    """What the demo said, what it wrote, and every plan it made."""

    folder: Path
    told: str
    exit_code: int
    proposals: list[Proposal] = field(default_factory=list)

    @property
    def plain(self) -> str:
        """What was said, on one line, so that a folded sentence is found."""
        return " ".join(self.told.split())


@pytest.fixture(scope="session")
def story(tmp_path_factory: pytest.TempPathFactory) -> Story:
    """``vatside demo --days 10``, run once."""
    folder = tmp_path_factory.mktemp("story") / "farm"
    proposals: list[Proposal] = []
    propose = plans.propose

    def watched(*words: Any, **options: Any) -> Proposal:
        proposals.append(propose(*words, **options))
        return proposals[-1]

    with pytest.MonkeyPatch.context() as patch, freeze_time(NOW):
        patch.setattr(plans, "propose", watched)
        told = CliRunner().invoke(vatside, ["demo", str(folder), "--days", "10"], catch_exceptions=False)
    return Story(folder, told.stdout, told.exit_code, proposals)


Command = Callable[..., subprocess.CompletedProcess[str]]

_FROZEN = (
    "import intake.desk.feeds, intake.desk.records, intake.desk.shipments, intake.plan.relief\n"
    "from freezegun import freeze_time\nfrom intake.cli import main\n"
    f"with freeze_time('{NOW}'):\n    main()"
)


@pytest.fixture(scope="session")
def command(story: Story) -> Command:
    """A command in a process of its own, in the folder of the story, at its last moment."""

    def give(*words: str) -> subprocess.CompletedProcess[str]:
        line = [sys.executable, "-c", _FROZEN, *words]
        return subprocess.run(line, capture_output=True, text=True, check=False, cwd=story.folder)

    return give
