"""Which reader reads which returned form; all faults of a form are told at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from intake.app.documents.weekly.returned.returned_pdf import Returned
from intake.app.documents.weekly.returned.typed_form import TypedForm
from intake.app.documents.weekly.returned.typed_log import log_lines
from intake.app.documents.weekly.returned.typed_round import round_lines
from intake.app.documents.weekly.returned.typed_sample import sample_lines
from intake.app.documents.weekly.returned.typed_sheet import Line
from intake.app.documents.weekly.returned.typed_tubs import tub_lines
from intake.app.session import House
from intake.errors import BadInput, Finding

__all__ = ["form_lines"]

_READERS: Mapping[str, Callable[[TypedForm], list[Line]]] = {
    "round": round_lines,
    "dips": log_lines,
    "checklists": tub_lines,
    "sample": sample_lines,
}


def form_lines(house: House, found: Returned, file: str) -> tuple[tuple[Line, ...], tuple[tuple[str, str], ...]]:
    """Lines of a round, a dip log, acclimation checklists or a sampling list, and the fields of which none is made.

    Raises
    ------
    BadInput
        Values that are no numbers or times, names no one knows, or a line recorded before with other values.
    """
    origin = found.origin
    if origin is None or origin.printed > house.now:
        raise BadInput(Finding(file, "a form that is still to be printed", "one printed before now", "Set the clock."))
    form = TypedForm(house, found, origin)
    lines = _READERS[origin.kind](form)
    if form.faults:
        raise BadInput(form.faults)
    return tuple(lines), form.left()
