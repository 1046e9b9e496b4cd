"""The floor today, one vat, and vat space over time."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, Final

from starlette.responses import Response

from intake.app.commands import maintain_vats, record_observation
from intake.app.queries.biosecurity.contact_tracing import last_in_vat
from intake.app.queries.biosecurity.reading_alarms import alarm_lines
from intake.app.queries.overview import due_work, floor_today, vat_timeline
from intake.app.queries.reports.claim_status import open_claims
from intake.board.background_jobs import Watch
from intake.board.open_farm import OpenFarm
from intake.board.pages.keys import acted, own_page
from intake.board.pages.typed import measured
from intake.board.request import Asked
from intake.board.svg_pictures import space_picture
from intake.errors import BadInput, Finding

__all__ = ["alarm_state", "clean", "floor", "look_for_alarms", "loss_alarms", "reading", "space", "vat"]

_ALARM_DAYS: Final = 3
_PATIENCE_S: Final = 0.5
_CLOCKS_APART: Final = timedelta(minutes=1)
"""Something recorded at the very moment a search began, or by a program whose clock is behind, still presses."""


def floor(asked: Asked) -> Response:
    """What is in every vat, how full it is, what is due and when lots are released."""
    return asked.show(
        "floor.html",
        facts=floor_today.floor_facts(asked.house),
        claims=open_claims(asked.house) if asked.may("prices") else (),
        alarms=loss_alarms(asked) or (),
        readings=alarm_lines(asked.house),
    )


def loss_alarms(asked: Asked) -> Any:
    """Alarms on losses of the last days, worked out beside the page: they take longer than a keeper would wait."""
    return look_for_alarms(asked.farm, asked.request.app.state.watch, _PATIENCE_S)


def look_for_alarms(farm: OpenFarm, watch: Watch, patience_s: float) -> Any:
    """Ask for the alarms of the present state; the last ones found while they are still being looked for."""
    from intake.app.queries.reports.loss_alarms import alarms, deaths_recorded

    return watch.ask(
        alarm_state(farm),
        lambda: alarms(farm.house(), days=_ALARM_DAYS)["alarms"],
        patience_s,
        now=farm.now(),
        presses=lambda since: deaths_recorded(farm.house(), since - _CLOCKS_APART),
    )


def alarm_state(farm: OpenFarm) -> tuple[object, date]:
    """What alarms on losses depend on: the ledger and the farm's day."""
    return farm.stamp(), farm.now().astimezone(farm.house().site.farm.zone).date()


def vat(asked: Asked) -> Response:
    """One vat: who is in it, its work, its readings, and who stood there before."""
    house = asked.house
    found = house.site.vat(asked.path("vat"))
    facts = floor_today.floor_facts(house)
    system = next(one for one in facts.systems if one.system == found.system)
    fact = next(one for one in system.vats if one.vat == found.id)
    floor_now = house.floor()
    readings = [one for one in floor_now.readings if one.place in {f"vat:{found.id}", found.system}][::-1][:20]
    return asked.show(
        "vat.html",
        vat=found,
        fact=fact,
        system=system,
        readings=readings,
        before=last_in_vat(house, found.id, 30),
        batches=floor_now.batches,
        vat_closed=_closed(asked, found.id),
        vats=[one for one in house.site.vats if one != found.id],
        systems=house.site.systems,
        work=due_work.due_work(house, vat=found.id, days=30),
    )


def _closed(asked: Asked, vat: str) -> str:
    """Why a person closed this vat, while it is closed."""
    now = asked.house.now
    return next((one.reason for one in asked.house.floor().closures if one.vat == vat and one.holds(now)), "")


def clean(asked: Asked) -> Response:
    """Record a vat as empty, clean and dry."""
    name = asked.path("vat")
    return acted(asked, f"/vats/{name}", lambda house, key: maintain_vats.clean(house, name, key=key))


def reading(asked: Asked) -> Response:
    """Record a measurement in a vat or its system."""
    name, read = asked.path("vat"), measured(asked, asked.field("quantity"), "value")
    if read is None:
        raise BadInput(Finding("value", "", "a number"))
    scale, despite = asked.field("scale"), asked.field("despite")
    return acted(
        asked,
        own_page(asked.field("back"), f"/vats/{name}"),
        lambda house, key: record_observation.reading(
            house, name, read.quantity, read.value, scale=scale, despite=despite, key=key
        ),
    )


def space(asked: Asked) -> Response:
    """Vats over time as a picture and as a list."""
    facts = vat_timeline.space_facts(asked.house)
    return asked.show("space.html", facts=facts, picture=space_picture(facts))
