"""Who may do what at the board: invitations, the devices they become, PINs on shared devices, and roles.

Only hashes are kept: SHA-256 of a device's token or an invitation's code (256 bits of chance each), scrypt of a PIN.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from intake.desk.house import Act, House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.ledger import Record, latest

__all__ = [
    "Device", "devices", "form_token", "invite", "leave", "may", "open_devices", "owner", "person_pins", "redeem", "revoke",
    "role_of", "set_pin", "sign_in",
]  # fmt: skip

INVITE_HOURS: Final = 72
DEVICE_DAYS: Final = 180
PIN_DIGITS: Final = range(6, 13)

_HELPER: Final = frozenset({"count", "undo", "photo", "done", "finding", "reading"})
_KEEPER: Final = _HELPER | {"receive", "move", "clean", "cut", "hold", "claim-paper"}
_OWNER: Final = _KEEPER | {"claim", "plan", "shipment", "people", "feeds"}
_RIGHTS: Final[Mapping[str, frozenset[str]]] = {
    "owner": _OWNER,
    "keeper": _KEEPER,
    "helper": _HELPER,
    "read-only": frozenset(),
}


@dataclass(frozen=True, slots=True)
class Device:
    """A phone, tablet or computer: invited, opened by its invitation, or revoked.

    Attributes
    ----------
    id
        ``D1``, ``D2`` …
    person
        Whose it is; on a shared device who is signed in there now, empty for nobody.
    shared
        Whether people sign in on it by name and PIN.
    state
        ``invited``, ``open`` or ``revoked``.
    hash
        SHA-256 of the invitation's code while invited, of the device's token once open.
    since, until
        When this state began, and when it ends by itself.
    """

    id: str
    person: str
    shared: bool
    label: str
    state: str
    hash: str
    since: datetime
    until: datetime


def may(role: str, act: str) -> bool:
    """Whether a role may do an act; looking is open to everyone signed in."""
    return act in _RIGHTS.get(role, frozenset())


def role_of(house: House, person: str) -> str:
    """The role of a person; of a farm that names nobody, its one nameless owner.  Empty for a stranger."""
    if not house.site.people:
        return "owner" if person == "owner" else ""
    found = house.site.people.get(person)
    return "" if found is None else found.role


def owner(house: House) -> str:
    """The first owner the farm file names; ``owner`` when it names nobody at all.

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


def devices(house: House) -> list[Device]:
    """Every device and open invitation, newest last."""
    return [_device(record) for record in latest(house.entries(), "device").values()]


def open_devices(house: House) -> dict[str, Device]:
    """Hash of the token → device, for those that may come in now."""
    return {
        one.hash: one
        for one in devices(house)
        if one.state == "open" and one.until > house.now and (one.shared or role_of(house, one.person))
    }


def _device(record: Record) -> Device:
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
    )


def _write(act: Act, house: House, one: Device, **changes: object) -> None:
    told = {
        "person": one.person,
        "shared": one.shared,
        "label": one.label,
        "state": one.state,
        "hash": one.hash,
        "until": one.until.isoformat(),
    }
    act.note("device", one.id, told | changes, at=house.now)


def invite(house: House, person: str, *, shared: bool = False, label: str = "") -> tuple[str, str]:
    """Invite a device: gives its id and the one-time code, which is shown once and never stored.

    Parameters
    ----------
    person
        Whose device it will be; of a shared device, who answers for it.
    shared
        The device stays by the vats and people sign in on it with their PIN.

    Raises
    ------
    UnknownName
        No such person.
    """
    if not role_of(house, person):
        house.site.person(person)
    code = secrets.token_urlsafe(32)
    with house.act() as act:
        known = latest(act.entries(), "device")
        identity = f"D{1 + len(known)}"
        until = house.now + timedelta(hours=INVITE_HOURS)
        fresh = Device(
            identity, "" if shared else person, shared, label.strip()[:60], "invited", _hash(code), house.now, until
        )
        _write(act, house, fresh)
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
        for record in latest(act.entries(), "device").values():
            one = _device(record)
            # No early exit: every invitation is compared, whichever fits.
            if hmac.compare_digest(one.hash, hashed) and one.state == "invited" and one.until > house.now:
                found = one
        if found is None or not (found.shared or role_of(house, found.person)):
            raise Refused(Finding("invitation", "not valid", "an unused invitation", "Ask an owner for a new one."))
        until = house.now + timedelta(days=DEVICE_DAYS)
        label = found.label or label.strip()[:60]
        _write(act, house, found, state="open", hash=_hash(token), until=until.isoformat(), label=label)
    return Device(found.id, found.person, found.shared, label, "open", _hash(token), house.now, until), token


def revoke(house: House, identity: str) -> str:
    """End a device or an invitation for good; gives what was done in words.

    Raises
    ------
    UnknownName
        No such device.
    """
    with house.act() as act:
        known = latest(act.entries(), "device")
        if identity not in known:
            raise UnknownName("device", identity, sorted(known)[:3], "device")
        _write(act, house, _device(known[identity]), state="revoked", hash="")
    return f"{identity} revoked"


def set_pin(house: House, person: str, pin: str) -> None:
    """Set the PIN a person types on shared devices.

    Raises
    ------
    UnknownName
        No such person.
    BadInput
        Not 6 to 12 digits, or all of them the same.
    """
    if not role_of(house, person):
        house.site.person(person)
    if not (pin.isascii() and pin.isdigit() and len(pin) in PIN_DIGITS and len(set(pin)) > 1):
        raise BadInput(Finding("PIN", "•" * len(pin), "6 to 12 digits, not all the same"))
    salt = secrets.token_bytes(16)
    with house.act() as act:
        act.note("person", person, {"pin": f"{salt.hex()}:{_stretched(pin, salt)}"}, at=house.now)


def person_pins(house: House) -> set[str]:
    """People who have set a PIN."""
    return {person for person, record in latest(house.entries(), "person").items() if record.payload.get("pin")}


def sign_in(house: House, device: Device, person: str, pin: str) -> Device:
    """Sign a person in on a shared device.

    Raises
    ------
    Refused
        Not a shared device, or name and PIN do not fit: one answer, whichever was wrong.
    """
    record = latest(house.entries(), "person").get(person)
    stored = str(record.payload.get("pin") or "") if record else ""
    salt, _, expected = stored.partition(":")
    # A stranger's PIN is stretched too, so that the time taken does not tell who has one.
    fits = hmac.compare_digest(_stretched(pin, bytes.fromhex(salt) or b"nobody's salt..."), expected or "-")
    if not (fits and device.shared and role_of(house, person)):
        raise Refused(Finding("name and PIN", "do not fit", "your own PIN", "An owner can help you set a new one."))
    return _taken_by(house, device, person)


def leave(house: House, device: Device) -> Device:
    """Sign out: nobody is signed in on a shared device any more; a device of one's own is revoked."""
    if device.shared:
        return _taken_by(house, device, "")
    revoke(house, device.id)
    return device


def _taken_by(house: House, device: Device, person: str) -> Device:
    with house.act() as act:
        present = _device(latest(act.entries(), "device")[device.id])
        _write(act, house, present, person=person)
    return Device(
        present.id, person, present.shared, present.label, present.state, present.hash, house.now, present.until
    )


def form_token(token: str) -> str:
    """What a form of this device must bring along; it tells nothing of the device's token."""
    return hmac.new(token.encode(), b"vatside form", hashlib.sha256).hexdigest()


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode(errors="replace")).hexdigest()


def _stretched(pin: str, salt: bytes) -> str:
    # n = 2^14, r = 8: 62 ms and 16 MB on a small server, as measured when the stack was chosen.
    return hashlib.scrypt(pin.encode(errors="replace"), salt=salt, n=2**14, r=8, p=1, dklen=32).hex()
