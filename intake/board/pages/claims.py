"""Claims with their clock, one claim with its lines and evidence, its paper, and where it stands."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from starlette.responses import Response

from intake.app.commands import advance_claim, sync_phone
from intake.app.documents import claim_paper
from intake.app.queries.reports import claim_status
from intake.board.pages.keys import act_key
from intake.board.rendering import handed_over
from intake.board.request import Asked

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
    supplier = asked.house.site.suppliers.get(found.supplier)
    return asked.show(
        "claim.html",
        claim=found,
        versions=versions,
        left=left,
        press=press,
        words=_words(asked, found),
        supplier=supplier,
        lines=[line for line in found.lines if line.dead or line.missing or line.wrong],
    )


def state(asked: Asked) -> Response:
    """Record that a claim was sent, answered or settled."""
    shipment, key = asked.path("shipment"), act_key(asked)
    where = f"/claims/{shipment}"
    if sync_phone.seen(asked.house, key):
        return asked.go(where, "Recorded before.")
    said = advance_claim.set_state(
        asked.house, shipment, asked.field("state"), note=asked.field("note"), amount=asked.field("amount"), key=key
    )
    return asked.go(where, f"{said}.")


def pdf(asked: Asked) -> Response:
    """The claim as PDF."""
    found = claim_status.current(asked.house, asked.path("shipment"))
    return handed_over(f"claim-{found.shipment}-v{found.version}.pdf", claim_paper.claim_pdf(asked.house, found))


def csv(asked: Asked) -> Response:
    """The claim as CSV."""
    found = claim_status.current(asked.house, asked.path("shipment"))
    return handed_over(
        f"claim-{found.shipment}-v{found.version}.csv", claim_paper.claim_csv(asked.house, found), "text/csv"
    )
