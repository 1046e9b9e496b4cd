"""The board's sockets send at once: head and body of a reply do not wait for each other."""

from __future__ import annotations

import asyncio
import socket
from concurrent.futures import ThreadPoolExecutor

import pytest

from intake.board.server import _listen
from intake.errors import StoreTrouble


def test_replies_are_sent_without_waiting() -> None:
    """TCP_NODELAY is on for whoever connects; asyncio sets it only where the socket's protocol says TCP."""
    listening = _listen("127.0.0.1", 0)
    seen: list[int] = []

    async def one_connection() -> None:
        connected = asyncio.Event()

        def made(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            accepted = writer.get_extra_info("socket")
            seen.append(accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
            writer.close()
            connected.set()

        server = await asyncio.start_server(made, sock=listening)
        async with server:
            _, writer = await asyncio.open_connection(*listening.getsockname()[:2])
            await asyncio.wait_for(connected.wait(), 10)
            writer.close()

    with ThreadPoolExecutor(1) as alone:  # a browser test before this one may have left its loop in this thread
        alone.submit(lambda: asyncio.run(one_connection())).result(30)
    assert seen
    assert all(seen)


def test_a_port_that_is_taken_is_told() -> None:
    """With the option that chooses another."""
    first = _listen("127.0.0.1", 0)
    first.listen()
    with pytest.raises(StoreTrouble, match="--port"):
        _listen("127.0.0.1", first.getsockname()[1])
    first.close()
