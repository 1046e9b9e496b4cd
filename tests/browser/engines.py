"""A phone in each of three browser engines behind the same few gestures: Debian's Chromium, Firefox and WebKitGTK."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any, Protocol
from urllib.request import Request, urlopen

from tests.browser.conftest import CHROMIUM, FLAGS, HOST, PHONE

__all__ = ["ENGINES", "Chromium", "Firefox", "Phone", "WebKit", "missing", "wait"]

_ELEMENT = "element-6066-11e4-a52e-4f735466cecf"  # the key of an element in WebDriver's answers (W3C WebDriver, §11)
_MINI = "/usr/lib/x86_64-linux-gnu/webkit2gtk-4.1/MiniBrowser"
_PREFS = {
    "network.dns.localDomains": HOST,
    "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "app.update.enabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "services.settings.server": "data:,",
    "browser.aboutwelcome.enabled": False,
}


class Phone(Protocol):
    """A browser window with a person's thumb."""

    host: str

    def go(self, url: str) -> None:
        """Open an address; an address that cannot be reached is no error."""

    def tap(self, css: str) -> None:
        """Tap an element."""

    def text(self, css: str) -> str:
        """What an element says; nothing where there is none."""

    def close(self) -> None:
        """Close the browser."""


def wait(phone: Phone, css: str, words: str, seconds: float = 90.0) -> None:
    """Wait until an element says something."""
    end = time.monotonic() + seconds
    while words not in phone.text(css):
        if time.monotonic() > end:
            message = f"{css} says {phone.text(css)!r}, not {words!r}, after {seconds:.0f} s"
            raise AssertionError(message)
        time.sleep(0.05)


class Chromium:
    """Chromium driven by Playwright."""

    host = HOST

    def __init__(self, driver: Any) -> None:
        self._browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        self._page = self._browser.new_context(**PHONE).new_page()
        self._page.on("dialog", lambda dialog: dialog.accept())

    def go(self, url: str) -> None:
        """Open an address."""
        from playwright.sync_api import Error

        try:
            self._page.goto(url, wait_until="domcontentloaded")
        except Error as error:
            if "ERR_" not in str(error):
                raise

    def tap(self, css: str) -> None:
        """Tap an element."""
        self._page.tap(css)

    def text(self, css: str) -> str:
        """What an element says."""
        from playwright.sync_api import Error

        while True:
            try:
                return next(iter(self._page.locator(css).all_text_contents()), "")  # waits for nothing
            except Error as error:
                if "Execution context was destroyed" not in str(error):
                    raise
                time.sleep(0.05)  # a page is being opened: asked again on it

    def close(self) -> None:
        """Close the browser."""
        self._browser.close()


class _Driven:
    """A browser driven by WebDriver's commands, however they reach it."""

    host = HOST

    def _ask(self, command: str, **fields: Any) -> Any:
        raise NotImplementedError

    def _element(self, css: str) -> str:
        found = self._ask("find", using="css selector", value=css)
        return str(found[_ELEMENT]) if isinstance(found, dict) and _ELEMENT in found else ""

    def go(self, url: str) -> None:
        """Open an address."""
        self._ask("go", url=url)

    def tap(self, css: str) -> None:
        """Tap an element."""
        self._ask("click", element=self._element(css))

    def text(self, css: str) -> str:
        """What an element says."""
        script = "const e = document.querySelector(arguments[0]); return e ? e.textContent : '';"
        return str(self._ask("script", script=script, args=[css]) or "")


class Firefox(_Driven):
    """Firefox driven by its own Marionette protocol: length, colon, a JSON array, over a socket."""

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="vatside-firefox-"))
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        prefs = _PREFS | {"marionette.port": port}
        lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in prefs.items()]
        (self._folder / "user.js").write_text("\n".join(lines), encoding="utf-8")
        command = ["firefox-esr", "--headless", "--marionette", "--no-remote", "--profile", str(self._folder)]
        self._process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                                         env=os.environ | {"HOME": str(self._folder)})  # fmt: skip
        self._line = _connected(port)
        self._number, self._rest = 0, b""
        self._answer()  # its greeting
        ways = {"unhandledPromptBehavior": "accept", "pageLoadStrategy": "eager"}
        self._send("WebDriver:NewSession", {"capabilities": {"alwaysMatch": ways}})

    def _send(self, name: str, fields: dict[str, Any]) -> Any:
        self._number += 1
        body = json.dumps([0, self._number, name, fields]).encode()
        self._line.sendall(f"{len(body)}:".encode() + body)
        _, _, error, told = self._answer()
        if error:
            raise RuntimeError(json.dumps(error)[:300])
        return told.get("value", told) if isinstance(told, dict) and set(told) == {"value"} else told

    def _answer(self) -> Any:
        while b":" not in self._rest:
            self._rest += self._heard()
        size, _, self._rest = self._rest.partition(b":")
        while len(self._rest) < int(size):
            self._rest += self._heard()
        body, self._rest = self._rest[: int(size)], self._rest[int(size) :]
        return json.loads(body)

    def _heard(self) -> bytes:
        data = self._line.recv(65536)
        if not data:
            message = "Firefox closed the connection"
            raise ConnectionError(message)
        return data

    def _ask(self, command: str, **fields: Any) -> Any:
        names = {"find": "FindElement", "go": "Navigate", "click": "ElementClick", "script": "ExecuteScript"}
        if command == "click":
            fields = {"id": fields["element"]}
        try:
            return self._send(f"WebDriver:{names[command]}", fields)
        except RuntimeError as error:
            if command == "go" and "neterror" in str(error):
                return None
            raise

    def close(self) -> None:
        """Close the browser and forget its profile."""
        self._line.close()
        self._process.terminate()
        self._process.wait(20)
        shutil.rmtree(self._folder, ignore_errors=True)


class WebKit(_Driven):
    """WebKitGTK driven through its WebDriver; it knows no made-up names, so it takes the loopback address."""

    host = "127.0.0.1"

    def __init__(self) -> None:
        self._folder = tempfile.mkdtemp(prefix="vatside-webkit-")
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        display = f":{90 + os.getpid() % 900}"
        quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self._screen = subprocess.Popen(["Xvfb", display, "-screen", "0", "800x900x24"], **quiet)
        env = os.environ | {"DISPLAY": display, "HOME": self._folder, "GDK_BACKEND": "x11", "NO_AT_BRIDGE": "1"}
        self._process = subprocess.Popen(["WebKitWebDriver", f"--port={port}"], env=env, **quiet)
        _connected(port).close()
        self._base = f"http://127.0.0.1:{port}/session"
        options = {"binary": _MINI, "args": ["--automation"]}
        ways = {"webkitgtk:browserOptions": options, "unhandledPromptBehavior": "accept", "pageLoadStrategy": "eager"}
        told = self._post("", {"capabilities": {"alwaysMatch": ways}})
        self._base += f"/{told['sessionId']}"

    def _post(self, path: str, fields: dict[str, Any]) -> Any:
        request = Request(self._base + path, json.dumps(fields).encode(), {"content-type": "application/json"})
        with urlopen(request, timeout=180) as answer:
            return json.loads(answer.read())["value"]

    def _ask(self, command: str, **fields: Any) -> Any:
        paths = {"find": "/element", "go": "/url", "script": "/execute/sync"}
        if command == "click":
            return self._post(f"/element/{fields['element']}/click", {})
        return self._post(paths[command], fields)

    def close(self) -> None:
        """Close the browser and its screen."""
        for process in (self._process, self._screen):
            process.terminate()
            process.wait(20)
        shutil.rmtree(self._folder, ignore_errors=True)


def _connected(port: int) -> socket.socket:
    end = time.monotonic() + 90
    while True:
        try:
            line = socket.create_connection(("127.0.0.1", port), 5)
        except OSError:
            if time.monotonic() > end:
                raise
            time.sleep(0.1)
        else:
            line.settimeout(90)
            return line


ENGINES = ("chromium", "firefox", "webkit")


def missing(engine: str) -> str:
    """What this machine lacks for an engine; empty when nothing."""
    needs = {"chromium": (CHROMIUM,), "firefox": ("firefox-esr",), "webkit": ("WebKitWebDriver", "Xvfb", _MINI)}[engine]
    return ", ".join(one for one in needs if shutil.which(one) is None)
