"""Every address of the board in one table: its method, who answers, which right it asks, and which fields its form has."""

from __future__ import annotations

from typing import Final

from intake.board.api.way import OPEN, Way
from intake.board.pages import (
    batch,
    batch_acts,
    calendars,
    claims,
    contacts,
    counting,
    day_run,
    deliveries,
    desk,
    farm_desk,
    floor_pages,
    journal_page,
    look_ups,
    losses_pages,
    paper,
    people,
    planning,
    season,
    tools,
    vat_acts,
    wall,
    work_pages,
)
from intake.board.request import Handler

__all__ = ["OPEN", "WAYS", "Way"]


def _get(path: str, handler: Handler, right: str = "look", fields: str = "") -> Way:
    return Way("GET", path, handler, right, tuple(fields.split()))


def _post(path: str, handler: Handler, right: str, fields: str = "") -> Way:
    return Way("POST", path, handler, right, tuple(fields.split()))


def _api(method: str, path: str, handler: Handler, right: str, fields: str = "") -> Way:
    return Way(method, path, handler, right, tuple(fields.split()), machine=True)


_FLOOR: Final = (
    _get("/", floor_pages.floor),
    _get("/vats/{vat}", floor_pages.vat),
    _post("/vats/{vat}/clean", floor_pages.clean, "clean"),
    _post("/vats/{vat}/reading", floor_pages.reading, "reading", "quantity value scale despite back"),
    _post("/vats/{vat}/close", vat_acts.close, "vats", "reason until"),
    _post("/vats/{vat}/open", vat_acts.open_again, "vats"),
    _post("/vats/{vat}/replumb", vat_acts.replumb, "vats", "left joined despite"),
    _post("/vats/{vat}/carried", vat_acts.carried, "vats", "tool target"),
    _get("/readings", look_ups.readings, "look", "place days"),
    _post("/readings/file", vat_acts.logger, "reading", "place dates despite"),
    _get("/release", look_ups.release),
    _get("/more", look_ups.more),
    _get("/search", look_ups.search, "look", "q"),
    _get("/journal", journal_page.journal, "look", "days who"),
    _post("/journal/undo", journal_page.undo, "undo", "entry despite back"),
    _get("/wall", wall.wall, "wall"),
    _get("/space", floor_pages.space),
    _get("/work", work_pages.work, "look", "who days batch vat"),
    _get("/round", work_pages.walk, "count"),
    _post("/done", work_pages.done, "done", "task to note at despite back"),
)

_BATCHES: Final = (
    _get("/batches", batch.batches),
    _get("/batches/{batch}", batch.batch),
    _get("/batches/{batch}/acclimation", batch.acclimation),
    _get("/batches/{batch}/print/{what}.pdf", paper.of_batch),
    _post("/batches/{batch}/undo", batch.undo, "undo", "entry despite"),
    _post("/batches/{batch}/finding", batch.finding, "finding", "what other vat note"),
    _post("/batches/{batch}/move", batch.move, "move", "count source target note despite"),
    _post("/batches/{batch}/cut", batch.cut, "cut", "pieces vat despite"),
    _post("/batches/{batch}/hold", batch.hold, "hold", "reason reached"),
    _post("/batches/{batch}/lift", batch.lift, "hold", "reason"),
    _get("/batches/{batch}/order", batch_acts.order_form, "order"),
    _post(
        "/batches/{batch}/order",
        batch_acts.order,
        "order",
        "dip reason prescriber reference agent strength minutes days dose_source where test despite",
    ),
    _post("/batches/{batch}/rebook", batch_acts.rebook, "receive", "count vat name group size_mm despite"),
)

_SHIPMENTS: Final = (
    _get("/deliveries", deliveries.deliveries),
    _get("/deliveries/new", planning.new, "shipment"),
    _post("/deliveries/new", planning.new, "shipment", "staged supplier lands replaces enter again"),
    _get("/deliveries/{shipment}", deliveries.delivery),
    _get("/deliveries/{shipment}/day", deliveries.day),
    _post("/deliveries/{shipment}/delay", deliveries.delay, "receive", "lands despite"),
    _post("/deliveries/{shipment}/amend", deliveries.amend, "shipment", "lands batch count despite"),
    _post("/deliveries/{shipment}/cancel", deliveries.cancel, "shipment", "reason"),
    _post("/deliveries/{shipment}/day/plan", day_run.plan_day, "receive", "despite"),
    _post("/deliveries/{shipment}/day/opened", day_run.opened, "receive", "box temperature_c despite"),
    _post(
        "/deliveries/{shipment}/day/slipped",
        day_run.slipped,
        "receive",
        "leaking warm without closed batch more despite",
    ),
    _get("/deliveries/{shipment}/print/{what}.pdf", paper.of_delivery),
    _post("/deliveries/{shipment}/receive", deliveries.receive, "receive", "despite"),
)

_DESK: Final = (
    _get("/plan", planning.plan),
    _post("/plan/propose", planning.propose, "plan"),
    _post("/plan/pin", planning.pin, "plan", "batch stage vat"),
    _post("/plan/accept", planning.accept, "plan", "plan short"),
    _post("/plan/clear", planning.clear, "plan", "vat by"),
    _post("/plan/timetable", planning.timetable, "plan"),
    _get("/plan/what-if", desk.what_if, "plan"),
    _post("/plan/what-if", desk.ask_what_if, "plan", "lands supplier aims batch worth"),
    _get("/capacity", desk.capacity, "plan"),
    _post("/capacity", desk.ask_capacity, "plan", "supplier first last every"),
    _get("/capacity/curve.pdf", desk.capacity_paper, "plan"),
    _get("/season", season.season, "plan"),
    _post("/season", season.ask_season, "plan", "text seconds worth"),
    _post("/season/stop", season.stop_season, "plan"),
    _get("/season/plan.pdf", season.season_paper, "plan", "paper"),
    _get("/reports/{report}", look_ups.report),
    _get("/sample", tools.sample, "look", "lot prevalence confidence sensitivity"),
    _get("/farm", farm_desk.farm, "farm"),
    _post("/farm/check", farm_desk.check, "farm"),
    _post("/farm/backup", farm_desk.back_up, "farm"),
    _get("/farm/backup.zip", farm_desk.backup_file, "farm"),
    _post("/farm/stock", farm_desk.stock, "shipment", "despite"),
    _post("/farm/history", farm_desk.history, "shipment", "supplier dates"),
    _get("/claims", claims.claims, "prices"),
    _get("/claims/{shipment}", claims.claim, "prices"),
    _get("/claims/{shipment}/claim.pdf", claims.pdf, "prices", "version"),
    _get("/claims/{shipment}/claim.csv", claims.csv, "prices", "version"),
    _post(
        "/claims/{shipment}/state",
        claims.state,
        "claim",
        "state note amount animals replacement reference",
    ),
    _get("/print/suppliers.pdf", paper.of_suppliers, "prices"),
    _get("/print/{what}.pdf", paper.of_farm),
    _get("/losses", losses_pages.losses, "look", "days"),
    _get("/losses/common", losses_pages.common, "look", "days"),
    _get("/contacts", contacts.contacts, "look", "batch vat system since"),
    _get("/calendars", calendars.calendars, "own"),
    _post("/calendars/create", calendars.create, "own", "who shown alarms omit"),
    _post("/calendars/{feed}/revoke", calendars.revoke, "own"),
)

_DOORS: Final = (
    _get("/people", people.people, "own"),
    _post("/people/invite", people.invite, "people", "person shared label"),
    _post("/people/new", farm_desk.add_person, "people", "id name role"),
    _post("/people/scripts", people.add_script, "people", "person label"),
    _post("/people/pin", people.pin, "own", "person pin again"),
    _post("/people/devices/{device}/revoke", people.revoke, "own"),
    _get("/join/{code}", people.join, OPEN),
    _post("/join/{code}", people.joined, OPEN, "label"),
    _get("/sign-in", people.sign_in, OPEN),
    _post("/sign-in", people.signed_in, OPEN, "person pin"),
    _post("/sign-out", people.sign_out, "own"),
)

_COUNTING: Final = (
    _api("GET", "/api/facts", counting.facts, "look"),
    Way("POST", "/api/count", counting.sent_count, "count", machine=True, grouped=True),
    _api("POST", "/api/undo", counting.sent_undo, "undo"),
    _api("POST", "/api/photo", counting.photo_kept, "photo", "batch evidence"),
    _get("/count", counting.count_form, "count", "batch vat"),
    _post(
        "/count",
        counting.counted,
        "count",
        "where dead doa missing wrong found weak alive box in_box note despite back",
    ),
    _post("/photos", counting.photo_kept, "photo", "batch evidence"),
    _get("/photos/{name}.jpg", counting.photo),
)

WAYS: Final[tuple[Way, ...]] = (*_FLOOR, *_BATCHES, *_SHIPMENTS, *_DESK, *_DOORS, *_COUNTING)
"""All of them, the more special before the more general."""
