"""Calendar addresses: made once, shown once, revoked permanently."""

from __future__ import annotations

from starlette.responses import Response

from intake.app.calendars import feed_addresses
from intake.board.request import Asked
from intake.board.svg_pictures import qr_svg
from intake.errors import Finding as Fault
from intake.errors import Refused

__all__ = ["calendars", "create", "revoke"]


def calendars(asked: Asked) -> Response:
    """Addresses there are, and a form for a new one."""
    return _page(asked)


def _page(asked: Asked, address: str = "", made: str = "") -> Response:
    house = asked.house
    choices = feed_addresses.who_may(house) if asked.may("feeds") else [asked.person]
    known = [one for one in feed_addresses.addresses(house) if asked.may("feeds") or one.who == asked.person]
    reads = asked.request.app.state.feed_reads
    return asked.show(
        "calendars.html",
        addresses=[(one, reads.get(one.id)) for one in known[::-1]],
        choices=[(one, _title(asked, one)) for one in choices],
        titles={one.who: _title(asked, one.who) for one in known},
        address=address,
        made=made,
        webcal=_webcal(address) if address else "",
        # One code only, of the address that subscribes: a phone that scans the plain one keeps a copy that never changes.
        code=qr_svg(_webcal(address), "QR code that subscribes to the calendar") if address else "",
        insecure=asked.request.url.scheme != "https",
    )


def _title(asked: Asked, who: str) -> str:
    site = asked.house.site
    if who in site.people:
        return site.people[who].name
    if who in site.systems:
        return site.systems[who].name
    return "the whole farm" if who == "farm" else f"everyone who is {who}"


def create(asked: Asked) -> Response:
    """Make an address and show it, this once."""
    who = asked.field("who")
    if who != asked.person and not asked.may("feeds"):
        raise Refused(Fault("calendar", who, "your own", "An owner can make others."))
    habits = _habits(asked)
    identity, token = feed_addresses.create(asked.house, who, habits=habits)
    base = str(asked.request.base_url).rstrip("/")
    return _page(asked, f"{base}/cal/{token}/{feed_addresses.named(who, habits)}.ics", identity)


def _habits(asked: Asked) -> feed_addresses.Habits:
    """How the subscriber wants it: a list each morning or every task, which alarms, canceled tasks or not."""
    shown, alarms = asked.field("shown"), asked.field("alarms")
    typed = [word.strip() for word in alarms.split(",") if word.strip()]
    if alarms not in {"", "standard", "none"} and not all(word.isascii() and word.isdigit() for word in typed):
        raise Refused(
            Fault("alarms", alarms, "standard, none, or minutes before the start such as 45,10", "Choose one.")
        )
    minutes = None if alarms in {"", "standard"} else () if alarms == "none" else tuple(int(word[:5]) for word in typed)
    digest = {"digest": True, "all": False}.get(shown)
    return feed_addresses.Habits(minutes, asked.field("omit") == "on", digest, shown == "todos")


def _webcal(address: str) -> str:
    """The same address under the scheme that calendar programs take as a subscription."""
    return f"webcal://{address.partition('://')[2]}"


def revoke(asked: Asked) -> Response:
    """Revoke an address permanently."""
    identity = asked.path("feed")
    own = any(one.id == identity and one.who == asked.person for one in feed_addresses.addresses(asked.house))
    if not (own or asked.may("feeds")):
        raise Refused(Fault("calendar", identity, "your own", "An owner can revoke others."))
    return asked.go("/calendars", f"{feed_addresses.revoke(asked.house, identity)}.")
