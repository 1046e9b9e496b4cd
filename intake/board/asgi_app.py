"""The board put together: its addresses, what stands before them, and what they share."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection
from datetime import datetime
from pathlib import Path
from typing import Final

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from intake.app import system_clock
from intake.app.commands.attach_photo import LARGEST_PHOTO_BYTES
from intake.app.queries.biosecurity.reading_alarms import reading_alarms
from intake.board.api.live_events import Pulse
from intake.board.api.openapi import BASE, address, described, for_programs
from intake.board.background_jobs import Jobs, Watch
from intake.board.calendar_endpoint import FeedDoor
from intake.board.middleware import SECRET_PATHS, BodyLimit, Guard, Smaller, Tries
from intake.board.open_farm import OpenFarm
from intake.board.pages import counting, floor_pages
from intake.board.rendering import static_file, worker_file
from intake.board.request import Asked, page
from intake.board.route_table import WAYS

__all__ = ["board", "routes"]

_CALENDARS, _ = SECRET_PATHS
_LARGEST_LIST: Final = 16_000_000
_LARGEST_FORM: Final = 64_000


_UPLOADS: Final = frozenset(
    {"/deliveries/new", "/readings/file", "/capacity", "/plan/what-if", "/season", "/farm/stock", "/farm/history"}
)


def _limit_of(path: str) -> int:
    """Bytes a body may have: forms are small, photos and packing lists are not."""
    if path.removeprefix(BASE) in {"/api/photo", "/photos"}:
        return LARGEST_PHOTO_BYTES + _LARGEST_FORM
    return _LARGEST_LIST if path.removeprefix(BASE) in _UPLOADS else _LARGEST_FORM


def routes() -> list[Route]:
    """Every address of the board but the calendars': the table's, the same for programs, and the few without farm data."""
    get = ["GET"]
    told = [
        Route(way.path, page(way.handler, way.right, machine=way.machine, grouped=way.grouped), methods=[way.method])
        for way in WAYS
    ]
    programs = [
        Route(address(way.path), page(way.handler, way.right, as_json=True), methods=[way.method])
        for way in WAYS
        if for_programs(way)
    ]
    bare = [
        Route("/api/beat", page(_beat, "wall", machine=True), methods=get),
        Route("/api/live", page(_live, "wall", machine=True), methods=get),
        Route("/api/openapi.json", page(_described, "look", machine=True), methods=get),
        Route("/c", counting.shell, methods=get),
        Route("/s/{build}/{name}", static_file, methods=get),
        Route("/worker.js", worker_file, methods=get),
        Route("/robots.txt", _robots, methods=get),
    ]
    return [*told, *programs, *bare]


def _beat(asked: Asked) -> Response:
    """One word that changes when a page that stays open would, alarms among it."""
    return JSONResponse({"beat": asked.request.app.state.beat()})


def _live(asked: Asked) -> Response:
    """The same word as it changes, as server-sent events."""
    pulse: Pulse = asked.request.app.state.pulse
    if pulse.full:
        return PlainTextResponse("Ask for the beat instead.\n", 503)
    return StreamingResponse(pulse.events(), media_type="text/event-stream", headers={"cache-control": "no-store"})


def _described(asked: Asked) -> Response:
    """The addresses for programs, described as OpenAPI."""
    del asked
    return JSONResponse(described(WAYS))


def _beat_of(farm: OpenFarm, watch: Watch) -> Callable[[], str]:
    """The state of ledger, files, alarms and the farm's day, hashed; alarms are looked for when anything changed."""
    known: dict[tuple[object, ...], int] = {}

    def beat() -> str:
        now, stamp = farm.now(), farm.stamp()
        key = (stamp, f"{now:%Y-%m-%dT%H:%M}")
        if key not in known:
            house = farm.house()
            known.clear()
            known[key] = hash(tuple(one.words for one in reading_alarms(house)))
        floor_pages.look_for_alarms(farm, watch, 0.0)
        told = repr((stamp, known[key], watch.found, now.date()))
        return hashlib.sha256(told.encode()).hexdigest()[:16]

    return beat


async def _robots(request: Request) -> Response:
    # Calendar paths are not forbidden here: the fetchers of large calendar services would then refuse them.
    del request
    return PlainTextResponse("User-agent: *\nDisallow: /$\n")


def _no_such_page(asked: Asked) -> Response:
    """An address that is none, with a way back."""
    return asked.show("refused.html", 404, lines=["There is no page at this address."], code=404)


_NOWHERE = page(_no_such_page, "open")


async def _plainly(request: Request, error: Exception) -> Response:
    """An HTTP refusal (wrong method, too large) in one plain line; an unknown address as a page where a person asks."""
    assert isinstance(error, HTTPException)  # noqa: S101  # registered for nothing else
    person = request.method == "GET" and "text/html" in request.headers.get("accept", "")
    if error.status_code == 404 and person:
        answer: Response = await _NOWHERE(request)
        return answer
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
    door = FeedDoor(farm, reads)
    calendars_at = Route(f"/{_CALENDARS}/{{token}}/{{name}}", door)
    app = Starlette(
        routes=[calendars_at, *routes()],
        middleware=[Middleware(Guard, hosts=hosts), Middleware(BodyLimit, limit_of=_limit_of), Middleware(Smaller)],
        exception_handlers={HTTPException: _plainly},
    )
    app.state.farm, app.state.feed_reads, app.state.feed_door, app.state.worked_out = farm, reads, door, {}
    app.state.jobs, app.state.watch, app.state.tries = Jobs(), Watch(), tries or Tries()
    app.state.reports = {}
    app.state.beat = _beat_of(farm, app.state.watch)
    app.state.pulse = Pulse(app.state.beat)
    return app
