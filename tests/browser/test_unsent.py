"""Counts that were not sent: leaving asks, old ones are marked, and a browser that keeps nothing says so before a count."""

from typing import Any

import pytest

from tests.browser.conftest import Open, Server
from tests.browser.test_keeper import cut, open_count, restore, saved, tap

FULL = "Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); };"
DENIED = """for (const name of ['localStorage', 'sessionStorage'])
  Object.defineProperty(window, name, { get() { throw new DOMException('denied', 'SecurityError'); } });"""
LATER = "{ const real = Date.now; Date.now = () => real() + 25 * 3600000; }"


def test_leaving_with_unsent_counts_asks(visit: Open, server: Server) -> None:
    """The browser asks while a count waits, the page stays if told to, and nothing is asked once all is sent."""
    page = visit()
    alive = open_count(page, server)
    cut(page, server)
    tap(page)
    page.wait_for_selector("#state.waiting:has-text('1 waiting')")
    with page.expect_event("dialog") as told:
        page.close(run_before_unload=True)
    assert told.value.type == "beforeunload"
    told.value.dismiss()
    page.wait_for_selector("#queue li")
    restore(page, server)
    saved(page)
    assert server.alive() == alive - 1
    dialogs: list[Any] = []

    def asked(dialog: Any) -> None:
        dialogs.append(dialog.type)
        dialog.accept()

    page.on("dialog", asked)
    with page.expect_event("close"):
        page.close(run_before_unload=True)
    assert dialogs == []


def test_counts_older_than_a_day_are_marked_in_a_page_opened_offline(visit: Open, server: Server) -> None:
    """Cut off since yesterday: the page opens from the browser's cache, with the count, its age, and a mark."""
    page = visit()
    alive = open_count(page, server)
    cut(page, server)
    tap(page)
    page.wait_for_selector("#queue li")
    assert "older than a day" not in (page.text_content("#queue") or "")
    tomorrow = page.context.new_page()
    tomorrow.add_init_script(LATER)
    tomorrow.goto(f"{server.base}/c#S1-01")
    tomorrow.wait_for_selector("#queue li:has-text('! 1 dead · S1-01 in Q1 (25 h: older than a day, still not sent)')")
    tomorrow.close()
    restore(page, server)
    saved(page)
    assert server.alive() == alive - 1


@pytest.mark.parametrize("how", [FULL, DENIED], ids=["full", "denied"])
def test_a_browser_that_keeps_nothing_says_so(visit: Open, server: Server, how: str) -> None:
    """Shown before anything is counted; a tap on Save is not taken for saved, its numbers stay, and the plain form is offered."""
    page, alive = visit(), server.alive()
    page.add_init_script(how)
    page.goto(f"{server.base}/c#S1-01")
    page.wait_for_selector("#state.alert:has-text('keeps nothing')")
    page.wait_for_selector("#stand:has-text('alive on record')")
    page.tap("[data-head=dead] .more")
    page.tap("#save")
    page.wait_for_selector("#state.alert:has-text('NOT saved')")
    assert page.input_value("#n-dead") == "1"
    assert page.locator("#recent li").count() == 0
    assert server.alive() == alive
    page.tap("#state a")
    page.wait_for_url("**/count")
