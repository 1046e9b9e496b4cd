"""The board put together: its addresses, what stands before them, and what they share."""

from __future__ import annotations

from collections.abc import Callable, Collection
from datetime import datetime
from pathlib import Path
from typing import Final

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from intake.app import system_clock
from intake.app.commands.attach_photo import LARGEST_PHOTO_BYTES
from intake.board.background_jobs import Jobs, Watch
from intake.board.calendar_endpoint import FeedDoor
from intake.board.middleware import SECRET_PATHS, BodyLimit, Guard, Smaller, Tries
from intake.board.open_farm import OpenFarm
from intake.board.pages import (
    batch,
    calendars,
    claims,
    contacts,
    counting,
    deliveries,
    floor,
    losses,
    paper,
    people,
    planning,
    work,
)
from intake.board.rendering import static_file
from intake.board.request import Asked, page

__all__ = ["board", "routes"]

_CALENDARS, _JOIN = SECRET_PATHS
_LARGEST_LIST: Final = 16_000_000
_LARGEST_FORM: Final = 64_000


def _limit_of(path: str) -> int:
    """Bytes a body may have: forms are small, photos and packing lists are not."""
    if path in {"/api/photo", "/photos"}:
        return LARGEST_PHOTO_BYTES + _LARGEST_FORM
    return _LARGEST_LIST if path == "/deliveries/new" else _LARGEST_FORM


def routes() -> list[Route]:
    """Every address of the board but the calendars'."""
    get, post = ["GET"], ["POST"]
    pages = [
        Route("/", page(floor.floor), methods=get),
        Route("/vats/{vat}", page(floor.vat), methods=get),
        Route("/vats/{vat}/clean", page(floor.clean, act="clean"), methods=post),
        Route("/vats/{vat}/reading", page(floor.reading, act="reading"), methods=post),
        Route("/space", page(floor.space), methods=get),
        Route("/work", page(work.work), methods=get),
        Route("/done", page(work.done, act="done"), methods=post),
        Route("/batches", page(batch.batches), methods=get),
        Route("/batches/{batch}", page(batch.batch), methods=get),
        Route("/batches/{batch}/acclimation", page(batch.acclimation), methods=get),
        Route("/batches/{batch}/print/{what}.pdf", page(paper.of_batch), methods=get),
        Route("/batches/{batch}/undo", page(batch.undo, act="undo"), methods=post),
        Route("/batches/{batch}/{act}", page(batch.act), methods=post),
        Route("/deliveries", page(deliveries.deliveries), methods=get),
        Route("/deliveries/new", page(planning.new, act="shipment"), methods=["GET", "POST"]),
        Route("/deliveries/{shipment}", page(deliveries.delivery), methods=get),
        Route("/deliveries/{shipment}/day", page(deliveries.day), methods=get),
        Route("/deliveries/{shipment}/delay", page(deliveries.delay, act="receive"), methods=post),
        Route("/deliveries/{shipment}/print/{what}.pdf", page(paper.of_delivery), methods=get),
        Route("/deliveries/{shipment}/receive", page(deliveries.receive, act="receive"), methods=post),
        Route("/plan", page(planning.plan), methods=get),
        Route("/plan/propose", page(planning.propose, act="plan"), methods=post),
        Route("/plan/accept", page(planning.accept, act="plan"), methods=post),
        Route("/plan/clear", page(planning.clear, act="plan"), methods=post),
        Route("/plan/timetable", page(planning.timetable, act="plan"), methods=post),
        Route("/claims", page(claims.claims), methods=get),
        Route("/claims/{shipment}", page(claims.claim), methods=get),
        Route("/claims/{shipment}/claim.pdf", page(claims.pdf), methods=get),
        Route("/claims/{shipment}/claim.csv", page(claims.csv), methods=get),
        Route("/claims/{shipment}/state", page(claims.state, act="claim"), methods=post),
        Route("/print/{what}.pdf", page(paper.of_farm), methods=get),
        Route("/losses", page(losses.losses), methods=get),
        Route("/contacts", page(contacts.contacts), methods=get),
        Route("/calendars", page(calendars.calendars), methods=get),
        Route("/calendars/create", page(calendars.create), methods=post),
        Route("/calendars/{feed}/revoke", page(calendars.revoke), methods=post),
    ]
    return [*pages, *_doors(), *_counting()]


def _doors() -> list[Route]:
    """Sign-in and people."""
    get, post = ["GET"], ["POST"]
    return [
        Route("/people", page(people.people), methods=get),
        Route("/people/invite", page(people.invite, act="people"), methods=post),
        Route("/people/pin", page(people.pin), methods=post),
        Route("/people/devices/{device}/revoke", page(people.revoke), methods=post),
        Route(f"/{_JOIN}/{{code}}", page(people.join, public=True), methods=get),
        Route(f"/{_JOIN}/{{code}}", page(people.joined, public=True), methods=post),
        Route("/sign-in", page(people.sign_in, public=True), methods=get),
        Route("/sign-in", page(people.signed_in, public=True), methods=post),
        Route("/sign-out", page(people.sign_out), methods=post),
    ]


def _counting() -> list[Route]:
    """The count page, its script's addresses, photos and files."""
    get, post = ["GET"], ["POST"]
    return [
        Route("/c", counting.shell, methods=get),
        Route("/api/facts", page(counting.facts, machine=True), methods=get),
        Route("/api/count", page(counting.sent_count, act="count", machine=True), methods=post),
        Route("/api/undo", page(counting.sent_undo, act="undo", machine=True), methods=post),
        Route("/api/photo", page(counting.photo_kept, act="photo", machine=True), methods=post),
        Route("/api/beat", page(_beat, machine=True), methods=get),
        Route("/count", page(counting.count_form, act="count"), methods=get),
        Route("/count", page(counting.counted, act="count"), methods=post),
        Route("/photos", page(counting.photo_kept, act="photo"), methods=post),
        Route("/photos/{name}.jpg", page(counting.photo), methods=get),
        Route("/s/{build}/{name}", static_file, methods=get),
        Route("/robots.txt", _robots, methods=get),
    ]


def _beat(asked: Asked) -> Response:
    """Whether anything was recorded since a page was made, for pages that stay open."""
    return JSONResponse({"beat": str(hash(asked.farm.stamp()))})


async def _robots(request: Request) -> Response:
    # Calendar paths are not forbidden here: the fetchers of large calendar services would then refuse them.
    del request
    return PlainTextResponse("User-agent: *\nDisallow: /$\n")


async def _plainly(request: Request, error: Exception) -> Response:
    """An HTTP refusal (no such page, wrong method, too large) in one plain line."""
    del request
    assert isinstance(error, HTTPException)  # noqa: S101  # registered for nothing else
    return PlainTextResponse(f"{error.detail}\n", error.status_code, error.headers)


def board(
    folder: Path, hosts: Collection[str], now: Callable[[], datetime] = system_clock.now, tries: Tries | None = None
) -> Starlette:
    """Make the board of one farm.

    Parameters
    ----------
    folder
        The farm's folder.
    hosts
        Names and addresses it may be called by.
    now
        Reads the clock.
    tries
        Counts failed sign-ins.

    Raises
    ------
    IntakeError
        The farm cannot be opened.
    """
    farm = OpenFarm(folder, now)
    reads: dict[str, tuple[datetime, str]] = {}
    calendars_at = Route(f"/{_CALENDARS}/{{token}}/{{name}}", FeedDoor(farm, reads))
    app = Starlette(
        routes=[calendars_at, *routes()],
        middleware=[Middleware(Guard, hosts=hosts), Middleware(BodyLimit, limit_of=_limit_of), Middleware(Smaller)],
        exception_handlers={HTTPException: _plainly},
    )
    app.state.farm, app.state.feed_reads, app.state.worked_out = farm, reads, {}
    app.state.jobs, app.state.watch, app.state.tries = Jobs(), Watch(), tries or Tries()
    return app
