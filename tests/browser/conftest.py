"""A real browser against a real server process, reached by a name that makes the page no secure context, as on a farm."""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

from intake.app.access import devices
from intake.app.session import House, open_house
from tests.board.conftest import write_farm
from tests.browser.wifi import Wifi

CHROMIUM = "/usr/bin/chromium"
HOST = "farm.lan"
FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", f"--host-resolver-rules=MAP {HOST} 127.0.0.1"),
]
PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True}
DESK: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}}


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One Chromium for all tests; without it they are skipped, unless VATSIDE_REQUIRE_BROWSER=1 makes that a failure."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _missing("playwright is not installed (extra 'browser')")
    if not Path(CHROMIUM).is_file():
        _missing(f"no Chromium at {CHROMIUM}")
    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield found
        found.close()


def _missing(what: str) -> None:
    if os.environ.get("VATSIDE_REQUIRE_BROWSER") == "1":
        pytest.fail(what)
    pytest.skip(what)


@dataclass
class Server:
    """The board as its own process, which can be killed and started again on the same port."""

    folder: Path
    port: int
    wifi: Wifi
    said: str = ""
    process: subprocess.Popen[str] | None = None

    @property
    def base(self) -> str:
        """Its address, as a phone on the farm's network would have it."""
        return f"http://{HOST}:{self.wifi.port}"

    @property
    def loopback(self) -> str:
        """The same server for programs that do not know the phone's name for it."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it and wait until it answers."""
        command = [
            sys.executable,
            "-m",
            "intake",
            "--farm",
            str(self.folder),
            "serve",
            "--port",
            str(self.port),
            "--name",
            HOST,
        ]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        for _ in range(1200):  # a minute: a busy machine takes its time to import
            try:
                with urlopen(f"{self.loopback}/c", timeout=2) as answer:
                    assert b"Which batch?" in answer.read()
                    return
            except OSError:
                time.sleep(0.05)
        pytest.fail("the server did not come up")

    def kill(self, how: signal.Signals = signal.SIGKILL) -> None:
        """Kill it as a power cut would, and keep what it had said."""
        assert self.process is not None
        self.process.send_signal(how)
        self.said, _ = self.process.communicate(timeout=20)
        self.process = None

    def house(self) -> House:
        """The books, read beside the server."""
        return open_house(self.folder)

    def alive(self, batch: str = "S1-01") -> int:
        """Headcount of a batch by the books."""
        house = self.house()
        try:
            return house.floor().headcount(batch)
        finally:
            house.books.close()

    def invitation(self, person: str) -> str:
        """A sign-in link."""
        house = self.house()
        try:
            _, code = devices.invite(house, person)
        finally:
            house.books.close()
        return f"{self.base}/join/{code}"


@pytest.fixture(scope="session")
def written_now(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented farm with its delivery received an hour and a half ago, by the real clock."""
    folder = tmp_path_factory.mktemp("browser") / "farm"
    write_farm(folder, datetime.now(UTC) - timedelta(hours=4, minutes=30))
    return folder


@pytest.fixture(scope="module")
def server(written_now: Path, tmp_path_factory: pytest.TempPathFactory, browser: Any) -> Iterator[Server]:
    """A server of a farm of its own on a free port, one for each module: tests look at what they changed themselves."""
    del browser  # without a browser no server is needed
    folder = Path(shutil.copytree(written_now, tmp_path_factory.mktemp("served") / "farm"))
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    found = Server(folder, port, Wifi(port))
    found.start()
    yield found
    found.wifi.cut()
    if found.process is not None:
        found.kill(signal.SIGTERM)


Open = Callable[..., Any]


@pytest.fixture
def visit(browser: Any, server: Server) -> Iterator[Open]:
    """Open a browser of its own for a person, signed in; whatever the page complains of fails the test."""
    contexts = []
    complaints: list[str] = []

    def opened(person: str = "ben", *, expect: str = "", **how: Any) -> Any:
        context = browser.new_context(**(PHONE | how))
        context.set_default_timeout(8000)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda said: complaints.append(said.text) if _is_complaint(said) else None)
        if person:
            page.goto(expect or server.invitation(person))
            page.click("main button")
            page.wait_for_url(f"{server.base}/")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []


def _is_complaint(said: Any) -> bool:
    # A network that was cut on purpose, or a refusal that was asked for, is reported by the browser as an error too.
    return said.type == "error" and not re.search(r"Failed to load resource|net::ERR", said.text)
