"""The board's addresses with their rights, and the page on which each command is done, made from the board's own table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from making.markdown import page, table

if TYPE_CHECKING:
    from intake.board.api.way import Way

__all__ = ["ON_PAGE", "board_page"]

ON_PAGE: dict[str, tuple[str, ...] | str] = {
    "demo": "makes a farm of its own, at the command line only",
    "init": "makes a new folder, before there is a board",
    "clock": "sets right the board's own computer, so not from another one; every page says when the clock is wrong",
    "check": ("/farm", "/farm/check"),
    "stock": ("/farm", "/farm/stock"),
    "expect": ("/deliveries/new",),
    "shipments": ("/deliveries", "/deliveries/{shipment}/cancel"),
    "plan": ("/plan", "/plan/propose", "/plan/pin", "/plan/accept", "/plan/what-if"),
    "clear": ("/plan", "/plan/clear"),
    "amend": ("/deliveries/{shipment}/amend",),
    "capacity": ("/capacity", "/capacity/curve.pdf"),
    "season": ("/season", "/season/stop", "/season/plan.pdf"),
    "day": ("/deliveries/{shipment}/day", "/deliveries/{shipment}/day/plan", "/deliveries/{shipment}/day/slipped"),
    "timetable": ("/work", "/plan/timetable"),
    "print": ("/deliveries/{shipment}/print/{what}.pdf", "/batches/{batch}/print/{what}.pdf", "/print/{what}.pdf"),
    "calendar": ("/calendars",),
    "calendars": ("/calendars", "/calendars/create", "/calendars/{feed}/revoke"),
    "feed": ("/calendars",),
    "feeds": ("/calendars", "/calendars/create", "/calendars/{feed}/revoke"),
    "serve": "starts the board",
    "receive": ("/deliveries/{shipment}/receive",),
    "count": ("/c", "/count", "/journal/undo"),
    "done": ("/work", "/done"),
    "finding": ("/batches/{batch}/finding",),
    "reading": ("/vats/{vat}/reading", "/deliveries/{shipment}/day/opened"),
    "readings": ("/readings", "/readings/file"),
    "scan": "reads a PDF filled in at a desk; at the vats the count page takes the same values",
    "move": ("/batches/{batch}/move",),
    "cut": ("/batches/{batch}/cut",),
    "rebook": ("/batches/{batch}/rebook",),
    "clean": ("/vats/{vat}/clean",),
    "close": ("/vats/{vat}/close",),
    "open": ("/vats/{vat}/open",),
    "journal": ("/journal",),
    "undo": ("/journal/undo", "/batches/{batch}/undo"),
    "round": ("/round", "/count", "/vats/{vat}/reading", "/done", "/print/{what}.pdf"),
    "stocklist": ("/reports/{report}",),
    "order": ("/batches/{batch}/order",),
    "hold": ("/batches/{batch}/hold", "/batches/{batch}/lift"),
    "claim": ("/claims", "/claims/{shipment}", "/claims/{shipment}/state"),
    "history": ("/farm", "/farm/history"),
    "replumb": ("/vats/{vat}/replumb",),
    "carried": ("/vats/{vat}/carried",),
    "trace": ("/contacts",),
    "release": ("/release",),
    "report": ("/losses", "/space", "/reports/{report}"),
    "backup": ("/farm", "/farm/backup", "/farm/backup.zip"),
    "restore": "puts the ledger back while the board is stopped",
    "transfer": "moves the ledger while the board is stopped",
    "water": "a calculator that needs no farm",
    "acclimate": ("/batches/{batch}/acclimation",),
    "sample": ("/sample",),
}
"""Command → the addresses on which the board does the same, or why it is not done there."""


def board_page() -> str:
    """Commands and their pages; every address with its right; rights and the roles that have them."""
    from intake.app.access.roles import RIGHTS, roles_with
    from intake.board.route_table import WAYS

    where = [(f"`{command}`", _pages(told)) for command, told in ON_PAGE.items()]
    addresses = [(f"`{way.method} {way.path}`", way.right, _said(way)) for way in WAYS]
    rights = [(right, words, ", ".join(roles_with(right))) for right, words in RIGHTS.items()]
    return page(
        "The board's pages and rights",
        "Every act of the command line has its page; every address asks one right, and undoing asks the right of the act. "
        "Each page is also there as JSON under `/api/v1`, for a script with a token of its own (People, Script); "
        "`/api/openapi.json` describes them. `/api/live` sends what changed as server-sent events, `/api/beat` the same when "
        "asked.",
        "## Command and page",
        table(("Command", "On the board"), where),
        "## Rights",
        table(("Right", "To", "Roles"), rights),
        "## Addresses",
        table(("Address", "Right", "Answers"), addresses),
    )


def _pages(told: tuple[str, ...] | str) -> str:
    return f"– ({told})" if isinstance(told, str) else " ".join(f"`{one}`" for one in told)


def _said(way: Way) -> str:
    return (way.handler.__doc__ or "").strip().split("\n")[0].rstrip(".")
