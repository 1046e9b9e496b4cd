"""Maintenance of vats: cleaned, joined to another system, tools carried wet."""

from __future__ import annotations

from datetime import datetime

from intake.app.queries.biosecurity.contact_tracing import CONTACT_KIND
from intake.app.recording import Recorded
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused, UnknownName

__all__ = ["carried", "clean", "replumb"]


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
        keys = (act.note(CONTACT_KIND, f"water of {vat}", fact, at=at),)
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
        keys = (act.note(CONTACT_KIND, f"carried {tool.strip()}", fact, at=at),)
    return Recorded((f"{tool.strip()}: carried from {source} to {target}",), keys)


def clean(house: House, vat: str, *, at: datetime | None = None, key: str = "") -> Recorded:
    """Record a vat as emptied, cleaned and dry.

    Raises
    ------
    UnknownName
        No such vat.
    Refused
        Animals stand in it.
    """
    house.site.vat(vat)
    inside = house.floor().in_vat(vat)
    if inside:
        raise Refused(
            Finding(f"vat {vat}", f"{inside[0].count} of {inside[0].batch}", "an empty vat", "Move them first.")
        )
    with house.act(key) as act:
        keys = [act.note("cleaned", vat, {"vat": vat}, at=at)]
    return Recorded((f"{vat} cleaned and dry",), tuple(keys))
