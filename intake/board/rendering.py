"""Pages made from templates, and the few static files, all read once and known by one build name."""

from __future__ import annotations

import hashlib
import re
from importlib import resources
from typing import Any

from jinja2 import DictLoader, Environment, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from intake.board.template_filters import FILTERS
from intake.farm.shown_units import SI, FarmUnits

__all__ = ["BUILD", "handed_over", "render", "static_file", "worker_file"]

_TYPES = {"css": "text/css; charset=utf-8", "js": "text/javascript; charset=utf-8", "svg": "image/svg+xml"}


def _files(folder: str) -> dict[str, bytes]:
    root = resources.files("intake.board").joinpath(folder)
    return {one.name: one.read_bytes() for one in sorted(root.iterdir(), key=lambda one: one.name) if one.is_file()}


_TAGS = re.compile(r"(<script\b.*?</script>|<textarea\b.*?</textarea>|<[^>]*>)", re.DOTALL)
_SPOKEN = re.compile(r'\b(?:aria-label|title|alt|placeholder)="[^"]*"')

_STATIC = _files("static")
_TEMPLATES = {name: data.decode() for name, data in _files("templates").items()}

BUILD = hashlib.sha256(b"".join([*_STATIC.values(), *(text.encode() for text in _TEMPLATES.values())])).hexdigest()[:12]
"""Name of this state of the pages: a phone with an old count page fetches the new one."""

_PAGES = Environment(loader=DictLoader(_TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True)
_PAGES.filters.update(FILTERS)
_PAGES.globals["build"] = BUILD
_PAGES.globals["nav"] = (
    (
        "Today",
        (
            ("/work", "Today", "tasks, vat first", "look"),
            ("/", "Floor", "every vat and what is in it", "look"),
            ("/c", "Count", "alive, dead, missing", "count"),
            ("/round", "Round", "vat by vat: dead, temperature, tasks", "count"),
            ("/journal", "Journal", "what was recorded, with undo", "look"),
        ),
    ),
    (
        "Animals",
        (
            ("/batches", "Batches", "everything alive", "look"),
            ("/release", "Release", "when each lot leaves quarantine", "look"),
            ("/losses", "Losses", "alarms and what the dead share", "look"),
            ("/contacts", "Shared water", "who met whom", "look"),
            ("/readings", "Readings", "water over time", "look"),
            ("/sample", "Sample size", "how many to examine", "look"),
        ),
    ),
    (
        "Plan",
        (
            ("/deliveries", "Shipments", "expected and received", "look"),
            ("/plan", "Plan", "which vat for whom", "look"),
            ("/space", "Vat timeline", "vats over the weeks", "look"),
            ("/capacity", "Capacity", "what the farm can take", "plan"),
            ("/season", "Season", "what to order, and when", "plan"),
            ("/claims", "Claims", "what suppliers owe", "prices"),
            ("/reports/permits", "Reports", "permits, suppliers, money", "look"),
        ),
    ),
    (
        "Farm",
        (
            ("/calendars", "Calendars", "tasks in a calendar program", "own"),
            ("/people", "People", "devices, PINs, scripts", "own"),
            ("/farm", "Farm", "settings, check, backup", "farm"),
        ),
    ),
)


def render(name: str, facts: dict[str, Any], status: int = 200, headers: dict[str, str] | None = None) -> HTMLResponse:
    """Make a page from its template and facts, its texts in the units of the farm."""
    page = _PAGES.get_template(name).render(facts)
    measures: FarmUnits = facts.get("measures", SI)
    return HTMLResponse(page if measures == SI else _measured(page, measures), status, headers)


def _measured(page: str, measures: FarmUnits) -> str:
    """A page with the texts people see or hear in the farm's units; tags, scripts and what they typed stay."""
    parts = _TAGS.split(page)
    parts[::2] = [measures.text(text) for text in parts[::2]]
    parts[1::2] = [
        tag if tag.startswith("<script") else _SPOKEN.sub(lambda found: measures.text(found[0]), tag)
        for tag in parts[1::2]
    ]
    return "".join(parts)


def handed_over(name: str, data: bytes, kind: str = "application/pdf") -> Response:
    """A file to keep or print, under a name that no file system minds."""
    safe = "".join(letter if letter.isascii() and (letter.isalnum() or letter in "-_.") else "_" for letter in name)
    return Response(data, headers={"content-disposition": f'attachment; filename="{safe}"'}, media_type=kind)


async def worker_file(request: Request) -> Response:
    """Serve the script that keeps pages on a phone; it must stand at the root to reach them all."""
    del request
    return Response(_STATIC["worker.js"], headers={"cache-control": "no-cache"}, media_type=_TYPES["js"])


async def static_file(request: Request) -> Response:
    """Serve a style sheet or script; under the present build's name it may be kept for ever."""
    name = request.path_params["name"]
    data = _STATIC.get(name)
    if data is None:
        return Response("No such file.\n", 404, media_type="text/plain")
    current = request.path_params["build"] == BUILD
    keep = "public, max-age=31536000, immutable" if current else "no-cache"
    return Response(data, headers={"cache-control": keep}, media_type=_TYPES[name.rsplit(".", 1)[-1]])
