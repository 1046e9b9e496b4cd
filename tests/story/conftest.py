"""The demo walked once for all tests of this folder, with the farm's one clock held at one moment.

The clock function is replaced and not the whole of ``datetime``: what is imported on the way (pandas, OR-Tools) does not
bear a false one, and under it a time in the repeated hour of autumn loses its fold.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from intake.app import system_clock as clock
from intake.app.commands import plan_vats
from intake.app.commands.plan_vats import Proposal
from intake.cli.command_table import vatside

__all__ = ["NOW", "Command", "Story"]

NOW = "2027-05-12T09:35:00+00:00"
"""A Wednesday; the deliveries of the story lie 46 days before and four days after it."""


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
    """``vatside demo``, run once."""
    folder = tmp_path_factory.mktemp("story") / "farm"
    proposals: list[Proposal] = []
    propose = plan_vats.propose

    def watched(*words: Any, **options: Any) -> Proposal:
        proposals.append(propose(*words, **options))
        return proposals[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plan_vats, "propose", watched)
        patch.setattr(clock, "now", lambda: datetime.fromisoformat(NOW))
        told = CliRunner().invoke(vatside, ["demo", str(folder)], catch_exceptions=False)
    return Story(folder, told.stdout, told.exit_code, proposals)


Command = Callable[..., subprocess.CompletedProcess[str]]

_HELD = (
    "from datetime import datetime\nfrom intake.app import system_clock as clock\nfrom intake.main import main\n"
    f"clock.now = lambda: datetime.fromisoformat('{NOW}')\nmain()"
)


@pytest.fixture(scope="session")
def command(story: Story) -> Command:
    """A command in a process of its own, in the folder of the story, at its last moment."""

    def give(*words: str) -> subprocess.CompletedProcess[str]:
        line = [sys.executable, "-c", _HELD, *words]
        return subprocess.run(line, capture_output=True, text=True, check=False, cwd=story.folder)

    return give
