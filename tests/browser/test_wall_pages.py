"""A wall with more systems than fit: pages that change, every vat seen, nothing cut off, and the foot in its place."""

from typing import Any

from tests.browser.conftest import Open, Server
from tests.conftest import VAT

SYSTEM = """
[system.s{number}]
name = "Invented water {number}"
role = "grow-out"
temperature_c = 26.4
salinity_psu = 34.5
filter_area_m2 = 60
"""
SEEN = """() => {
  const box = document.querySelector('.wall-tiles').getBoundingClientRect();
  const foot = document.querySelector('.wall-foot').getBoundingClientRect();
  const tiles = [...document.querySelectorAll('.tile')].filter((one) => one.getClientRects().length);
  const whole = (one) => one.top >= box.top && one.bottom <= box.bottom && one.left >= box.left && one.right <= box.right;
  return { cut: tiles.filter((one) => !whole(one.getBoundingClientRect())).length,
    names: tiles.map((one) => one.querySelector('b').textContent), foot: [foot.top, foot.bottom],
    page: document.getElementById('wall-page').textContent,
    short: [...document.querySelectorAll('.wall-foot p, .tile b')].filter((one) => one.scrollWidth > one.clientWidth + 1).length,
    screen: [document.documentElement.scrollWidth, document.documentElement.scrollHeight] };
}"""


def test_every_vat_of_many_systems_is_seen(visit: Open, server: Server) -> None:
    """Twelve waters of twelve vats and one of sixty: each page whole, all vats within one round of the pages."""
    file = server.folder / "farm.toml"
    sizes = [12] * 12 + [60]
    names = [[f"W{number}{vat:02d}" for vat in range(size)] for number, size in enumerate(sizes, start=10)]
    systems = "".join(SYSTEM.format(number=number) for number in range(10, 10 + len(sizes)))
    vats = "".join(VAT.format(name=name, system=f"s{number}") for number, some in enumerate(names, 10) for name in some)
    file.write_text(file.read_text(encoding="utf-8") + systems + vats, encoding="utf-8")
    page = visit("ada", viewport={"width": 1920, "height": 1080}, is_mobile=False, has_touch=False)
    page.clock.install()
    page.goto(f"{server.base}/wall")
    page.wait_for_selector("#wall-page:has-text('Page 1 of')", state="attached")
    pages = int(page.text_content("#wall-page").rsplit(" ", 1)[1])
    assert pages > 1
    seen: set[str] = set()
    for number in range(pages):
        found: dict[str, Any] = page.evaluate(SEEN)
        assert found["page"] == f"Page {number + 1} of {pages}"
        assert found["names"]
        assert (found["cut"], found["short"], found["screen"]) == (0, 0, [1920, 1080])
        assert found["foot"][1] <= 1080
        assert found["foot"][1] - found["foot"][0] >= 80
        seen |= set(found["names"])
        page.clock.run_for(8000)
    assert {name for some in names for name in some} <= seen
    assert page.evaluate(SEEN)["page"] == f"Page 1 of {pages}", "and round again"
