"""Addresses of board pages, for QR codes and calendars alike."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import quote

from intake.app.session import House

__all__ = ["board_line", "count_address", "page_address", "task_page"]


def task_page(task: Mapping[str, Any]) -> str:
    """The board's page on which a piece of work is recorded."""
    return f"/work?who=all&batch={quote(str(task['batch']))}" if task["batch"] else "/work?who=all"


def board_line(house: House, page: str) -> Iterator[str]:
    """The line of an event that names its page on the board, where the address is known."""
    address = page_address(house, page)
    if address:
        yield f"On the board: {address}"


def page_address(house: House, page: str) -> str:
    """A page of the board, where the farm says at which address its count page is."""
    base = house.site.farm.count_page.rstrip("/")
    return base.removesuffix("/c") + page if base.endswith("/c") else ""


def count_address(house: House, batch: str) -> str:
    """What a QR code says: the count page of a batch, or the bare batch code."""
    base = house.site.farm.count_page.rstrip("/")
    return f"{base}#{batch}" if base else batch
