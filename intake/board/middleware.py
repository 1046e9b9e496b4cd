"""What stands before every page: known host names only, bodies of bearable size, headers, and a log without secrets."""

from __future__ import annotations

import hashlib
import logging
import re
import time
from collections.abc import Callable, Collection
from typing import Any, Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["BodyLimit", "Guard", "SecretFilter", "Smaller", "Tries", "masked"]

log = logging.getLogger("vatside.access")

SECRET_PATHS: Final = ("cal", "join")
"""First parts of addresses whose second part is a secret; the routes are made from this list too."""

_SECRET: Final = re.compile(rf"/({'|'.join(SECRET_PATHS)})/([^/\s?#\"']+)")

_POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)

_HEADERS: Final = {
    "content-security-policy": _POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not "no-referrer": a browser would then send "Origin: null" with a form of our own.
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), geolocation=(), microphone=()",
    "cache-control": "private, no-cache",
}


def masked(text: str) -> str:
    """Text with every secret part of an address replaced by a short hash, by which a subscriber can still be found."""
    return _SECRET.sub(
        lambda met: f"/{met[1]}/#{hashlib.sha256(met[2].encode(errors='replace')).hexdigest()[:8]}", text
    )


class SecretFilter(logging.Filter):
    """Masks whatever is logged, tracebacks included."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Replace the record's text by its masked form; every record passes."""
        record.msg, record.args = masked(record.getMessage()), ()
        if record.exc_info:
            record.exc_text = masked(record.exc_text or logging.Formatter().formatException(record.exc_info))
        return True


class Guard:
    """Refuses unknown host names, sets the headers no page may lack, and writes the access log.

    Parameters
    ----------
    hosts
        Names and addresses the board is known by: a page of another name that points here must not be answered.
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str]) -> None:
        self._app, self._hosts = app, {host.lower() for host in hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began, status = time.monotonic(), 0

        async def answered(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                if scope["scheme"] == "https":  # over plain http a browser ignores it, with a complaint on every page
                    headers.setdefault("cross-origin-opener-policy", "same-origin")
            await send(message)

        try:
            if self._known(Headers(scope=scope).get("host", "")):
                await self._app(scope, receive, answered)
            else:
                await PlainTextResponse("This board is not known by that name.\n", 421)(scope, receive, answered)
        finally:
            client = (scope.get("client") or ("-",))[0]
            took = 1000 * (time.monotonic() - began)
            log.info("%s %s %s %s %.0f ms", client, scope["method"], masked(scope["path"]), status or 500, took)

    def _known(self, host: str) -> bool:
        name = re.sub(r":\d*$", "", host).strip("[]").lower()
        return not host or name in self._hosts


class BodyLimit:
    """Stops reading a body that is larger than its address allows."""

    def __init__(self, app: ASGIApp, limit_of: Callable[[str], int]) -> None:
        self._app, self._limit_of = app, limit_of

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        limit, read = self._limit_of(scope["path"]), 0
        announced = Headers(scope=scope).get("content-length", "0")
        if announced.isdigit() and int(announced) > limit:
            await PlainTextResponse(f"Too large: at most {limit // 1000} kB here.\n", 413)(scope, receive, send)
            return

        async def counted() -> Any:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > limit:
                raise HTTPException(413, f"Too large: at most {limit // 1000} kB here.")
            return message

        await self._app(scope, counted, send)


class Smaller:
    """Compresses what holds no secret: style sheets, scripts and the count page's shell.

    Pages of people signed in carry the token of their forms beside words of the address.  Compressed under https their
    length would show, guess by guess, how much of the token a guess has right, so they go out as they are.

    References
    ----------
    Gluck, Harris and Prado, BREACH: reviving the CRIME attack, 2013 (from memory).
    """

    def __init__(self, app: ASGIApp) -> None:
        self._plain, self._small = app, GZipMiddleware(app, minimum_size=500)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        open_to_all = scope["type"] == "http" and (scope["path"] == "/c" or scope["path"].startswith("/s/"))
        await (self._small if open_to_all else self._plain)(scope, receive, send)


class Tries:
    """Failed sign-ins of the last minute, by where they came from and by whom they claimed to be.

    One source (a device that is known, else an address) has few tries.  A person has more, over all sources, so that a
    phone that guesses at somebody does not lock them out elsewhere.  Of all tries together a reserve is kept for sources
    that have not failed: a swarm of guessers does not lock out the farm (all numbers: design default).
    """

    def __init__(
        self,
        each: int = 8,
        person: int = 24,
        together: int = 60,
        reserve: int = 20,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._each, self._person, self._together, self._reserve = each, person, together, reserve
        self._clock = clock
        self._failed: list[tuple[float, str, str]] = []

    def allowed(self, source: str, person: str = "") -> bool:
        """Whether another try may be made from this source, as this person."""
        self._forget()
        own = sum(1 for _, one, _ in self._failed if one == source)
        theirs = sum(1 for _, _, one in self._failed if person and one == person)
        most = self._together + (self._reserve if own == 0 else 0)
        # who has not failed here may try once more, however often others guessed at this person
        spent = theirs >= self._person and own > 0
        return own < self._each and not spent and len(self._failed) < most

    def failed(self, source: str, person: str = "") -> None:
        """Note a failed try."""
        self._forget()
        self._failed.append((self._clock(), source, person))

    def _forget(self) -> None:
        since = self._clock() - 60.0
        self._failed = [one for one in self._failed if one[0] > since][-1000:]
