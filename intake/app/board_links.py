"""Addresses of board pages, for QR codes and calendars alike."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import quote, urlsplit

from intake.app.session import House

__all__ = ["board_line", "count_address", "link_warnings", "page_address", "remember_board", "task_page"]


def task_page(task: Mapping[str, Any]) -> str:
    """The board's page on which a piece of work stands alone, to be recorded with one tap."""
    return f"/work?task={quote(str(task['uid']), safe='')}"


def link_warnings(house: House) -> list[str]:
    """The note shown where people subscribe to calendars whose events cannot lead to the board."""
    used = any(not record.payload.get("revoked") for record in house.latest("feed").values())
    if not used or page_address(house, "/"):
        return []
    unknown = "Calendar events have no links: the board's address is not known."
    return [f"{unknown} Run `vatside serve` once, or set count_page in farm.toml."]


def board_line(house: House, page: str) -> Iterator[str]:
    """The line of an event that names its page on the board, where the address is known."""
    address = page_address(house, page)
    if address:
        yield house.language.say("On the board: {address}", address=address)


def page_address(house: House, page: str) -> str:
    """A page of the board: at the address the farm file gives for its count page, or else where it was last served.

    Where the board was last served by https under the name of the farm file, its https address counts.
    """
    base, served = house.site.farm.count_page.rstrip("/"), _served(house)
    if base.endswith("/c") and not _secured(base, served):
        return base.removesuffix("/c") + page
    return f"{served}{page}" if served else ""


def _served(house: House) -> str:
    """Where the board was last served; empty when it never was."""
    served = house.last("farm", _BOARD)
    return str(served.payload["address"]) if served is not None else ""


def _secured(base: str, served: str) -> bool:
    """Whether the board of an http address is now served by https under the same name."""
    one, other = urlsplit(base), urlsplit(served)
    return one.scheme == "http" and other.scheme == "https" and one.hostname == other.hostname


_BOARD = "board"


def remember_board(house: House, address: str) -> bool:
    """Keep the address at which the board is served, for links in calendars; gives whether it was another before."""
    served = house.last("farm", _BOARD)
    if served is not None and served.payload["address"] == address:
        return False
    with house.act() as act:
        act.note("farm", _BOARD, {"address": address})
    return True


def count_address(house: House, batch: str) -> str:
    """What a QR code says: the count page of a batch, or the bare batch code where the board's address is not known."""
    base, served = house.site.farm.count_page.rstrip("/"), _served(house)
    if served and (not base or _secured(base, served)):
        base = f"{served}/c"
    return f"{base}#{batch}" if base else batch
