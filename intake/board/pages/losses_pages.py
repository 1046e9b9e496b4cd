"""Unusual losses: each alarm, what to do first, what its dead have in common, and its charts."""

from __future__ import annotations

from starlette.responses import Response

from intake.app.queries.reports.loss_alarms import alarms_drawn, shared_by_dead
from intake.board.background_jobs import Watch
from intake.board.request import Asked
from intake.board.svg_pictures import inline

__all__ = ["common", "losses"]

_DAYS = (3, 7, 14, 30)
_CHARTS = 3


def common(asked: Asked) -> Response:
    """What the dead of the last days have in common, alarm or not; worked out beside the page."""
    wanted = asked.query("days")
    days = int(wanted) if wanted in {str(one) for one in _DAYS} else 7
    watches: dict[str, Watch] = asked.request.app.state.reports
    watch, farm = watches.setdefault(f"common-{days}", Watch()), asked.farm
    found = watch.ask((farm.stamp(), asked.house.today), lambda: shared_by_dead(farm.house(), days=days), 1.5)
    return asked.show("common.html", found=found, days=days, choices=_DAYS)


def losses(asked: Asked) -> Response:
    """Alarms of the last days, seven unless asked otherwise."""
    wanted = asked.query("days")
    days = int(wanted) if wanted in {str(one) for one in _DAYS} else 7
    found, charts = alarms_drawn(asked.house, days=days)
    drawn = [
        (
            one,
            [
                (its["batch"], its["name"], inline(charts[its["batch"]]))
                for its in one["named"][:_CHARTS]
                if its["batch"] in charts
            ],
        )
        for one in found["alarms"]
    ]
    return asked.show("losses.html", found=found, alarms=drawn, days=days, choices=_DAYS)
