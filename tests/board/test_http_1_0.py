"""A calendar program that speaks HTTP/1.0 gets whole answers over a bare socket, with a length, and the connection closed."""

from __future__ import annotations

import gzip
import socket
import threading
import time
from collections.abc import Callable, Iterator
from http.client import HTTPMessage, parse_headers
from io import BytesIO

import pytest
import uvicorn
from starlette.applications import Starlette

from intake.app.calendars import feed_addresses
from intake.board.api.secure_door import configured
from intake.board.server import _listen
from intake.feed import is_whole

Ask = Callable[..., tuple[int, HTTPMessage, bytes]]


@pytest.fixture
def asks(app: Starlette) -> Iterator[Ask]:
    """Send a request as HTTP/1.0 to the board as ``vatside serve`` runs it, and read until it closes the connection."""
    listening = _listen("127.0.0.1", 0)
    server = uvicorn.Server(configured(app, None))
    running = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    running.start()
    until = time.monotonic() + 60
    while not server.started:
        assert time.monotonic() < until, "the server did not come up"
        time.sleep(0.01)

    def ask(path: str, *headers: str, method: str = "GET") -> tuple[int, HTTPMessage, bytes]:
        lines = [f"{method} {path} HTTP/1.0", *headers, "", ""]
        with socket.create_connection(listening.getsockname()[:2], timeout=60) as reader:
            reader.sendall("\r\n".join(lines).encode())
            answer = BytesIO(b"".join(iter(lambda: reader.recv(65536), b"")))
        return int(answer.readline().split()[1]), parse_headers(answer), answer.read()

    yield ask
    server.should_exit = True
    running.join(60)
    listening.close()


def test_an_http_1_0_reader_gets_whole_calendars(app: Starlette, asks: Ask) -> None:
    """With its length and nothing in chunks, gzip only when asked for, with and without a Host, 304 for what it holds."""
    with app.state.farm.writing() as house:
        _, token = feed_addresses.create(house, "farm")
    path, host = f"/cal/{token}/farm.ics", "Host: testserver"
    status, told, body = asks(path, host)
    assert (status, told["content-length"], told["connection"]) == (200, str(len(body)), "close")
    assert told["transfer-encoding"] is told["content-encoding"] is None
    assert is_whole(body)
    assert asks(path)[::2] == (200, body)
    status, packed, fewer = asks(path, host, "Accept-Encoding: gzip")
    assert (status, packed["content-encoding"], packed["content-length"]) == (200, "gzip", str(len(fewer)))
    assert gzip.decompress(fewer) == body
    status, head, nothing = asks(path, host, method="HEAD")
    assert (status, head["content-length"], nothing) == (200, str(len(body)), b"")
    status, _, nothing = asks(path, host, f"If-None-Match: {told['etag']}")
    assert (status, nothing) == (304, b"")
