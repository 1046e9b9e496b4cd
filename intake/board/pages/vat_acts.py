"""Acts about a vat or its water: closed, opened, joined to another system, a tool carried wet, a logger read in."""

from __future__ import annotations

from datetime import datetime, time

from starlette.responses import Response

from intake.app.commands import maintain_vats
from intake.app.commands.records.read_logger import import_readings
from intake.board.pages.keys import act_key, acted
from intake.board.pages.typed import day_of_field
from intake.board.request import Asked
from intake.errors import BadInput, Finding

__all__ = ["carried", "close", "logger", "open_again", "replumb"]


def close(asked: Asked) -> Response:
    """Close a vat to newcomers, until a day or until it is opened."""
    vat, reason, until = asked.path("vat"), asked.field("reason"), day_of_field(asked, "until")
    ends = datetime.combine(until, time(), asked.house.site.farm.zone) if until else None
    return acted(
        asked, f"/vats/{vat}", lambda house, key: maintain_vats.close_vat(house, vat, reason, until=ends, key=key)
    )


def open_again(asked: Asked) -> Response:
    """Open a vat again, whoever closed it."""
    vat = asked.path("vat")
    return acted(asked, f"/vats/{vat}", lambda house, key: maintain_vats.open_vat(house, vat, key=key))


def replumb(asked: Asked) -> Response:
    """Record that a vat was joined to another system's water."""
    vat, joined, despite = asked.path("vat"), asked.field("joined"), asked.field("despite")
    left = asked.field("left") or asked.house.site.vat(vat).system
    return acted(
        asked,
        f"/vats/{vat}",
        lambda house, key: maintain_vats.replumb(house, vat, left, joined, despite=despite, key=key),
    )


def carried(asked: Asked) -> Response:
    """Record that a tool went wet from this vat into another."""
    vat, tool, target = asked.path("vat"), asked.field("tool"), asked.field("target")
    return acted(asked, f"/vats/{vat}", lambda house, key: maintain_vats.carried(house, tool, vat, target, key=key))


def logger(asked: Asked) -> Response:
    """Take in the readings of a logger's CSV; rows read before are left out."""
    upload, place, despite = asked.files.get("file"), asked.field("place"), asked.field("despite")
    if upload is None or not upload.data:
        raise BadInput(Finding("file", "", "a logger's CSV"))
    if place not in asked.house.site.vats and place not in asked.house.site.systems:
        raise BadInput(Finding("place", place[:40], "a vat or a system of the farm"))
    found = import_readings(
        asked.house, upload.data, upload.name, place, dates=asked.field("dates"), despite=despite, key=act_key(asked)
    )
    said = " ".join((*found.columns, *found.recorded.said, f"{found.fresh} of {found.rows} rows are new."))
    return asked.go(f"/readings?place={place}", said)
