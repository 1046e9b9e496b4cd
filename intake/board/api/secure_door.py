"""Https with the farm's own authority: what it is served with, and the plain-http door beside it that shows how to trust it."""

from __future__ import annotations

import io
import socket
import sys
import threading
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote, urlsplit

from markupsafe import Markup
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from intake.app.access.farm_certificates import Secured, authority_bytes
from intake.board.middleware import Guard
from intake.board.rendering import render, static_file
from intake.board.svg_pictures import qr_svg

__all__ = ["OwnTls", "SecureDoor", "configured", "plain_door", "terminal_code"]

_METHODS: Final = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"]


@dataclass(frozen=True, slots=True)
class OwnTls:
    """Https as asked for: its port (0: the one after the plain port), and whether to make another authority."""

    port: int = 0
    new_authority: bool = False

    def beside(self, port: int) -> int:
        """The port of https beside a plain one."""
        return self.port or (port + 1 if port else 0)


def plain_door(folder: Path, farm: str, hosts: Collection[str], told: Secured, https_port: int) -> Starlette:
    """The few addresses of plain http: how to install the authority, its file, and the way on to https.

    Counts that an old page of the plain address still sends are answered so that the phone keeps them.
    """

    def base(request: Request) -> str:
        host = request.url.hostname or told.names[0]
        host = host if host in told.names else told.names[0]
        return _address(host, https_port)

    async def install(request: Request) -> Response:
        here = str(request.url.replace(path="/", query="", fragment=""))
        code = Markup(qr_svg(here, "QR code of this page"))  # noqa: S704  # drawn here, its title is fixed
        facts = {"farm_name": farm, "board": base(request), "here": here, "code": code, "told": told}
        return render("certificate.html", facts, headers={"cache-control": "no-store"})

    async def authority(request: Request) -> Response:
        del request
        name = "".join(one if one.isascii() and one.isalnum() else "-" for one in farm) or "farm"
        headers = {"content-disposition": f'attachment; filename="{name}.crt"', "cache-control": "no-store"}
        return Response(authority_bytes(folder), headers=headers, media_type="application/x-x509-ca-cert")

    async def moved(request: Request) -> Response:
        words = f"The board has moved to {base(request)}. These counts stay on this phone: ask the owner to send them."
        return JSONResponse({"said": [words]}, 503)

    async def onward(request: Request) -> Response:
        query = f"?{request.url.query}" if request.url.query else ""
        return RedirectResponse(base(request) + quote(request.url.path) + query, 307)

    routes = [
        Route("/", install, methods=["GET"]),
        Route("/authority.crt", authority, methods=["GET"]),
        Route("/s/{build}/{name}", static_file, methods=["GET"]),
        Route("/api/{rest:path}", moved, methods=_METHODS),
        Route("/{rest:path}", onward, methods=["GET", "HEAD"]),
    ]
    return Starlette(routes=routes, middleware=[Middleware(Guard, hosts=hosts)])


@dataclass
class SecureDoor:
    """Both ports of a farm with its own authority: the board's by https, and the plain one, served in a thread beside."""

    folder: Path
    farm: str
    hosts: frozenset[str]
    told: Secured
    plain: socket.socket
    secure: socket.socket

    @property
    def pair(self) -> tuple[str, str]:
        """Files of the certificate and its key."""
        return str(self.told.certificate), str(self.told.key)

    def trusted(self, shown: str, named: Collection[str]) -> str:
        """An address of the board that its certificate is for: by a name given, else as shown, else by its first name."""
        port = self.secure.getsockname()[1]
        given = sorted(one for one in named if one.lower() in self.told.names)
        if not given and urlsplit(shown).hostname in self.told.names:
            return shown
        return _address((given or self.told.names)[0], port)

    def words(self, install: str) -> list[str]:
        """What the terminal says of it; ``install`` is the address of the page that shows how to trust it."""
        told = self.told
        made = "A certificate authority was made for this farm: each phone installs it once." if told.fresh else ""
        names, left = ", ".join(told.names), ", ".join(told.left_out)
        lines = [
            made,
            f"To trust the board on a phone, open {install}/ there and follow the steps (Android, iPhone, computer).",
            terminal_code(f"{install}/") if sys.stdout.isatty() else "",
            f"SHA-256 of the authority, to compare on the phone: {told.fingerprint}",
            f"Its certificate is for {names}, until {told.until:%Y-%m-%d}; a start in its last 60 days renews it.",
            f"Not for {left}: use another address, or --new-authority and install it again on every phone."
            if left
            else "",
        ]
        return [line for line in lines if line]

    def start(self) -> None:
        """Begin to answer on the plain port."""
        import uvicorn

        port = self.secure.getsockname()[1]
        app = plain_door(self.folder, self.farm, self.hosts, self.told, port)
        self._server = uvicorn.Server(configured(app, None))
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [self.plain]}, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Answer no more on the plain port."""
        self._server.should_exit = True
        self._thread.join(5)
        self.plain.close()


def configured(app: Starlette, certificate: tuple[str, str] | None) -> Any:
    """How each of the board's ports is served."""
    import uvicorn

    return uvicorn.Config(
        app,
        access_log=False,
        log_config=None,
        server_header=False,
        ssl_certfile=certificate[0] if certificate else None,
        ssl_keyfile=certificate[1] if certificate else None,
        timeout_graceful_shutdown=3,
    )


def terminal_code(link: str) -> str:
    """A QR code in the signs of a terminal."""
    import segno

    out = io.StringIO()
    segno.make(link, error="l", micro=False).terminal(out, compact=True)
    return out.getvalue()


def _address(host: str, port: int) -> str:
    return f"https://{f'[{host}]' if ':' in host else host}:{port}"
