"""Maintenance of vats: cleaned, joined to another system, tools carried wet."""

from __future__ import annotations

from datetime import datetime

from intake.app.act_recording import Recorded, judge
from intake.app.queries.biosecurity.contact_tracing import CONTACT_KIND
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName
from intake.ledger.closures import closed_payload, opened_payload
from intake.rules import Cleaning, Closing, Joining

__all__ = ["carried", "clean", "close_vat", "open_vat", "replumb"]


def replumb(
    house: House, vat: str, left: str, joined: str, *, at: datetime | None = None, despite: str = "", key: str = ""
) -> Recorded:
    """Record that a vat was taken from one system and joined to another; the farm file is changed by hand.

    Raises
    ------
    UnknownName
        No such vat or system.
    BadInput
        Both systems are one.
    RulesBroken
        Animals that may not share water would share it, or copper would reach some of them.
    """
    house.site.vat(vat)
    for option, system in (("--from", left), ("--to", joined)):
        if system not in house.site.systems:
            raise UnknownName(option, system, sorted(house.site.systems), "system")
    if left == joined:
        raise BadInput(Finding("--to", joined, "another system than it left"))
    with house.act(key) as act:
        told = judge(house, act, Joining(at or house.now, vat, joined), despite=despite, key=key)
        fact = {"what": "replumbed", "vat": vat, "left": left, "joined": joined}
        keys = (act.note(CONTACT_KIND, f"water of {vat}", fact, at=at),)
        told.keep(act, at=at)
    said = [f"{vat}: from {left} to {joined}", *told.said]
    if house.site.vat(vat).system != joined:
        said.append(f'farm.toml still says system = "{house.site.vat(vat).system}" for {vat}: change it there too')
    return Recorded(tuple(said), keys)


def carried(
    house: House, tool: str, source: str, target: str, *, at: datetime | None = None, key: str = ""
) -> Recorded:
    """Record that a tool, or a person's hands, went wet from one vat to another: lots in both are reported as met weakly.

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
    RulesBroken
        Animals are in it.
    """
    house.site.vat(vat)
    with house.act(key) as act:
        judge(house, act, Cleaning(at or house.now, vat), key=key)
        keys = [act.note("cleaned", vat, {"vat": vat}, at=at)]
    return Recorded((f"{vat} cleaned and dry",), tuple(keys))


def close_vat(
    house: House, vat: str, reason: str, *, until: datetime | None = None, at: datetime | None = None, key: str = ""
) -> Recorded:
    """Close a vat to newcomers until a day, or until someone opens it; beside what the farm file says.

    Raises
    ------
    UnknownName
        No such vat.
    BadInput
        No reason, or a day that has passed.
    """
    house.site.vat(vat)
    begins = at or house.now
    if not reason.strip():
        raise BadInput(Finding("--reason", "", "the reason in words", "Say why it is closed."))
    if until is not None and until <= begins:
        zone = house.site.farm.zone
        raise BadInput(Finding("--until", f"{until.astimezone(zone):%Y-%m-%d %H:%M}", "a time after it is closed"))
    with house.act(key) as act:
        told = judge(house, act, Closing(begins, vat), key=key)
        keys = [act.note(CONTACT_KIND, f"use of {vat}", closed_payload(vat, reason.strip(), until), at=at)]
    ends = f" until {until.astimezone(house.site.farm.zone):%Y-%m-%d %H:%M}" if until else " until it is opened"
    return Recorded((f"{vat} closed{ends}: {reason.strip()}", *told.said), tuple(keys), told.told)


def open_vat(house: House, vat: str, *, at: datetime | None = None, key: str = "") -> Recorded:
    """Open a vat again, whoever or whatever closed it.

    Raises
    ------
    UnknownName
        No such vat.
    """
    house.site.vat(vat)
    with house.act(key) as act:
        keys = [act.note(CONTACT_KIND, f"use of {vat}", opened_payload(vat), at=at)]
    return Recorded((f"{vat} open",), tuple(keys))
