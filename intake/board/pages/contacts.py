"""Who shared water with whom: the trace from a batch, a vat or a system, as a picture and a list."""

from __future__ import annotations

from datetime import date, datetime, time

from starlette.responses import Response

from intake.app.documents.contact_trace_picture import trace_picture
from intake.app.queries.biosecurity.contact_tracing import trace_rows
from intake.board.request import Asked
from intake.board.svg_pictures import inline
from intake.errors import BadInput, Finding

__all__ = ["contacts"]


def contacts(asked: Asked) -> Response:
    """Ask for a trace, or show it."""
    site, floor = asked.house.site, asked.house.floor()
    kind, of = next(((kind, asked.query(kind)) for kind in ("batch", "vat", "system") if asked.query(kind)), ("", ""))
    rows = None
    if of:
        rows = trace_rows(asked.house, **{kind: of}, since=_since(asked))
    return asked.show(
        "contacts.html",
        kind=kind,
        of=of,
        since=asked.query("since"),
        rows=rows,
        picture=inline(trace_picture(asked.house, of, since=_since(asked))) if rows and kind == "batch" else "",
        batches=sorted(floor.batches.values(), key=lambda one: one.id),
        vats=site.vats,
        systems=site.systems,
    )


def _since(asked: Asked) -> datetime | None:
    typed = asked.query("since")
    if not typed:
        return None
    try:
        return datetime.combine(date.fromisoformat(typed), time(), asked.house.site.farm.zone)
    except ValueError as error:
        raise BadInput(Finding("since", typed[:40], "a day such as 2027-03-04")) from error
