"""Every page by axe: WCAG 2.2 AA at three widths, light and dark; the wall fits its screen; targets are large enough."""

import os
from pathlib import Path
from typing import Any

import pytest

from tests.browser.conftest import Open, Server

PAGES = (
    *("/", "/work?who=all", "/space", "/batches", "/batches/S1-01", "/batches/S1-01/order", "/vats/Q1", "/deliveries"),
    *(
        "/deliveries/S1",
        "/deliveries/S1/day",
        "/deliveries/new",
        "/plan",
        "/plan/what-if",
        "/capacity",
        "/season",
        "/claims",
    ),
    *("/claims/S1", "/contacts?batch=S1-01", "/calendars", "/people", "/count", "/c#S1-01", "/journal", "/round"),
    *(
        "/release",
        "/readings",
        "/search?q=S1",
        "/more",
        "/farm",
        "/reports/permits",
        "/sample?lot=500",
        "/losses",
        "/nowhere",
    ),
)
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SIZES = tuple((width, scheme) for width in (390, 820, 1280) for scheme in ("light", "dark"))
SMALL = """() => [...document.querySelectorAll('button, .button, .bottom a, input, select, summary')]
  .filter((one) => one.getClientRects().length && !['radio', 'checkbox', 'hidden'].includes(one.type))
  .filter((one) => !one.closest('.scan') && one.id !== 'photo')
  .map((one) => [one.outerHTML.slice(0, 80), one.getBoundingClientRect()])
  .filter(([, box]) => box.height > 2 && (box.height < 43.5 || box.width < 43.5)).map(([words]) => words)"""


@pytest.fixture(scope="session")
def axe() -> str:
    """The script of axe-core, from where the readers of other makers lie."""
    file = Path(os.environ.get("VATSIDE_NODE_MODULES", "")) / "axe-core" / "axe.min.js"
    if not file.is_file():
        if os.environ.get("VATSIDE_REQUIRE_READERS") == "1":
            pytest.fail("axe-core is not installed (npm)")
        pytest.skip("axe-core is not installed (npm)")
    return file.read_text(encoding="utf-8")


@pytest.mark.parametrize(("width", "scheme"), SIZES)
def test_no_page_has_a_violation(visit: Open, server: Server, axe: str, width: int, scheme: str) -> None:
    """Names, contrast, landmarks, order; and no target below 44 px."""
    phone = {"is_mobile": False, "has_touch": False, "color_scheme": scheme}
    page = visit("ada", **phone | {"viewport": {"width": width, "height": 900}})
    found: list[Any] = []
    for where in PAGES:
        page.goto(server.base + where)
        page.wait_for_load_state()
        page.evaluate(axe)
        told = page.evaluate("rules => axe.run({runOnly: {type: 'tag', values: rules}})", RULES)
        found += [(where, one["id"], one["nodes"][0]["html"][:120]) for one in told["violations"]]
        found += [(where, "target size", one) for one in page.evaluate(SMALL)]
    assert found == []


def test_the_wall_fits_its_screen(visit: Open, server: Server) -> None:
    """1920 × 1080 without scrolling; nothing written smaller than 40 px."""
    page = visit("ada", viewport={"width": 1920, "height": 1080}, is_mobile=False, has_touch=False)
    page.goto(f"{server.base}/wall")
    assert page.evaluate("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]") == [
        1920,
        1080,
    ]
    small = """() => [...document.querySelectorAll('main *')]
      .filter((one) => one.childNodes.length && one.textContent.trim() && one.getClientRects().length)
      .filter((one) => parseFloat(getComputedStyle(one).fontSize) < 40).map((one) => one.outerHTML.slice(0, 80))"""
    assert page.evaluate(small) == []


def test_the_wall_follows_an_act_within_five_seconds(visit: Open, server: Server) -> None:
    """Announced by the server as it happens."""
    wall = visit("ada", viewport={"width": 1920, "height": 1080}, is_mobile=False, has_touch=False)
    wall.goto(f"{server.base}/wall")
    before = server.alive()
    keeper = visit("ben")
    keeper.goto(f"{server.base}/c#S1-01")
    keeper.wait_for_selector("#stand:has-text('alive')")
    keeper.tap("[data-head=dead] .more")
    keeper.tap("#save")
    keeper.wait_for_selector("#state.saved")
    total = server.house().floor().stays
    assert server.alive() == before - 1
    wall.wait_for_selector(f"text={sum(one.count for one in total) + 10}", timeout=5000)
