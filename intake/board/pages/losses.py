"""Unusual losses: each alarm, what to do first, what its dead have in common, and its charts."""

from __future__ import annotations

from starlette.responses import Response

from intake.app.queries.reports.loss_alarms import alarms_drawn
from intake.board.request import Asked
from intake.board.svg_pictures import inline

__all__ = ["losses"]

_DAYS = (3, 7, 14, 30)
_CHARTS = 3


def losses(asked: Asked) -> Response:
    """Alarms of the last days, seven unless asked otherwise."""
    wanted = asked.query("days")
    days = int(wanted) if wanted in {str(one) for one in _DAYS} else 7
    found, charts = alarms_drawn(asked.house, days=days)
    drawn = [
        (
            one,
            [(its["batch"], inline(charts[its["batch"]])) for its in one["named"][:_CHARTS] if its["batch"] in charts],
        )
        for one in found["alarms"]
    ]
    return asked.show("losses.html", found=found, alarms=drawn, days=days, choices=_DAYS)
