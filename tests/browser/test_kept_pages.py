"""By https a browser keeps the count page and today's list: a reload without the board shows them, with what waits."""

import base64
import shutil
import signal
import socket
import ssl
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

from tests.browser.conftest import CHROMIUM, FLAGS, HOST, PHONE, Server
from tests.browser.wifi import Wifi

LATER = "{ const real = Date.now; Date.now = () => real() + 25 * 3600000; }"


@dataclass
class Secure(Server):
    """The board with the farm's own authority; ``port`` is the plain one, https is behind the wifi."""

    https: int = 0

    @property
    def base(self) -> str:
        """Its https address."""
        return f"https://{HOST}:{self.wifi.port}"

    @property
    def authority(self) -> Path:
        """What a phone installs."""
        return self.folder / "tls" / "authority.crt"

    def start(self) -> None:
        """Start it and wait until a client that trusts the authority alone is answered under the farm's name."""
        import subprocess
        import time

        ports = ["--port", str(self.port), "--tls", "--tls-port", str(self.https), "--name", HOST]
        command = [sys.executable, "-m", "intake", "--farm", str(self.folder), "serve", *ports]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        for _ in range(1200):
            try:
                with urlopen(f"{self.loopback}/", timeout=2) as answer:
                    assert b"Trust this board" in answer.read()
                    break
            except OSError:
                time.sleep(0.05)
        context = ssl.create_default_context(cafile=str(self.authority))
        with (
            socket.create_connection(("127.0.0.1", self.https), 20) as line,
            context.wrap_socket(line, server_hostname=HOST) as safe,
        ):
            safe.sendall(f"GET /c HTTP/1.1\r\nHost: {HOST}\r\nConnection: close\r\n\r\n".encode())
            assert safe.recv(64).startswith(b"HTTP/1.1 200")


def _free() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="module")
def secure(written_now: Path, tmp_path_factory: pytest.TempPathFactory, browser: Any) -> Iterator[Secure]:
    """A board by https on a farm of its own."""
    pytest.importorskip("cryptography")
    del browser
    folder = Path(shutil.copytree(written_now, tmp_path_factory.mktemp("secure") / "farm"))
    https = _free()
    found = Secure(folder, _free(), Wifi(https), https=https)
    found.start()
    yield found
    found.wifi.cut()
    if found.process is not None:
        found.kill(signal.SIGTERM)


@pytest.fixture
def phone(browser: Any, secure: Secure) -> Iterator[Any]:
    """A phone that trusts this board's key, signed in as ben; what its pages complain of fails the test."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization

    board = x509.load_pem_x509_certificate((secure.folder / "tls" / "board.crt").read_bytes())
    form = serialization.PublicFormat.SubjectPublicKeyInfo
    digest = hashes.Hash(hashes.SHA256())
    digest.update(board.public_key().public_bytes(serialization.Encoding.DER, form))
    trusted = f"--ignore-certificate-errors-spki-list={base64.b64encode(digest.finalize()).decode()}"
    own = browser.browser_type.launch(executable_path=CHROMIUM, args=[*FLAGS, trusted])
    context = own.new_context(**PHONE)
    context.set_default_timeout(15_000)
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(secure.invitation("ben"))
    page.click("main button")
    page.wait_for_url(f"{secure.base}/")
    yield page
    own.close()
    assert wrong == []


def kept(page: Any) -> list[str]:
    """Addresses of the pages this browser keeps."""
    script = "caches.open('vatside-pages').then((box) => box.keys()).then((all) => all.map((one) => one.url))"
    found: list[str] = page.evaluate(script)
    return found


def wait_kept(page: Any, url: str) -> None:
    """Wait until a page is kept."""
    for _ in range(150):
        if url in kept(page):
            return
        page.wait_for_timeout(100)
    pytest.fail(f"not kept: {url}; kept are {kept(page)}")


def test_cut_off_a_reload_shows_the_kept_pages_with_what_waits(phone: Any, secure: Secure) -> None:
    """A count tapped without wifi, a reload, the next day: the count page and the list are there, and the count arrives once."""
    page, alive = phone, secure.alive()
    page.goto(f"{secure.base}/work?who=all")
    wait_kept(page, f"{secure.base}/work?who=all")
    page.goto(f"{secure.base}/c#S1-01")
    wait_kept(page, f"{secure.base}/c")
    page.wait_for_selector("#stand:has-text('alive on record')")
    secure.wifi.cut()
    page.tap("[data-head=dead] .more")
    page.tap("#save")
    page.wait_for_selector("#state.waiting:has-text('1 waiting')")
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    page.wait_for_selector("#queue li:has-text('1 dead · S1-01 in Q1')")
    tomorrow = page.context.new_page()
    tomorrow.add_init_script(LATER)
    tomorrow.goto(f"{secure.base}/work?who=all")
    tomorrow.wait_for_selector("#lost:has-text('No connection to the board. Shown as of')")
    assert "25 h ago" in tomorrow.text_content("#lost")
    assert "! 1 waiting on this phone, oldest: 25 h. Older than a day and not sent." in tomorrow.text_content("#unsent")
    assert tomorrow.locator("ul.work li").count() > 0
    tomorrow.close()
    page.goto(f"{secure.base}/work?who=all")
    page.wait_for_selector("#unsent:has-text('1 waiting on this phone, oldest: less than 1 h')")
    secure.wifi.restore()
    page.tap("#unsent a")
    page.wait_for_selector("#state.saved")
    assert secure.alive() == alive - 1


def test_signing_out_takes_the_kept_pages_away(phone: Any, secure: Secure) -> None:
    """On a shared tablet the next person does not see the last one's list."""
    page = phone
    page.goto(f"{secure.base}/work?who=all")
    wait_kept(page, f"{secure.base}/work?who=all")
    page.reload()
    page.goto(f"{secure.base}/people")
    page.on("dialog", lambda dialog: dialog.accept())
    page.click("button:has-text('Sign out here')")
    page.wait_for_url("**/sign-in")
    for _ in range(100):
        if not [one for one in kept(page) if "/work" in one]:
            return
        page.wait_for_timeout(100)
    pytest.fail(f"still kept: {kept(page)}")
