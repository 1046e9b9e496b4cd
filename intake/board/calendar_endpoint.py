"""The door of the calendar addresses: whole calendars or none, cheap when unchanged, deaf to guessing.

A broken answer empties subscribers' calendars and an error code can switch them off for good, so whatever fails, the
last good calendar is served; a valid address is never answered with 429 or 503.
"""

from __future__ import annotations

import hashlib
import logging
import threading
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from email.utils import format_datetime
from pathlib import Path
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from intake.app.calendars import feed_publication
from intake.board.open_farm import OpenFarm, Stamp
from intake.feed import etag, is_whole, not_modified

__all__ = ["FeedDoor"]

log = logging.getLogger("vatside.board")

_NO_CALENDAR: Final = "No calendar is here.\n"
_KEEP_NOBODY: Final = {
    "cache-control": "private, no-cache",
    "referrer-policy": "no-referrer",
    "x-robots-tag": "noindex",
    "x-content-type-options": "nosniff",
}


@dataclass(frozen=True, slots=True)
class _Kept:
    """A calendar as it was last made: for which state of the books, on which farm day, from which revisions."""

    stamp: Stamp
    day: date
    revisions: str
    body: bytes
    tag: str
    modified: datetime


class FeedDoor:
    """Answers ``/cal/<token>/<name>.ics``."""

    def __init__(self, farm: OpenFarm, reads: dict[str, tuple[datetime, str]]) -> None:
        self._farm, self._reads = farm, reads
        self._lock = threading.Lock()
        self._kept: dict[str, _Kept] = {}
        self._known: tuple[Stamp, dict[str, tuple[str, str, bool]]] = ((), {})
        self._published: Stamp = ()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["method"] not in {"GET", "HEAD"}:
            response = Response("Only GET and HEAD.\n", 405, {"allow": "GET, HEAD"}, media_type="text/plain")
        else:
            parts = scope["path_params"]
            headers = Headers(scope=scope)
            response = await run_in_threadpool(self._answer, parts["token"], parts["name"], headers)
            if scope["method"] == "HEAD":
                response.body = b""  # the headers, Content-Length among them, stay those of GET
        await response(scope, receive, send)

    def _answer(self, token: str, name: str, headers: Headers) -> Response:
        found = self._subscribers().get(hashlib.sha256(token.encode(errors="replace")).hexdigest())
        if found is None or name != f"{found[1]}.ics":
            return Response(_NO_CALENDAR, 404, dict(_KEEP_NOBODY), media_type="text/plain")
        identity, who, revoked = found
        if revoked:
            return Response(_NO_CALENDAR, 410, dict(_KEEP_NOBODY), media_type="text/plain")
        kept = self._calendar(who)
        if kept is None:  # never made whole yet: readers keep what they have on 404, and lose it on anything else
            return Response(_NO_CALENDAR, 404, dict(_KEEP_NOBODY), media_type="text/plain")
        self._reads[identity] = (self._farm.now(), headers.get("user-agent", "")[:80])
        told = dict(_KEEP_NOBODY) | {"etag": kept.tag, "last-modified": format_datetime(kept.modified, usegmt=True)}
        if not_modified(kept.tag, headers.get("if-none-match"), headers.get("if-modified-since"), kept.modified):
            return Response(status_code=304, headers=told)
        told["content-disposition"] = f'inline; filename="{who}.ics"'
        return Response(kept.body, 200, told, media_type="text/calendar")

    def _subscribers(self) -> dict[str, tuple[str, str, bool]]:
        """Hash of the token → (address, for whom, revoked); as last read while the books cannot be."""
        try:
            stamp = self._farm.stamp()
            if self._known[0] != stamp:
                told = self._farm.house().latest("feed")
                rows = {
                    str(one.payload["hash"]): (name, str(one.payload["who"]), bool(one.payload.get("revoked")))
                    for name, one in told.items()
                }
                self._known = (stamp, rows)
        except Exception:  # whatever fails, known addresses stay known
            log.exception("calendar addresses could not be read; using those read last")
        return self._known[1]

    def _calendar(self, who: str) -> _Kept | None:
        kept = self._kept.get(who)
        try:
            stamp, day = self._farm.stamp(), self._farm.house().today
            if kept is not None and (kept.stamp, kept.day) == (stamp, day):
                return kept
            with self._lock:
                self._publish(stamp)
                kept = self._made(who)
        except Exception:  # whatever fails, subscribers keep the last good calendar
            log.exception("calendar of %s could not be made; the last good one is served", who)
            kept = kept or self._from_file(who)
        if kept is not None:
            self._kept[who] = kept
        return kept

    def _publish(self, stamp: Stamp) -> None:
        """Bring the revisions up to the timetable, once for each state of the books."""
        if self._published != stamp:
            with self._farm.writing() as house:
                feed_publication.publish(house)
            self._published = self._farm.stamp()

    def _made(self, who: str) -> _Kept:
        stamp = self._farm.stamp()
        house = self._farm.house()
        rows = sorted((uid, row.sequence, row.fingerprint) for uid, row in feed_publication.revisions(house).items())
        revisions = hashlib.sha256(repr((rows, stamp[-1])).encode()).hexdigest()
        before = self._kept.get(who)
        if before is not None and (before.revisions, before.day) == (revisions, house.today):
            return replace(before, stamp=stamp)
        body = feed_publication.snapshot(house, who)
        if not is_whole(body):
            msg = "not a whole calendar"
            raise ValueError(msg)
        if before is not None and before.body == body:
            return replace(before, stamp=stamp, day=house.today, revisions=revisions)
        return _Kept(stamp, house.today, revisions, body, etag(body), _changed_at(self._file(who), house.now))

    def _file(self, who: str) -> Path:
        return self._farm.folder / "out" / "feeds" / f"{who}.ics"

    def _from_file(self, who: str) -> _Kept | None:
        """The last good calendar of an earlier run of the server."""
        try:
            body = self._file(who).read_bytes()
        except OSError:
            return None
        if not is_whole(body):
            return None
        # No state of the books fits it, so the next request tries again.
        return _Kept((), date.min, "", body, etag(body), _changed_at(self._file(who), self._farm.now()))


def _changed_at(file: Path, otherwise: datetime) -> datetime:
    try:
        moment = datetime.fromtimestamp(file.stat().st_mtime, UTC)
    except OSError:
        moment = otherwise
    return moment.astimezone(UTC).replace(microsecond=0)
