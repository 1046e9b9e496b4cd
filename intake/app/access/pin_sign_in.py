"""Sign-in with a PIN on a shared device."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import replace
from typing import Final

from intake.app.access.devices import Device, device_from, revoke, write_device
from intake.app.access.roles import role_of
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused

__all__ = ["leave", "person_pins", "set_pin", "sign_in"]

PIN_DIGITS: Final = range(6, 13)


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
    return {person for person, record in house.latest("person").items() if record.payload.get("pin")}


def sign_in(house: House, device: Device, person: str, pin: str) -> Device:
    """Sign a person in on a shared device.

    Raises
    ------
    Refused
        Not a shared device, or name and PIN do not fit: one answer, whichever was wrong.
    """
    record = house.last("person", person)
    stored = str(record.payload.get("pin") or "") if record else ""
    salt, _, expected = stored.partition(":")
    # A stranger's PIN is stretched too, so that the time taken does not reveal who has one.
    fits = hmac.compare_digest(_stretched(pin, bytes.fromhex(salt) or b"nobody's salt..."), expected or "-")
    if not (fits and device.shared and role_of(house, person)):
        raise Refused(Finding("name and PIN", "do not fit", "your own PIN", "An owner can help you set a new one."))
    return _taken_by(house, device, person)


def leave(house: House, device: Device) -> Device:
    """Sign out: no one is signed in on a shared device any more; a device of one's own is revoked."""
    if device.shared:
        return _taken_by(house, device, "")
    revoke(house, device.id)
    return device


def _taken_by(house: House, device: Device, person: str) -> Device:
    with house.act() as act:
        present = device_from(act.latest("device")[device.id])
        write_device(act, house, present, person=person)
    return replace(present, person=person, since=house.now)


def _stretched(pin: str, salt: bytes) -> str:
    # n = 2^14, r = 8: 62 ms and 16 MB on a small server, as measured when the stack was chosen.
    return hashlib.scrypt(pin.encode(errors="replace"), salt=salt, n=2**14, r=8, p=1, dklen=32).hex()
