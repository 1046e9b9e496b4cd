"""The wall screen: everything that is read from four metres, and nothing that can be tapped."""

from __future__ import annotations

from starlette.responses import Response

from intake.app.queries.biosecurity.reading_alarms import alarm_lines
from intake.app.queries.overview.wall_screen import wall_facts
from intake.board.pages.floor_pages import loss_alarms
from intake.board.request import Asked

__all__ = ["wall"]


def wall(asked: Asked) -> Response:
    """Systems and vats with fullness and what is due, alarms, the landing lane on the day, and the clock."""
    alarms = [str(one["words"]) for one in loss_alarms(asked) or () if not one["over"]]
    alarms += alarm_lines(asked.house)
    return asked.show("wall.html", facts=wall_facts(asked.house), alarms=alarms)
