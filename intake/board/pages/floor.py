"""The floor today, one vat, and vat space over time."""

from __future__ import annotations

from typing import Any, Final

from starlette.responses import Response

from intake.app.commands import maintain_vats, record_observation
from intake.app.queries.biosecurity.contact_tracing import presences
from intake.app.queries.biosecurity.reading_alarms import reading_alarms
from intake.app.queries.overview import due_work, floor_today, vat_timeline
from intake.app.queries.reports.claim_status import open_claims
from intake.board.background_jobs import Watch
from intake.board.pages.keys import acted
from intake.board.request import Asked
from intake.board.svg_pictures import space_picture
from intake.errors import BadInput, Finding

__all__ = ["clean", "floor", "reading", "space", "vat"]

_ALARM_DAYS: Final = 3
_PATIENCE_S: Final = 0.5


def floor(asked: Asked) -> Response:
    """What is in every vat, how full it is, what is due and when lots are released."""
    return asked.show(
        "floor.html",
        facts=floor_today.floor_facts(asked.house),
        claims=open_claims(asked.house) if asked.may("prices") else (),
        alarms=_alarms(asked) or (),
        readings=reading_alarms(asked.house),
    )


def _alarms(asked: Asked) -> Any:
    """Alarms on losses of the last days, worked out beside the page: they take longer than a keeper would wait."""
    from intake.app.queries.reports.loss_alarms import alarms

    farm = asked.farm
    watch: Watch = asked.request.app.state.watch
    state = (farm.stamp(), asked.house.today)
    return watch.ask(state, lambda: alarms(farm.house(), days=_ALARM_DAYS)["alarms"], _PATIENCE_S)


def vat(asked: Asked) -> Response:
    """One vat: who is in it, its work, its readings, and who stood there before."""
    house = asked.house
    found = house.site.vat(asked.path("vat"))
    facts = floor_today.floor_facts(house)
    system = next(one for one in facts.systems if one.system == found.system)
    fact = next(one for one in system.vats if one.vat == found.id)
    floor_now = house.floor()
    readings = [one for one in floor_now.readings if one.place in {f"vat:{found.id}", found.system}][::-1][:20]
    before = sorted((one for one in presences(house) if one.vat == found.id), key=lambda one: one.start, reverse=True)
    return asked.show(
        "vat.html",
        vat=found,
        fact=fact,
        system=system,
        readings=readings,
        before=before[:30],
        batches=floor_now.batches,
        work=due_work.due_work(house, vat=found.id, days=30),
    )


def clean(asked: Asked) -> Response:
    """Record a vat as empty, clean and dry."""
    name = asked.path("vat")
    return acted(asked, f"/vats/{name}", lambda house, key: maintain_vats.clean(house, name, key=key))


def reading(asked: Asked) -> Response:
    """Record a measurement in a vat or its system."""
    name, quantity, value = asked.path("vat"), asked.field("quantity"), asked.field("value").replace(",", ".")
    try:
        measured = float(value)
    except ValueError as error:
        raise BadInput(Finding("value", value[:40], "a number")) from error
    scale, despite = asked.field("scale"), asked.field("despite")
    return acted(
        asked,
        f"/vats/{name}",
        lambda house, key: record_observation.reading(
            house, name, quantity, measured, scale=scale, despite=despite, key=key
        ),
    )


def space(asked: Asked) -> Response:
    """Vats over time as a picture and as a list."""
    facts = vat_timeline.space_facts(asked.house)
    return asked.show("space.html", facts=facts, picture=space_picture(facts))
