"""A person added to the farm file: appended, checked as a whole before it is kept, everything else untouched."""

from __future__ import annotations

import json
import re
from typing import Final

from intake.app.input_files import read_file
from intake.app.output_files import save
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.reading import read_site

__all__ = ["ROLES", "add_person"]

ROLES: Final = ("owner", "keeper", "helper", "read-only")
_ID: Final = re.compile(r"[a-z][a-z0-9-]{0,30}")


def add_person(house: House, identity: str, name: str, role: str) -> str:
    """Append a person to ``farm.toml``; gives the id.

    Raises
    ------
    BadInput
        An id that is taken or cannot be one, no name, an unknown role, or a farm file that would not be valid.
    """
    faults = []
    if not _ID.fullmatch(identity):
        faults.append(Finding("id", identity[:40], "small letters, digits and -, a letter first", "For example: eva"))
    elif identity in house.site.people:
        faults.append(Finding("id", identity, "an id no one has yet"))
    if not name.strip() or not name.isprintable():
        faults.append(Finding("name", name[:40], "the name in words"))
    if role not in ROLES:
        faults.append(Finding("role", role[:40], f"one of {', '.join(ROLES)}"))
    if faults:
        raise BadInput(faults)
    file = house.folder / "farm.toml"
    words = json.dumps(name.strip()[:60], ensure_ascii=False)  # a JSON string is a TOML basic string
    text = read_file(file, "a farm file").decode("utf-8-sig").rstrip("\n")
    text += f'\n\n[person.{identity}]\nname = {words}\nrole = "{role}"\n'
    read_site(text.encode(), str(file))
    save(file, text.encode(), own=True)
    return identity
