"""Roles and what each may do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from intake.app.session import House
from intake.errors import BadInput, Finding

__all__ = ["RIGHTS", "may", "owner", "role_of", "roles_with"]


_READ_ONLY: Final = frozenset({"look", "prices", "own", "wall"})
_HELPER: Final = frozenset({"look", "own", "wall", "count", "undo", "photo", "done", "finding", "reading"})
_KEEPER: Final = _HELPER | {"prices", "receive", "move", "clean", "cut", "hold", "vats", "order", "claim-paper"}
_OWNER: Final = _KEEPER | {"claim", "plan", "shipment", "people", "feeds", "farm"}
_RIGHTS: Final[Mapping[str, frozenset[str]]] = {
    "owner": _OWNER,
    "keeper": _KEEPER,
    "helper": _HELPER,
    "read-only": _READ_ONLY,
    "wall": frozenset({"wall"}),
}
RIGHTS: Final[Mapping[str, str]] = {
    "look": "read floor, batches, vats, tasks and shipments",
    "prices": "read claims, prices and supplier reports",
    "own": "see to one's own devices, PIN and calendar",
    "wall": "read the wall screen",
    "count": "count animals, and correct a count",
    "undo": "undo what one may record",
    "photo": "keep a photo",
    "done": "record a task as done",
    "finding": "record an inspection",
    "reading": "record readings",
    "receive": "record landings, receiving days and what came otherwise than announced",
    "move": "move animals or record that they left",
    "clean": "record a vat as clean and dry",
    "cut": "record fragments cut",
    "hold": "hold lots and lift holds",
    "vats": "close and open vats, record changed water and shared tools",
    "order": "order a dip or a prescribed treatment",
    "claim": "send, settle and withdraw claims",
    "plan": "propose and accept plans and timetables",
    "shipment": "announce, amend and cancel shipments, enter first stock",
    "people": "invite people and devices",
    "feeds": "create and revoke calendars of others",
    "farm": "read settings, check and back up the farm",
}
"""Each right of the board in words; every address and every take-back asks one of them."""


def may(role: str, act: str) -> bool:
    """Whether a role has a right."""
    return act in _RIGHTS.get(role, frozenset())


def roles_with(right: str) -> tuple[str, ...]:
    """Roles that have a right, the widest first."""
    return tuple(role for role, rights in _RIGHTS.items() if right in rights)


def role_of(house: House, person: str) -> str:
    """The role of a person; of a farm that names no one, its one nameless owner.  Empty for a stranger."""
    if not house.site.people:
        return "owner" if person == "owner" else ""
    found = house.site.people.get(person)
    return "" if found is None else found.role


def owner(house: House) -> str:
    """The first owner the farm file names; ``owner`` when it names no one at all.

    Raises
    ------
    BadInput
        People are named, but no owner among them.
    """
    if not house.site.people:
        return "owner"
    for person in house.site.people.values():
        if person.role == "owner":
            return person.id
    raise BadInput(
        Finding("farm.toml, person", "", 'one person with role = "owner"', "The board needs someone to invite.")
    )
