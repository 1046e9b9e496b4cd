"""The very first sign-in: what the server prints at its start is enough to begin."""

import re
import signal

from tests.browser.conftest import DESK, Open, Server


def test_the_printed_link_signs_the_first_owner_in_once(visit: Open, server: Server) -> None:
    """Each start prints a new link in place of the old one, until an owner has come in; then none."""
    server.kill(signal.SIGTERM)
    old = re.search(r"Sign in as ada, once, within three days: http://127\.0\.0\.1:\d+(/join/\S+)", server.said)
    assert old
    assert "Only this computer can reach it" in server.said
    server.start()
    page = visit("", **DESK)
    page.goto(server.base + old[1])
    page.click("main button")
    page.wait_for_selector("text=Ask an owner for a new one")
    page.goto(server.invitation("ada"))
    page.click("main button")
    page.wait_for_url(f"{server.base}/")
    server.kill(signal.SIGTERM)
    fresh = re.search(r"(/join/\S+)", server.said)
    assert fresh
    assert fresh[1] != old[1]
    server.start()
    server.kill(signal.SIGTERM)
    assert "Sign in as" not in server.said
