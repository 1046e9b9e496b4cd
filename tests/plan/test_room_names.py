"""The room's names are what they say whatever was imported before: ``solve`` is the function, not the module of that name."""

from __future__ import annotations

import subprocess
import sys

import pytest


@pytest.mark.parametrize("first", ["import intake.plan.solve", "from intake.plan import solve", "import intake.plan"])
def test_solve_is_the_function_after_any_import(first: str) -> None:
    """Once its module had been imported anywhere, ``from intake.plan import solve`` gave the module."""
    code = f"{first}\nimport intake.plan.solve\nfrom intake.plan import solve\nassert callable(solve), solve"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
