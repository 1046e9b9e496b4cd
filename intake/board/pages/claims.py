"""Claims with their clock, one claim with its lines and evidence, its paper, and where it stands."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from starlette.responses import Response

from intake.app.commands import advance_claim
from intake.app.commands.phones import sync_phone
from intake.app.documents import claim_paper, claim_sending
from intake.app.queries.reports import claim_status
from intake.board.pages.keys import act_key
from intake.board.rendering import handed_over
from intake.board.request import Asked
from intake.errors import BadInput, Finding
from intake.report.claiming.versions import Claim

__all__ = ["claim", "claims", "csv", "pdf", "state"]


def claims(asked: Asked) -> Response:
    """Every claim and the time left for it."""
    found = [
        (one, *_clock(one.deadline, one.state, asked.house.now), _words(asked, one))
        for one in claim_status.all_claims(asked.house)
    ]
    return asked.show("claims.html", claims=found)


def _clock(deadline: datetime | None, state: str, now: datetime) -> tuple[str, str]:
    """Time left in words, and how pressing it is: ``calm``, ``soon`` (a third of a day) or ``late``."""
    if deadline is None or state != "drafted":
        return "", "calm"
    left = deadline - now
    if left <= timedelta(0):
        return "window has ended", "late"
    hours, minutes = divmod(int(left.total_seconds() // 60), 60)
    return f"{hours} h {minutes:02d} min left", "soon" if hours < 8 else "calm"


def _words(asked: Asked, one: Any) -> str:
    return claim_status.claim_state(one, asked.house.now)


def claim(asked: Asked) -> Response:
    """One claim."""
    versions = claim_status.history(asked.house, asked.path("shipment"))
    found = versions[-1]
    left, press = _clock(found.deadline, found.state, asked.house.now)
    people = asked.house.site.people
    return asked.show(
        "claim.html",
        claim=found,
        versions=versions,
        left=left,
        press=press,
        words=_words(asked, found),
        supplier=asked.house.site.suppliers.get(found.supplier),
        lines=[line for line in found.lines if line.dead or line.missing or line.wrong],
        steps=[
            (one, people[one.who].name if one.who in people else one.who)
            for one in claim_status.steps_of(asked.house, found.shipment)
        ],
        money=claim_status.money_words(found),
        states=_STATES,
        may_mail=bool(asked.house.site.mail and asked.house.site.mail.host),
    )


_STATES = ("sent", "answered", "settled", "written off")


def state(asked: Asked) -> Response:
    """Record that a claim was sent, answered, settled or written off; mail it; or withdraw the last step."""
    shipment, key = asked.path("shipment"), act_key(asked)
    where = f"/claims/{shipment}"
    if sync_phone.seen(asked.house, key):
        return asked.go(where, "Recorded before.")
    return asked.go(where, f"{_act(asked, shipment, key)}.")


def _act(asked: Asked, shipment: str, key: str) -> str:
    wanted, note = asked.field("state"), asked.field("note")
    if wanted == "sent":
        return claim_sending.mark_sent(asked.house, shipment, note=note, key=key)
    if wanted == "mail":
        return claim_sending.mail(asked.house, shipment, asked.house.folder / "out").words
    if wanted == "undo":
        return advance_claim.take_back(asked.house, shipment, reason=note, key=key)
    animals = asked.field("animals").strip()
    if animals and not animals.isdecimal():
        raise BadInput(Finding("animals", animals[:40], "a whole number"))
    answer = advance_claim.Answer(
        amount=asked.field("amount").replace(",", "."),
        animals=int(animals) if animals else None,
        replacement=asked.field("replacement"),
        reference=asked.field("reference"),
        note=note,
    )
    return advance_claim.set_state(asked.house, shipment, wanted, answer, key=key)


def _asked_version(asked: Asked) -> Claim:
    """The version the address asks for, or the last."""
    versions = claim_status.history(asked.house, asked.path("shipment"))
    wanted = asked.query("version")
    known = {str(one.version): one for one in versions}
    return known.get(wanted, versions[-1])


def pdf(asked: Asked) -> Response:
    """The claim as PDF: a sent version as it was sent."""
    found = _asked_version(asked)
    return handed_over(f"claim-{found.shipment}-v{found.version}.pdf", claim_paper.given_pdf(asked.house, found))


def csv(asked: Asked) -> Response:
    """The claim as CSV: a sent version as it was sent."""
    found = _asked_version(asked)
    name = f"claim-{found.shipment}-v{found.version}.csv"
    return handed_over(name, claim_paper.given_csv(asked.house, found), "text/csv")
