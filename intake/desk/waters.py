"""What joins waters that the farm file keeps apart: a vat plumbed into another system, a tool carried wet between vats."""

from __future__ import annotations

from datetime import datetime

from intake.desk.house import House
from intake.desk.records import Recorded
from intake.errors import BadInput, Finding, UnknownName
from intake.ledger import Record, standing
from intake.quarantine.exposure import Contact, Replumbed

__all__ = ["carried", "contacts", "replumb", "replumbings"]

# Both are facts about the farm itself rather than about a batch or a vat's content.
_KIND = "farm"


def replumb(house: House, vat: str, left: str, joined: str, *, at: datetime | None = None, key: str = "") -> Recorded:
    """Record that a vat was taken from one system and joined to another; the farm file is changed by hand.

    Raises
    ------
    UnknownName
        No such vat or system.
    BadInput
        Both systems are one.
    """
    house.site.vat(vat)
    for option, system in (("--from", left), ("--to", joined)):
        if system not in house.site.systems:
            raise UnknownName(option, system, sorted(house.site.systems), "system")
    if left == joined:
        raise BadInput(Finding("--to", joined, "another system than it left"))
    with house.act(key) as act:
        fact = {"what": "replumbed", "vat": vat, "left": left, "joined": joined}
        keys = (act.note(_KIND, f"water of {vat}", fact, at=at),)
    said = [f"{vat}: from {left} to {joined}"]
    if house.site.vat(vat).system != joined:
        said.append(f'farm.toml still says system = "{house.site.vat(vat).system}" for {vat}: change it there too')
    return Recorded(tuple(said), keys)


def carried(
    house: House, tool: str, source: str, target: str, *, at: datetime | None = None, key: str = ""
) -> Recorded:
    """Record that a tool, or a person's hands, went wet from one vat to another: lots in both are told as met weakly.

    Raises
    ------
    UnknownName
        No such vat.
    BadInput
        No tool named, or twice the same vat.
    """
    house.site.vat(source)
    house.site.vat(target)
    if not tool.strip():
        raise BadInput(Finding("tool", tool, "what was carried, in words"))
    if source == target:
        raise BadInput(Finding("--to", target, "another vat than it came from"))
    with house.act(key) as act:
        fact = {"what": "carried", "tool": tool.strip(), "source": source, "target": target}
        keys = (act.note(_KIND, f"carried {tool.strip()}", fact, at=at),)
    return Recorded((f"{tool.strip()}: carried from {source} to {target}",), keys)


def replumbings(house: House) -> tuple[Replumbed, ...]:
    """Every change of plumbing in the books."""
    return tuple(
        Replumbed(_word(one, "vat"), _word(one, "joined"), one.happened_at, _word(one, "left"))
        for one in standing(house.entries(), _KIND)
        if one.payload.get("what") == "replumbed"
    )


def contacts(house: House) -> tuple[Contact, ...]:
    """Every tool carried wet between vats in the books."""
    return tuple(
        Contact(_word(one, "source"), _word(one, "target"), one.happened_at, _word(one, "tool"))
        for one in standing(house.entries(), _KIND)
        if one.payload.get("what") == "carried"
    )


def _word(record: Record, name: str) -> str:
    return str(record.payload.get(name) or "")
