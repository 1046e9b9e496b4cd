"""Devices and the invitations they come from.

Only hashes are kept: SHA-256 of a device's token or an invitation's code (256 random bits each), scrypt of a PIN.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from intake.app.access.roles import role_of
from intake.app.session import Act, House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.ledger import Record

__all__ = [
    "Device",
    "add_script",
    "device_from",
    "devices",
    "form_token",
    "invite",
    "open_devices",
    "redeem",
    "revoke",
    "welcome",
    "write_device",
]


INVITE_HOURS: Final = 72
DEVICE_DAYS: Final = 180
SCRIPT_DAYS: Final = 366


@dataclass(frozen=True, slots=True)
class Device:
    """A phone, tablet or computer: invited, opened by its invitation, or revoked.

    Attributes
    ----------
    id
        ``D1``, ``D2`` …
    person
        Whose it is; on a shared device who is signed in there now, empty for no one.
    shared
        Whether people sign in on it by name and PIN.
    state
        ``invited``, ``open`` or ``revoked``.
    hash
        SHA-256 of the invitation's code while invited, of the device's token once open.
    since, until
        When this state began, and when it ends by itself.
    kind
        ``wall`` for a screen that shows only the wall page, ``script`` for a program with a token; empty for people.
    """

    id: str
    person: str
    shared: bool
    label: str
    state: str
    hash: str
    since: datetime
    until: datetime
    kind: str = ""

    @property
    def role(self) -> str:
        """The role of a device that belongs to nobody: a wall screen has its own, all others that of their person."""
        return "wall" if self.kind == "wall" else ""


def devices(house: House) -> list[Device]:
    """Every device and open invitation, newest last."""
    return [device_from(record) for record in house.latest("device").values()]


def open_devices(house: House) -> dict[str, Device]:
    """Hash of the token → device, for those that may come in now."""
    return {
        one.hash: one for one in devices(house) if one.state == "open" and one.until > house.now and welcome(house, one)
    }


def welcome(house: House, one: Device) -> bool:
    """Whether somebody known to the farm file stands behind a device, or it may stand by itself."""
    return bool(one.shared or one.role or role_of(house, one.person))


def device_from(record: Record) -> Device:
    """A device as its newest record has it."""
    told = record.payload
    return Device(
        id=record.subject,
        person=str(told.get("person") or ""),
        shared=bool(told.get("shared")),
        label=str(told.get("label") or ""),
        state=str(told["state"]),
        hash=str(told.get("hash") or ""),
        since=record.happened_at,
        until=datetime.fromisoformat(str(told["until"])),
        kind=str(told.get("kind") or ""),
    )


def write_device(act: Act, house: House, one: Device, **changes: object) -> None:
    """Record a device with some of its facts changed."""
    told = {
        "person": one.person,
        "shared": one.shared,
        "label": one.label,
        "state": one.state,
        "hash": one.hash,
        "until": one.until.isoformat(),
        "kind": one.kind,
    }
    act.note("device", one.id, told | changes, at=house.now)


def invite(house: House, person: str, *, shared: bool = False, label: str = "", kind: str = "") -> tuple[str, str]:
    """Invite a device: gives its id and the one-time code, which is shown once and never stored.

    Parameters
    ----------
    person
        Whose device it will be; of a shared device, who answers for it.
    shared
        The device stays by the vats and people sign in on it with their PIN.
    kind
        ``wall`` for a screen that shows the wall page and nothing else.

    Raises
    ------
    UnknownName
        No such person.
    """
    if not role_of(house, person):
        house.site.person(person)
    code = secrets.token_urlsafe(32)
    with house.act() as act:
        known = act.latest("device")
        identity = f"D{1 + len(known)}"
        until = house.now + timedelta(hours=INVITE_HOURS)
        whose = "" if shared or kind == "wall" else person
        fresh = Device(identity, whose, shared, label.strip()[:60], "invited", _hash(code), house.now, until, kind)
        write_device(act, house, fresh)
    return identity, code


def redeem(house: House, code: str, label: str = "") -> tuple[Device, str]:
    """Turn an invitation into an open device, once: gives the device and its token, which only the device keeps.

    Raises
    ------
    Refused
        The code was never made, was used, revoked or is too old: one answer for all of them.
    """
    token = secrets.token_urlsafe(32)
    hashed = _hash(code)
    with house.act() as act:
        found = None
        for record in act.latest("device").values():
            one = device_from(record)
            # No early exit: every invitation is compared, whichever fits.
            if hmac.compare_digest(one.hash, hashed) and one.state == "invited" and one.until > house.now:
                found = one
        if found is None or not welcome(house, found):
            raise Refused(Finding("invitation", "not valid", "an unused invitation", "Ask an owner for a new one."))
        until = house.now + timedelta(days=DEVICE_DAYS)
        label = found.label or label.strip()[:60]
        write_device(act, house, found, state="open", hash=_hash(token), until=until.isoformat(), label=label)
    return replace(found, label=label, state="open", hash=_hash(token), since=house.now, until=until), token


def add_script(house: House, person: str, label: str) -> tuple[str, str]:
    """Let a program read and post with a person's rights: gives its id and its token, which is shown once.

    Raises
    ------
    UnknownName
        No such person.
    BadInput
        No words for what it is.
    """
    if not role_of(house, person):
        house.site.person(person)
    if not label.strip():
        raise BadInput(Finding("script", "", "what it is called, in words"))
    token = secrets.token_urlsafe(32)
    with house.act() as act:
        identity = f"D{1 + len(act.latest('device'))}"
        until = house.now + timedelta(days=SCRIPT_DAYS)
        fresh = Device(identity, person, False, label.strip()[:60], "open", _hash(token), house.now, until, "script")
        write_device(act, house, fresh)
    return identity, token


def revoke(house: House, identity: str) -> str:
    """End a device or an invitation permanently; gives what was done in words.

    Raises
    ------
    UnknownName
        No such device.
    """
    with house.act() as act:
        known = act.latest("device")
        if identity not in known:
            raise UnknownName("device", identity, sorted(known)[:3], "device")
        write_device(act, house, device_from(known[identity]), state="revoked", hash="")
    return f"{identity} revoked"


def form_token(token: str) -> str:
    """What a form of this device must bring along; it reveals nothing of the device's token."""
    return hmac.new(token.encode(), b"vatside form", hashlib.sha256).hexdigest()


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode(errors="replace")).hexdigest()
