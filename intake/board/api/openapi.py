"""The description of the board's addresses for programs, made from its own table (OpenAPI 3.1)."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, Final

from intake import __version__
from intake.app.access.roles import RIGHTS, roles_with
from intake.board.api.way import OPEN, Way

__all__ = ["BASE", "address", "described", "for_programs"]

BASE: Final = "/api/v1"
"""Before the address of a page stands this for the same page as JSON."""


def for_programs(way: Way) -> bool:
    """Whether a page has a second address for programs; doors and the count page's own script have none."""
    return not way.machine and way.right != OPEN and not way.path.startswith("/api/")


def address(path: str) -> str:
    """Where a page is found as JSON; the floor, at the board's root, under its name."""
    return f"{BASE}{'/floor' if path == '/' else path}"


def described(ways: Iterable[Way]) -> dict[str, Any]:
    """Every address for programs with its parameters, its right and the roles that have it."""
    paths: dict[str, dict[str, Any]] = {}
    for way in ways:
        if for_programs(way):
            paths.setdefault(address(way.path), {})[way.method.lower()] = _operation(way)
    return {
        "openapi": "3.1.0",
        "info": {"title": "Vatside board", "version": __version__, "description": _WORDS},
        "paths": paths,
        "components": {"securitySchemes": {"token": {"type": "http", "scheme": "bearer"}}, "schemas": _SCHEMAS},
        "security": [{"token": []}],
    }


_WORDS: Final = (
    "Each page of the board as JSON, under the rights of the person the token was made for. A post is one act: give a key "
    "of 16 to 64 letters and digits, and the same key sent again records nothing twice."
)
_SCHEMAS: Final = {
    "Said": {
        "type": "object",
        "properties": {"said": {"type": "array", "items": {"type": "string"}}, "next": {"type": "string"}},
    },
    "Refusal": {
        "type": "object",
        "properties": {
            "said": {"type": "array", "items": {"type": "string"}},
            "rules": {"type": "array", "items": {"type": "object"}},
        },
    },
}


def _operation(way: Way) -> dict[str, Any]:
    told: dict[str, Any] = {
        "summary": _first_line(way),
        "operationId": f"{way.method.lower()}_{re.sub(r'[^a-z0-9]+', '_', way.path.lower()).strip('_') or 'floor'}",
        "x-right": way.right,
        "x-roles": list(roles_with(way.right)),
        "description": f"Right: {way.right} ({RIGHTS[way.right]}).",
        "parameters": [_parameter(name, "path") for name in re.findall(r"{(\w+)}", way.path)],
        "responses": _responses(way),
    }
    if way.method == "GET":
        told["parameters"] += [_parameter(name, "query") for name in way.fields]
    else:
        told["requestBody"] = _body(way)
    return told


def _first_line(way: Way) -> str:
    words = (way.handler.__doc__ or way.handler.__name__).strip().split("\n")[0]
    return words.rstrip(".")


def _parameter(name: str, where: str) -> dict[str, Any]:
    return {"name": name, "in": where, "required": where == "path", "schema": {"type": "string"}}


def _body(way: Way) -> dict[str, Any]:
    properties: dict[str, Any] = {name: {"type": "string"} for name in way.fields}
    properties["key"] = {"type": "string", "minLength": 16, "maxLength": 64}
    return {"content": {"application/json": {"schema": {"type": "object", "properties": properties}}}}


def _responses(way: Way) -> dict[str, Any]:
    refusal = {"application/json": {"schema": {"$ref": "#/components/schemas/Refusal"}}}
    kind = {"pdf": "application/pdf", "csv": "text/csv", "jpg": "image/jpeg"}.get(way.path.rpartition(".")[2], "")
    good: dict[str, Any] = {"application/json": {"schema": {"type": "object"}}}
    if kind:
        good = {kind: {}}
    elif way.method == "POST":
        good = {"application/json": {"schema": {"$ref": "#/components/schemas/Said"}}}
    codes = {"401": "no token", "403": "no right", "404": "no such thing", "422": "refused, with the reasons"}
    return {"200": {"description": "done", "content": good}} | {
        code: {"description": words, "content": refusal} for code, words in codes.items()
    }
