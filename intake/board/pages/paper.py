"""Paper from the board: sheets, checklists, labels and logs of a delivery or a batch, as PDF to print."""

from __future__ import annotations

from typing import Final

from starlette.responses import Response

from intake.app.documents.printing import one_pdf
from intake.board.rendering import handed_over
from intake.board.request import Asked
from intake.errors import UnknownName

__all__ = ["OF_BATCH", "OF_DELIVERY", "OF_FARM", "of_batch", "of_delivery", "of_farm", "of_suppliers"]

OF_DELIVERY: Final = {
    "sheets": "Intake sheets",
    "checklists": "Acclimation checklists",
    "runsheet": "Run sheet",
    "labels": "Vat labels",
    "boxlabels": "Box labels",
    "water": "Water and salt to prepare",
    "dips": "Dip and inspection log",
}
"""What is printed of a delivery, with the words of its button."""

OF_BATCH: Final = {"sheets": "Intake sheet", "history": "History"}
OF_FARM: Final = {"round": "Round sheet of today", "plan": "Vat plan"}


def of_delivery(asked: Asked) -> Response:
    """A form of one delivery."""
    return handed_over(*one_pdf(asked.house, _known(asked, OF_DELIVERY), shipment=asked.path("shipment")))


def of_batch(asked: Asked) -> Response:
    """A form of one batch."""
    return handed_over(*one_pdf(asked.house, _known(asked, OF_BATCH), batch=asked.path("batch")))


def of_farm(asked: Asked) -> Response:
    """A form of the whole farm."""
    return handed_over(*one_pdf(asked.house, _known(asked, OF_FARM)))


def of_suppliers(asked: Asked) -> Response:
    """The report on suppliers: like claims and prices, not for every eye."""
    return handed_over(*one_pdf(asked.house, "suppliers"))


def _known(asked: Asked, kinds: dict[str, str]) -> str:
    what = asked.path("what")
    if what not in kinds:
        raise UnknownName("form", what, list(kinds), "form")
    return what
