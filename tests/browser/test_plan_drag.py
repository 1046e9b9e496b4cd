"""The plan's picture under the hand: a bar dragged to another vat, what the rules say on the way, and a finger that scrolls."""

import json
from datetime import UTC, datetime, timedelta
from typing import Any

from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.browser.conftest import DESK, Open, Server


def _one_more_to_come(server: Server) -> None:
    house = server.house()
    try:
        if house.last("shipment", "S2") is not None:
            return
        with house.act() as act:
            lands = datetime.now(UTC) + timedelta(days=45)
            act.note("shipment", "S2", {"supplier": "one", "lands": lands.isoformat()})
            batch = Batch("S2-01", "Tridacna maxima", "clam_small", 40.0, 20, "S2", 1, "one", ("1",))
            act.note("batch", batch.id, batch_payload(batch))
    finally:
        house.books.close()


def _middle(page: Any, selector: str) -> tuple[float, float]:
    box = page.locator(selector).first.bounding_box()
    return box["x"] + min(box["width"] / 2, 200), box["y"] + min(box["height"] / 2, 9)


def test_a_bar_dragged_to_another_vat_is_planned_around(visit: Open, server: Server) -> None:
    """Over a vat the rules refuse, the rule is said and nothing follows; let go over one that suits, the plan is made anew."""
    _one_more_to_come(server)
    page = visit("ada", **DESK | {"is_mobile": False, "has_touch": False})
    page.goto(f"{server.base}/plan")
    page.click("text=Make a plan")
    page.wait_for_selector("text=Accept this plan", timeout=60_000)
    bar = '[data-key="S2-01@quarantine"]'
    now = page.locator("form[data-stay='S2-01@quarantine'] label").text_content()
    to = next(vat for vat in ("Q2", "Q3") if f"now {vat}" not in now)
    page.locator(bar).scroll_into_view_if_needed()

    start = _middle(page, bar)
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(start[0] + 20, start[1] + 5)
    page.mouse.move(*_middle(page, '[data-key="vat:G1"]'))
    said = page.locator("#drag-says")
    assert "S2-01 cannot be in G1 in quarantine: only vats in systems of role quarantine" in said.text_content()
    page.mouse.up()
    assert page.url.endswith("/plan")
    assert page.locator("text=Decided by hand").count() == 0

    page.mouse.move(*_middle(page, bar))  # near the lower edge the page has scrolled under the hand
    page.mouse.down()
    page.mouse.move(*_middle(page, f'[data-key="vat:{to}"]'), steps=4)
    assert f"Let go: plan again with S2-01 only in {to} for quarantine." in said.text_content()
    page.mouse.up()
    page.wait_for_selector(f"text=Decided by hand: S2-01 only in {to}", timeout=60_000)


def test_without_a_mouse_the_chooser_does_the_same(visit: Open, server: Server) -> None:
    """At 390 px a tapped bar opens its chooser; every reason is in the page for the rules' answer at once."""
    _one_more_to_come(server)
    page = visit("ada")
    page.goto(f"{server.base}/plan")
    page.click("text=Make a plan")
    page.wait_for_selector("text=Accept this plan", timeout=60_000)
    page.locator('[data-key="S2-01@quarantine"]').first.tap()
    assert page.evaluate("document.activeElement.name") == "vat"
    form = page.locator("form[data-stay='S2-01@quarantine']")
    refused = json.loads(form.get_attribute("data-refused"))
    offered = {one.get_attribute("value") for one in form.locator("option").all()}
    assert set(refused) == {"Q1", "Q2", "Q3", "G1", "G2"} - offered
    form.locator("select").select_option("")
    form.locator("button").tap()
    page.wait_for_selector("text=Accept this plan", timeout=60_000)
    assert page.locator("text=Decided by hand").count() == 0
