"""The door of the calendar addresses: whole calendars or none, cheap when unchanged, deaf to guessing.

A broken answer empties subscribers' calendars and an error code can switch them off permanently, so whatever fails, the
last good calendar is served; a valid address is never answered with 429 or 503.
"""

from __future__ import annotations

import gzip
import hashlib
import logging
import threading
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from email.utils import format_datetime
from functools import lru_cache
from pathlib import Path
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from intake.app.calendars import feed_addresses, feed_publication
from intake.board.open_farm import OpenFarm, Stamp
from intake.feed import etag, is_whole, not_modified

__all__ = ["FeedDoor"]

log = logging.getLogger("vatside.board")

_QUARTER_S: Final = 900
_NO_CALENDAR: Final = "No calendar is here.\n"
_KEEP_NOBODY: Final = {
    "cache-control": "private, no-cache",
    "referrer-policy": "no-referrer",
    "x-robots-tag": "noindex",
    "x-content-type-options": "nosniff",
}


@dataclass(frozen=True, slots=True)
class _Kept:
    """A calendar as it was last made: for which state of the ledger, on which farm day, from which revisions."""

    stamp: Stamp
    day: date
    revisions: object
    body: bytes
    tag: str
    modified: datetime


class FeedDoor:
    """Answers ``/cal/<token>/<name>.ics``.

    What the clock alone changes is published on the first request of a quarter hour, or beside the requests once
    :meth:`bring_up` is called again and again.
    """

    def __init__(self, farm: OpenFarm, reads: dict[str, tuple[datetime, str]]) -> None:
        self._farm, self._reads = farm, reads
        self._lock, self._publishing = threading.Lock(), threading.Lock()
        self._beside = False
        self._kept: dict[str, _Kept] = {}
        self._known: tuple[Stamp, dict[str, tuple[str, str, bool]]] = ((), {})
        self._published: tuple[Stamp, int] = ((), 0)

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
        stamp = self._stamp()
        found = self._subscribers(stamp).get(hashlib.sha256(token.encode(errors="replace")).hexdigest())
        if found is None or name != f"{found[1]}.ics":
            return Response(_NO_CALENDAR, 404, dict(_KEEP_NOBODY), media_type="text/plain")
        identity, who, revoked = found
        notice = None if revoked else self._notice(identity, who)
        if revoked or notice == b"":
            return Response(_NO_CALENDAR, 410, dict(_KEEP_NOBODY), media_type="text/plain")
        kept = self._calendar(who, stamp) if notice is None else _closing(notice, self._farm.now())
        if kept is None:  # never made whole yet: readers keep what they have on 404, and lose it on anything else
            return Response(_NO_CALENDAR, 404, dict(_KEEP_NOBODY), media_type="text/plain")
        self._reads[identity] = (self._farm.now(), headers.get("user-agent", "")[:80])
        packed = _wants_gzip(headers.get("accept-encoding", ""))
        tag = f'{kept.tag[:-1]}-gz"' if packed else kept.tag
        told = dict(_KEEP_NOBODY) | {
            "etag": tag,
            "last-modified": format_datetime(kept.modified, usegmt=True),
            "vary": "Accept-Encoding",
        }
        if not_modified(tag, headers.get("if-none-match"), headers.get("if-modified-since"), kept.modified):
            return Response(status_code=304, headers=told)
        told["content-disposition"] = f'inline; filename="{who}.ics"'
        if packed:
            told["content-encoding"] = "gzip"
        return Response(_packed(kept.body) if packed else kept.body, 200, told, media_type="text/calendar")

    def _notice(self, identity: str, who: str) -> bytes | None:
        """What the calendar of a reader who is gone says: a notice for a while, then nothing; ``None`` for all others."""
        try:
            house = self._farm.face()
            reader = feed_addresses.reader_of(who)[0]
            if not feed_addresses.gone(house, reader):
                return None
            address = next((one for one in feed_addresses.addresses(house) if one.id == identity), None)
            closed = address.closed if address is not None else None
            if closed is None:
                with self._farm.writing() as writing:
                    feed_addresses.close(writing, identity)
                closed = house.today
            if (house.today - closed).days > feed_addresses.NOTICE_DAYS:
                return b""
            return feed_publication.closing_bytes(house, reader, closed)
        except Exception:  # whatever fails, subscribers keep what they have
            log.exception("whether the reader of %s is gone could not be read", identity)
            return None

    def _stamp(self) -> Stamp:
        """State of the ledger and the farm's files, asked once a request; empty while it cannot be read."""
        try:
            return self._farm.stamp()
        except Exception:  # whatever fails, subscribers keep what they have
            log.exception("the ledger could not be read; what was read last is served")
            return ()

    def _subscribers(self, stamp: Stamp) -> dict[str, tuple[str, str, bool]]:
        """Hash of the token → (address, for whom, revoked); as last read while the ledger cannot be."""
        try:
            if stamp and self._known[0] != stamp:
                told = self._farm.house().latest("feed")
                rows = {
                    str(one.payload["hash"]): (name, str(one.payload["who"]), bool(one.payload.get("revoked")))
                    for name, one in told.items()
                }
                self._known = (stamp, rows)
        except Exception:  # whatever fails, known addresses stay known
            log.exception("calendar addresses could not be read; using those read last")
        return self._known[1]

    def _calendar(self, who: str, stamp: Stamp) -> _Kept | None:
        kept = self._kept.get(who)
        try:
            if kept is not None and stamp and (kept.stamp, kept.day) == (stamp, self._farm.face().today):
                return kept
            if not self._beside or self._published[0] != stamp[-1:]:  # the farm's files changed: nobody may read on
                with self._publishing:
                    self._publish(stamp)
            with self._lock:
                kept = self._made(who)
        except Exception:  # whatever fails, subscribers keep the last good calendar
            log.exception("calendar of %s could not be made; the last good one is served", who)
            kept = kept or self._from_file(who)
        if kept is not None:
            self._kept[who] = kept
        return kept

    def bring_up(self) -> tuple[str, ...]:
        """Publish what the clock alone changed, if it is time and anybody subscribes; nothing to say."""
        self._beside = True
        stamp = self._farm.stamp()
        if any(not revoked for _, _, revoked in self._subscribers(stamp).values()):
            with self._publishing:
                self._publish(stamp)
        return ()

    def _publish(self, stamp: Stamp) -> None:
        """Go through timetable and calendars as a whole once a quarter hour, and when the farm's files changed.

        Every act publishes what it touched; this is for what the clock alone changes.
        """
        due = (stamp[-1:], int(self._farm.now().timestamp()) // _QUARTER_S)
        if self._published != due:
            with self._farm.writing() as house:
                feed_publication.publish(house)
            self._published = due

    def _made(self, who: str) -> _Kept:
        stamp = self._farm.stamp()
        house = self._farm.house()
        rows = feed_publication.revisions(house)
        revisions = stamp[-1], frozenset((uid, row.sequence, row.fingerprint) for uid, row in rows.items())
        before = self._kept.get(who)
        if before is not None and (before.revisions, before.day) == (revisions, house.today):
            return replace(before, stamp=stamp)
        body = feed_publication.snapshot(house, who, rows)
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
        # No state of the ledger fits it, so the next request tries again.
        return _Kept((), date.min, "", body, etag(body), _changed_at(self._file(who), self._farm.now()))


def _wants_gzip(accepted: str) -> bool:
    """Whether a request takes gzip (RFC 9110, section 12.5.3); only the plain word and its weight are looked at."""
    for part in accepted.lower().split(","):
        name, _, weight = part.strip().partition(";q=")
        if name.strip() == "gzip":
            return weight.strip() not in {"0", "0.0", "0.00", "0.000"}
    return False


@lru_cache(maxsize=64)
def _packed(body: bytes) -> bytes:
    return gzip.compress(body, compresslevel=6, mtime=0)


def _closing(body: bytes, now: datetime) -> _Kept:
    return _Kept((), date.min, "", body, etag(body), now.astimezone(UTC).replace(microsecond=0, second=0, minute=0))


def _changed_at(file: Path, otherwise: datetime) -> datetime:
    try:
        moment = datetime.fromtimestamp(file.stat().st_mtime, UTC)
    except OSError:
        moment = otherwise
    return moment.astimezone(UTC).replace(microsecond=0)
