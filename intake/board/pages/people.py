"""Invitations, devices and PINs; joining by an invitation; signing in and out."""

from __future__ import annotations

from typing import Final

from starlette.responses import RedirectResponse, Response

from intake.app.access import devices, pin_sign_in
from intake.board.middleware import Tries
from intake.board.request import COOKIE, Asked
from intake.board.svg_pictures import qr_svg
from intake.errors import BadInput, Finding, Refused

__all__ = [
    "add_script",
    "invite",
    "join",
    "joined",
    "people",
    "pin",
    "revoke",
    "sign_in",
    "sign_out",
    "signed_in",
]

_YEAR_S: Final = 180 * 24 * 3600


def people(asked: Asked) -> Response:
    """People, their roles and their devices; an owner sees all of them, others their own."""
    return _people(asked)


def _people(asked: Asked, link: str = "", invited: str = "", token: str = "") -> Response:
    house = asked.house
    known = [one for one in devices.devices(house) if one.state != "revoked" and one.until > house.now]
    mine = [one for one in known if asked.may("people") or one.person == asked.person]
    return asked.show(
        "people.html",
        staff=house.site.people.values(),
        devices=mine,
        pins=pin_sign_in.person_pins(house),
        link=link,
        script_token=token,
        names={one.id: one.name for one in house.site.people.values()},
        invited=invited,
        code=qr_svg(link) if link else "",
    )


def invite(asked: Asked) -> Response:
    """Invite a device: the link is shown once, on this page."""
    who, shared = asked.field("person"), asked.field("shared")
    kind = "wall" if shared == "wall" else ""
    identity, code = devices.invite(asked.house, who, shared=shared == "yes", label=asked.field("label"), kind=kind)
    name = {"yes": "a shared device", "wall": "a wall screen"}.get(shared, who)
    return _people(asked, link=f"{_base(asked)}/join/{code}", invited=f"{identity}, {name}")


def add_script(asked: Asked) -> Response:
    """Let a program read and post with somebody's rights: its token is shown once, on this page."""
    who, label = asked.field("person"), asked.field("label")
    identity, token = devices.add_script(asked.house, who, label)
    return _people(asked, token=token, invited=f"{identity}, {label}")


def revoke(asked: Asked) -> Response:
    """End a device; everybody may end their own, an owner any."""
    identity = asked.path("device")
    own = any(
        one.id == identity and one.person == asked.person and not one.shared for one in devices.devices(asked.house)
    )
    if not (own or asked.may("people")):
        return asked.show("refused.html", 403, lines=["Only an owner may end someone else's device."], code=403)
    said = devices.revoke(asked.house, identity)
    if asked.device and asked.device.id == identity:
        return _forget(RedirectResponse("/sign-in", 303))
    return asked.go("/people", f"{said}.")


def pin(asked: Asked) -> Response:
    """Set one's own PIN, or as an owner someone's."""
    who = asked.field("person") or asked.person
    if who != asked.person and not asked.may("people"):
        return asked.show("refused.html", 403, lines=["Only an owner may set someone else's PIN."], code=403)
    if asked.device and asked.device.shared and who == asked.person:
        raise Refused(Finding("PIN", "on a shared device", "your own device", "Or ask an owner."))
    if asked.field("pin") != asked.field("again"):
        raise BadInput(Finding("PIN", "typed differently", "the same digits twice"))
    pin_sign_in.set_pin(asked.house, who, asked.field("pin"))
    return asked.go("/people", f"PIN of {who} set.")


def join(asked: Asked) -> Response:
    """Ask before an invitation is used up: programs that look at links before people do must not use it."""
    return asked.show("join.html", code=asked.path("code"))


def joined(asked: Asked) -> Response:
    """Use an invitation: this browser becomes the invited device."""
    tries, address = _tries(asked), _address(asked)
    if not tries.allowed(address):
        return _too_many(asked)
    try:
        device, token = devices.redeem(asked.house, asked.path("code"), asked.field("label"))
    except Refused:
        tries.failed(address)
        raise
    first = "/wall" if device.kind == "wall" else "/sign-in" if device.shared else "/"
    answer = RedirectResponse(first, 303)
    answer.set_cookie(
        COOKIE, token, max_age=_YEAR_S, httponly=True, samesite="lax", secure=asked.request.url.scheme == "https"
    )
    return answer


def sign_in(asked: Asked) -> Response:
    """How to sign in: by name and PIN on a shared device, by invitation on any other."""
    if asked.role and not (asked.device and asked.device.shared):
        return RedirectResponse("/", 303)
    pins = pin_sign_in.person_pins(asked.house)
    shared = bool(asked.device and asked.device.shared)
    names = [one for one in asked.house.site.people.values() if one.id in pins] if shared else []
    return asked.show("sign_in.html", shared=shared, names=names)


def signed_in(asked: Asked) -> Response:
    """Sign in on a shared device."""
    who, tries = asked.field("person"), _tries(asked)
    # A known device counts for itself: behind one router all phones share an address.
    names = (f"device {asked.device.id}" if asked.device else _address(asked), who[:40])
    if not tries.allowed(*names):
        return _too_many(asked)
    if asked.device is None:
        raise Refused(Finding("device", "not known here", "a device joined by an invitation", "Ask an owner for one."))
    if not _own_shared_form(asked):
        return asked.show("refused.html", 403, lines=["Open the sign-in page again."], code=403)
    try:
        pin_sign_in.sign_in(asked.house, asked.device, who, asked.form.get("pin", "")[:20])
    except Refused:
        tries.failed(*names)
        raise
    return asked.go("/work?who=mine", f"Signed in as {who}.")


def _own_shared_form(asked: Asked) -> bool:
    return asked.form.get("form_token", "") == devices.form_token(asked.token)


def sign_out(asked: Asked) -> Response:
    """Sign out: on a shared device the next person signs in; a device of one's own is forgotten."""
    assert asked.device is not None  # noqa: S101  # no one is signed in without one
    shared = asked.device.shared
    pin_sign_in.leave(asked.house, asked.device)
    answer = RedirectResponse("/sign-in", 303)
    return answer if shared else _forget(answer)


def _forget(answer: Response) -> Response:
    answer.delete_cookie(COOKIE, httponly=True, samesite="lax")
    return answer


def _tries(asked: Asked) -> Tries:
    found: Tries = asked.request.app.state.tries
    return found


def _address(asked: Asked) -> str:
    return asked.request.client.host if asked.request.client else "-"


def _too_many(asked: Asked) -> Response:
    return asked.show("refused.html", 429, lines=["Too many tries. Wait a minute and try again."], code=429)


def _base(asked: Asked) -> str:
    return str(asked.request.base_url).rstrip("/")
