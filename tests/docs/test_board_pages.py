"""The table of commands and pages is whole: no command without its page or a reason, no page that is not there."""

from __future__ import annotations

from types import ModuleType

from intake.board.route_table import WAYS
from intake.cli.command_table import COMMANDS


def test_every_command_has_its_page_or_a_reason(build: ModuleType) -> None:
    """A new command is named here, with where it is done on the board or why it is not."""
    assert set(build.board_pages.ON_PAGE) == set(COMMANDS)


def test_every_page_named_exists(build: ModuleType) -> None:
    """By its address in the board's own table."""
    known = {way.path for way in WAYS} | {"/c"}
    named = {one for told in build.board_pages.ON_PAGE.values() if not isinstance(told, str) for one in told}
    assert named <= known
