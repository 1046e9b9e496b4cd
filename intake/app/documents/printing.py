"""What is printed: one function for each form gathers its facts from farm, books and rooms and writes the file."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from intake import __version__
from intake.app.act_recording import batch_named
from intake.app.documents import claim_paper
from intake.app.documents.intake_sheets import print_sheets
from intake.app.documents.landing_papers import (
    print_box_labels,
    print_checklists,
    print_runsheet,
    print_water,
)
from intake.app.documents.plan_paper import print_plan, print_proposal
from intake.app.documents.sampling_paper import print_sample
from intake.app.documents.weekly.dip_log_paper import print_dips
from intake.app.documents.weekly.history_paper import print_histories
from intake.app.documents.weekly.round_paper import print_round
from intake.app.documents.weekly.supplier_paper import print_suppliers
from intake.app.documents.weekly.vat_label_paper import LabelStock, print_vat_labels
from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.queries.reports import claim_status
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName
from intake.farm.floor import Batch
from intake.language import CODES

__all__ = ["PRINTABLE", "one_pdf", "print_forms", "print_proposal"]

_MAKERS: dict[str, Callable[[House, Path, Sequence[Batch], str], list[Path]]] = {
    "sheets": print_sheets,
    "checklists": print_checklists,
    "runsheet": print_runsheet,
    "labels": print_vat_labels,
    "boxlabels": print_box_labels,
    "water": print_water,
    "dips": print_dips,
    "round": print_round,
    "history": print_histories,
    "plan": print_plan,
    "suppliers": print_suppliers,
}
PRINTABLE = (*_MAKERS, "sample", "claim")
"""Words of ``vatside print``."""

OF_A_MOMENT = ("labels", "round", "dips", "history")
"""Papers that say how the ledger stood at a moment."""

FILLABLE = ("sheets", "checklists", "round", "dips", "sample", "claim")
"""Papers with places to fill in."""

_FILLED: dict[str, Callable[..., list[Path]]] = {
    "sheets": print_sheets, "checklists": print_checklists, "dips": print_dips,
}  # fmt: skip


def print_forms(  # what the command line can say
    house: House,
    what: str,
    out: Path,
    *,
    shipment: str = "",
    batch: str = "",
    paper: str = "",
    fillable: bool = False,
    animals: int = 0,
    words: str = "",
    stock: LabelStock | None = None,
    at: datetime | None = None,
    language: str = "",
    reproducible: bool = False,
) -> list[Path]:
    """Print one kind of form and give the paths written.

    Parameters
    ----------
    what
        One of :data:`PRINTABLE`.
    shipment, batch
        Only these; everything that is to come or standing otherwise.
    fillable
        Sheets, claims and sampling lists with form fields.
    animals, words
        For a sampling list: animals to examine (0: as many as find 5 % with 95 % confidence), and words that fix the
        draw.
    stock
        Sheet or roll labels are printed on.
    at
        Labels, round, dips and history as the ledger was at this moment.
    language
        Code of the language papers are printed in, where it is not the farm's.
    reproducible
        Date the files on one fixed day instead of now; papers of a moment are dated at that moment.

    Raises
    ------
    UnknownName
        No such form, shipment or batch.
    BadInput
        Nothing to print.
    """
    import forms as page

    if at is not None and what not in OF_A_MOMENT:
        expected = f"one of {', '.join(OF_A_MOMENT)}"
        raise BadInput(Finding("--at", what, expected, "Leave --at out: this paper is about what is to come."))
    if fillable and what not in FILLABLE:
        expected = f"one of {', '.join(FILLABLE)}"
        raise BadInput(
            Finding("--fillable", what, expected, "Leave --fillable out: this paper has nothing to fill in.")
        )
    if paper == "a3" and what != "plan":
        raise BadInput(Finding("--paper", paper, "a4 or letter", "A3 is for the plan on the wall: print plan."))
    house = house.speaking(_known_language(language)) if language else house
    then = house if at is None else house.at(at)
    size = paper or house.site.farm.paper
    dated = None if reproducible else (at or house.now).astimezone(house.site.farm.zone)
    with (
        page.printed_at(dated),
        page.stamped(
            _stamp(house)
            if at is None
            else house.language.say(
                "Ledger as of {moment}", moment=f"{at.astimezone(house.site.farm.zone):%Y-%m-%d %H:%M}"
            )
        ),
    ):
        try:
            if what == "labels":
                return print_vat_labels(then, out, _batches(then, shipment, batch), size, stock)
            return _printed(then, what, out, shipment, batch, size, fillable, animals, words, not language)
        except page.PaperError as error:
            do = "Write these names in Latin, Greek or Cyrillic letters, or shorten them, then print again."
            raise BadInput(Finding(f"print {what}", str(error), "text that can be put on paper", do)) from error


def _stamp(house: House) -> str:
    """Head of the ledger for the foot of every page, and a mark where the ledger is not sound."""
    head = house.books.head()
    sound = not house.books.prove(house.now, everything=False, program=__version__).faults
    day = f"{head.at.astimezone(house.site.farm.zone):%Y-%m-%d}" if head.at else ""
    say, legend = house.language.say, house.site.farm.measures.legend
    told = say("Ledger head {head} of {day}", head=head, day=day) if day else say("Ledger head {head}", head=head)
    warning = say("LEDGER NOT SOUND, run vatside check")
    return " · ".join(part for part in ("" if sound else warning, told, house.language.retell(legend)) if part)


def _known_language(code: str) -> str:
    if code not in CODES:
        raise UnknownName("--language", code, CODES, "language")
    return code


def _printed(  # what the command line can say, all given
    house: House, what: str, out: Path, shipment: str, batch: str, size: str, fillable: bool, animals: int, words: str,
    own: bool,
) -> list[Path]:  # fmt: skip
    if what == "claim":
        wanted = [shipment] if shipment else sorted(house.floor().received)
        if not wanted:
            raise BadInput(Finding("print claim", "no shipment received", "a received shipment"))
        found = [claim_status.current(house, one) for one in wanted]
        return [path for one in found for path in claim_paper.write(house, one, out, size, fillable=fillable)]
    if what == "sample":
        return print_sample(house, out, batch, size, n=animals, seed=words, fillable=fillable)
    if what not in _MAKERS:
        raise UnknownName("WHAT", what, [name for name in PRINTABLE if name[:1] == what[:1]] or PRINTABLE, "form")
    batches = _batches(house, shipment, batch)
    if what == "round":
        return print_round(house, out, batches, size, fillable=fillable, own=own)
    if what in _FILLED:
        return _FILLED[what](house, out, batches, size, fillable=fillable)
    return _MAKERS[what](house, out, batches, size)


def one_pdf(house: House, what: str, *, shipment: str = "", batch: str = "") -> tuple[str, bytes]:
    """One form as a file to hand over: its name and its bytes; of several sheets the one that holds them all.

    Raises
    ------
    UnknownName, BadInput
        As :func:`print_forms`.
    """
    with tempfile.TemporaryDirectory() as folder:
        made = [
            path
            for path in print_forms(house, what, Path(folder), shipment=shipment, batch=batch)
            if path.suffix == ".pdf"
        ]
        return made[-1].name, made[-1].read_bytes()


def _batches(house: House, shipment: str, batch: str) -> list[Batch]:
    floor = house.floor()
    if batch:
        return [batch_named(floor, batch)]
    if shipment and shipment not in shipment_facts(house):
        raise UnknownName("shipment", shipment, sorted(shipment_facts(house)), "shipment")
    found = [b for b in floor.batches.values() if b.shipment and (not shipment or b.shipment == shipment)]
    return [b for b in found if b.announced > 0]
