"""The journal: what was recorded of late, by whom, with undo for those who may."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Final

from starlette.responses import Response

from intake.app.commands.records.undo_act import undo as undo_act
from intake.app.queries.overview.journal import journal as acts_since
from intake.board.pages.keys import own_page
from intake.board.request import Asked

__all__ = ["journal", "undo"]

_DAYS: Final = (1, 3, 7, 30)


def journal(asked: Asked) -> Response:
    """Acts of the last days, newest first, by everyone or by oneself."""
    house, wanted = asked.house, asked.query("days")
    days = int(wanted) if wanted in {str(one) for one in _DAYS} else 1
    mine = asked.query("who") == "mine"
    first = datetime.combine(house.today - timedelta(days=days - 1), time(), house.site.farm.zone)
    found = acts_since(house, first, asked.person if mine else "")
    people = {one.id: one.name for one in house.site.people.values()}
    return asked.show("journal.html", acts=found[:400], days=days, choices=_DAYS, mine=mine, people=people)


def undo(asked: Asked) -> Response:
    """Undo a whole act by its right; the original stays on record."""
    key, where = asked.field("entry"), own_page(asked.field("back"), "/journal")
    if asked.house.corrections([key, f"{key}.1"]):
        return asked.go(where, "Undone before.")
    said = undo_act(asked.house, key, whole=True, despite=asked.field("despite")).said
    return asked.go(where, " ".join(f"{line}." for line in said))
