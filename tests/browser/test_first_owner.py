"""The very first sign-in: what the server prints at its start is enough to begin."""

import re
import signal

from tests.browser.conftest import DESK, Open, Server


def test_the_printed_link_signs_the_first_owner_in_once(visit: Open, server: Server) -> None:
    """Each start prints a new link in place of the old one, until an owner has come in; then none."""
    server.kill(signal.SIGTERM)
    assert re.search(r"Sign in as ada, once, within three days, with the link in \S+sign-in-link.txt", server.said)
    assert "/join/" not in server.said  # what is said here goes to a log
    link = server.folder / "sign-in-link.txt"
    assert link.stat().st_mode & 0o077 == 0
    old = re.match(r"http://127\.0\.0\.1:\d+(/join/\S+)", link.read_text())
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
    fresh = re.search(r"(/join/\S+)", link.read_text())
    assert fresh
    assert fresh[1] != old[1]
    server.start()
    server.kill(signal.SIGTERM)
    assert "Sign in as" not in server.said
