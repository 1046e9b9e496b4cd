"""An owner at a desk and on a phone: every page, a delivery planned, a calendar address made and revoked."""

from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.error import HTTPError
from urllib.request import urlopen

import pytest

from intake.app.queries.season.season_example import EXAMPLE
from tests.browser.conftest import DESK, Open, Server
from tests.conftest import VAT

PAGES = (
    *(
        "/",
        "/work?who=all",
        "/space",
        "/batches",
        "/batches/S1-01",
        "/vats/Q1",
        "/deliveries",
        "/deliveries/S1",
        "/deliveries/new",
    ),
    *("/journal", "/release", "/readings", "/search?q=S1", "/more", "/farm", "/reports/permits", "/sample?lot=500"),
    *(
        "/plan/what-if",
        "/capacity",
        "/season",
        "/losses",
        "/losses/common",
        "/batches/S1-01/order",
        "/deliveries/S1/day",
    ),
    *("/plan", "/claims", "/claims/S1", "/contacts?batch=S1-01", "/calendars", "/people", "/count", "/c", "/c#S1-01"),
)


@pytest.mark.parametrize(
    "how", [{}, DESK | {"is_mobile": False, "has_touch": False, "color_scheme": "dark"}], ids=["phone", "desk"]
)
def test_every_page_fits_and_breaks_no_policy(visit: Open, server: Server, how: dict[str, Any]) -> None:
    """No page scrolls sideways, none trips over the content policy or a script error (the fixture listens)."""
    page = visit("ada", **how)
    for where in PAGES:
        page.goto(server.base + where)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), where
        assert page.locator("h1:visible").count() == 1, where


def test_a_calendar_address_is_made_read_and_revoked(visit: Open, server: Server) -> None:
    """Shown once; whoever has it reads the calendar without signing in; revoked, it is gone."""
    page = visit("ada", **DESK | {"is_mobile": False, "has_touch": False})
    page.goto(f"{server.base}/calendars")
    page.select_option("[name=who]", "farm")
    page.click("text=Create calendar link")
    address = page.input_value("#address").replace(server.base, server.loopback)
    assert page.locator(".code svg").is_visible()  # one code: two would leave a phone to guess which subscribes
    assert (
        page.get_attribute("text=Subscribe on this device", "href")
        == "webcal://" + page.input_value("#address").partition("://")[2]
    )
    with urlopen(address, timeout=5) as answer:
        assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
        assert answer.read().startswith(b"BEGIN:VCALENDAR\r\n")
    page.goto(f"{server.base}/calendars")
    assert page.locator("#address").count() == 0
    page.on("dialog", lambda dialog: dialog.accept())
    page.click("button:has-text('Revoke')")
    page.wait_for_selector("text=(farm) revoked")
    with pytest.raises(HTTPError) as gone:
        urlopen(address, timeout=5)
    assert gone.value.code == 410
    gone.value.close()


def test_a_person_is_invited_and_their_device_ended(visit: Open, server: Server) -> None:
    """The link goes to the new phone as a code on the screen; ended, the phone is out."""
    owner = visit("ada", **DESK | {"is_mobile": False, "has_touch": False})
    owner.goto(f"{server.base}/people")
    owner.select_option("form[action='/people/invite'] [name=person]", "cleo")
    owner.click("button:has-text('Invite')")
    link = owner.input_value("#address")
    phone = visit("cleo", expect=link)
    phone.goto(f"{server.base}/work?who=mine")
    assert "helper" in (phone.text_content("header") or "")
    owner.goto(f"{server.base}/people")
    owner.on("dialog", lambda dialog: dialog.accept())
    owner.click("li:has-text('cleo') button:has-text('Remove')")
    owner.wait_for_selector("text=revoked")
    phone.goto(f"{server.base}/work")
    assert phone.url.endswith("/sign-in")


def test_a_delivery_is_taken_in_planned_received_counted_and_claimed(visit: Open, server: Server) -> None:
    """The whole path from the board: list, plan, receipt, count at the vat, claim sent."""
    # water of its own: after midnight the lot of the day before leaves the other on another day
    water = '\n[system.second]\nrole = "quarantine"\ntemperature_c = 26.4\nsalinity_psu = 34.5\nfilter_area_m2 = 40\n'
    with (server.folder / "farm.toml").open("a", encoding="utf-8") as file:
        file.write(water + VAT.format(name="Q9", system="second"))
    packed = (datetime.now(UTC) - timedelta(hours=20)).strftime("%Y-%m-%d %H:%M")
    rows = ["Line,Scientific name,Size (mm),Qty,Box,Unit price USD,Source code,CITES permit,Packed"]
    rows += [f"{n},Tridacna derasa,{60 + 10 * n}-{70 + 10 * n},{10 * n},{n},5.50,C,INV-0{n},{packed}" for n in (1, 2)]
    owner = visit("ada", **DESK | {"is_mobile": False, "has_touch": False})
    owner.goto(f"{server.base}/deliveries/new")
    owner.set_input_files(
        "[name=list]", {"name": "../list.csv", "mimeType": "text/csv", "buffer": "\n".join(rows).encode()}
    )
    owner.select_option("[name=supplier]", "one")
    owner.fill("[name=lands]", datetime.now().strftime("%Y-%m-%dT%H:%M"))  # noqa: DTZ005  # what a person types
    owner.click("text=Upload")
    for _ in range(8):
        if owner.locator("button:has-text('Save as')").count():
            break
        for group in owner.locator("fieldset.question").all():
            group.locator("input").first.check() if group.locator("input[type=radio]").count() else None
        owner.click("text=Answer")
    owner.click("button:has-text('Save as')")
    owner.wait_for_url("**/deliveries/S2")
    owner.goto(f"{server.base}/plan")
    owner.click("text=Make a plan")
    owner.wait_for_selector("text=Accept this plan", timeout=60000)
    owner.click("text=Accept this plan")
    owner.wait_for_selector("text=Plan P2 accepted", timeout=60000)
    owner.on("dialog", lambda dialog: dialog.accept())
    owner.goto(f"{server.base}/deliveries/S2")
    owner.click("text=Mark as received")
    owner.wait_for_selector("text=Shipment S2 received")
    keeper = visit("ben")
    keeper.goto(f"{server.base}/c#S2-02")
    keeper.wait_for_selector("#stand:has-text('20 alive')")
    assert (
        keeper.evaluate("document.querySelector('.stepper').dataset.head") == "doa"
    )  # fresh: dead in the bag comes first
    keeper.tap("[data-head=doa] .more")
    keeper.tap("[data-head=doa] .more")
    keeper.tap("#save")
    keeper.wait_for_selector("#state.saved")
    owner.goto(f"{server.base}/claims/S2")
    assert "S2-02" in (owner.text_content("main") or "")
    owner.select_option("[name=state]", "sent")
    owner.click("button:has-text('Record')")
    owner.wait_for_selector("text=Claim for S2: sent", timeout=60000)
    owner.wait_for_timeout(3000)  # the act makes the page renew itself; what was said of it stays
    assert owner.locator("text=Claim for S2: sent").is_visible()


def test_a_season_is_planned_from_pasted_text(visit: Open, server: Server) -> None:
    """Pasted, planned beside the page that reloads itself, shown with picture and orders; nothing scrolls sideways at 390 px."""
    page = visit("ada", **DESK | {"is_mobile": False, "has_touch": False})
    page.goto(f"{server.base}/season")
    page.fill("[name=text]", EXAMPLE)
    page.fill("[name=seconds]", "3")
    page.click("text=Plan the season")
    page.wait_for_selector("text=Ask again", timeout=60_000)
    assert page.locator(".paper svg").is_visible()
    assert page.locator("text=Sales not served").is_visible()
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(f"{server.base}/season")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), width
