"""Small calculators at the vats: how many animals to examine."""

from __future__ import annotations

from starlette.responses import Response

from intake.board.request import Asked
from intake.errors import BadInput, Finding
from intake.quarantine.sampling import sample_size

__all__ = ["sample"]


def sample(asked: Asked) -> Response:
    """Fewest animals to examine to find a pest in a lot, at a prevalence and confidence, with the test's sensitivity."""
    lot = asked.query("lot")
    found = None
    if lot:
        if not (lot.isascii() and lot.isdigit() and 0 < int(lot[:8]) <= 10**6):
            raise BadInput(Finding("lot", lot[:20], "a whole number of animals, 1 to 1,000,000"))
        shares = [
            _percent(asked, name, usual)
            for name, usual in (("prevalence", 5.0), ("confidence", 95.0), ("sensitivity", 100.0))
        ]
        found = sample_size(int(lot), *shares)
    asked_for = {name: asked.query(name) for name in ("lot", "prevalence", "confidence", "sensitivity")}
    return asked.show("sample.html", found=found, told=asked_for)


def _percent(asked: Asked, name: str, usual: float) -> float:
    typed = asked.query(name).replace(",", ".").rstrip("% ")
    try:
        value = float(typed) if typed else usual
    except ValueError as error:
        raise BadInput(Finding(name, typed[:20], "a percentage, more than 0 and at most 100")) from error
    if not 0 < value <= 100:
        raise BadInput(Finding(name, typed[:20], "a percentage, more than 0 and at most 100"))
    return value / 100
