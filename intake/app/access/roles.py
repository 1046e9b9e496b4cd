"""Roles and what each may do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from intake.app.session import House
from intake.errors import BadInput, Finding

__all__ = ["may", "owner", "role_of"]


_HELPER: Final = frozenset({"count", "undo", "photo", "done", "finding", "reading"})
_KEEPER: Final = _HELPER | {"receive", "move", "clean", "cut", "hold", "claim-paper"}
_OWNER: Final = _KEEPER | {"claim", "plan", "shipment", "people", "feeds"}
_RIGHTS: Final[Mapping[str, frozenset[str]]] = {
    "owner": _OWNER,
    "keeper": _KEEPER,
    "helper": _HELPER,
    "read-only": frozenset(),
}


def may(role: str, act: str) -> bool:
    """Whether a role may do an act; looking is open to everyone signed in."""
    return act in _RIGHTS.get(role, frozenset())


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
