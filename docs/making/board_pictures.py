"""Pictures of the board and the phone: the pages of the walked demo farm drawn by Chromium, without a network or a server."""

# ruff: noqa: TID251  # the book's own tools may open files

from __future__ import annotations

import io
from datetime import timedelta
from pathlib import Path
from typing import Any

__all__ = ["draw_board"]

HOST = "farm.lan"
CHROMIUM = "/usr/bin/chromium"
DESK = {"width": 1280, "height": 760}
PHONE = {"width": 390, "height": 760}
_LEVELS = 16
_GAP = 24


def draw_board(folder: Path, pictures: Path) -> None:
    """Write ``board.png`` (the floor at a desk) and ``phone.png`` (today and a count page), in greys.

    The farm is shown a minute after its last entry, to its owner.
    """
    from PIL import Image
    from playwright.sync_api import sync_playwright
    from starlette.testclient import TestClient

    from intake.app.access import devices
    from intake.app.session import open_house
    from intake.board.asgi_app import board
    from intake.board.middleware import Tries

    house = open_house(folder)
    head, batch = house.books.head().at, house.floor().stays[0].batch
    owner = next(iter(house.site.people))
    house.books.close()
    if head is None:
        message = "the farm has no entry"
        raise ValueError(message)
    app = board(folder, {HOST}, lambda: head + timedelta(minutes=1), Tries())
    app.state.pulse.longest_s = 0.0  # a stream says one beat and ends
    with app.state.farm.writing() as writing:
        _, code = devices.invite(writing, owner)
    base = "http://farm.lan"
    client = TestClient(app, base_url=base, headers={"origin": base}, follow_redirects=False)
    client.post(f"/join/{code}", data={"label": "pictures"})
    client.get("/")  # the sentence that greets a new device

    def answer(route: Any) -> None:
        asked = route.request
        told = client.request(asked.method, asked.url, content=asked.post_data_buffer, headers=asked.headers)
        route.fulfill(status=told.status_code, headers=dict(told.headers), body=told.content)

    def shot(driver: Any, where: str, size: dict[str, int]) -> Image.Image:
        page = driver.new_page(viewport=size, device_scale_factor=1)
        page.route("**/*", answer)
        page.goto(f"{base}{where}", wait_until="load")
        page.wait_for_timeout(800)
        drawn = Image.open(io.BytesIO(page.screenshot())).convert("L")
        page.close()
        return drawn

    with sync_playwright() as started:
        driver = started.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        _kept(shot(driver, "/", DESK), pictures / "board.png")
        screens = [shot(driver, where, PHONE) for where in ("/work", f"/c#{batch}")]
        driver.close()
    wide = sum(one.width for one in screens) + _GAP * (len(screens) - 1)
    beside = Image.new("L", (wide, PHONE["height"]), 255)
    for number, one in enumerate(screens):
        beside.paste(one, (number * (PHONE["width"] + _GAP), 0))
    _kept(beside, pictures / "phone.png")
    app.state.jobs.wait(30)
    app.state.watch.wait(30)
    app.state.farm.close()


def _kept(picture: Any, target: Path) -> None:
    picture.quantize(_LEVELS).save(target, optimize=True)
