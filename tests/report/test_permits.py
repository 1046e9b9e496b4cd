"""What papers lack is said before the truck comes, and specimens come out against the permit."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from intake.report.permits import Paper, PaperLine, PermitLine, keep_until, lacking, permitted, reconcile
from tests.ledger.books import Scribe, hour
from tests.report.test_claims import arrival

LINE = PermitLine(
    permit="X-1", name="Tridacna maxima", origin="MH", source_code="F", listing_text="II", batches=("S1-01",),
    announced=100, came=0, missing=0, lost=0, doa=0, dead=0, wrong=0, sold=0, sample=0, discarded=0, on_hand=0,
)  # fmt: skip
PAPER = Paper(
    "X-1", "export", date(2026, 1, 1), date(2026, 6, 30), lines=(PaperLine("Tridacna maxima", 120, "NAR", "F", "MH"),)
)
DAY = date(2026, 3, 1)


def test_sound_papers_lack_nothing() -> None:
    """Number, source code, origin, validity and quantity all agree."""
    assert lacking(LINE, {"X-1": PAPER}, DAY) == ()
    assert lacking(LINE, None, DAY) == ()


@pytest.mark.parametrize(
    ("line", "paper", "says"),
    [
        ({"permit": ""}, {}, "no permit number"),
        ({"permit": "X-2"}, {}, "not on file"),
        ({"source_code": ""}, {}, "no source code"),
        ({"origin": ""}, {}, "no country of origin"),
        ({"source_code": "W"}, {}, "source code W on the list, F"),
        ({"origin": "FJ"}, {}, "origin FJ on the list, MH"),
        ({"announced": 121}, {}, "121 against 120"),
        ({"came": 130}, {}, "130 against 120"),
        ({"name": "Tridacna crocea"}, {}, "no line for Tridacna crocea"),
        ({}, {"valid_until": date(2026, 2, 28)}, "valid until 2026-02-28"),
        ({}, {"valid_from": date(2026, 3, 2)}, "valid from 2026-03-02"),
        ({}, {"lines": (PaperLine("Tridacna maxima", 40, "KGM"),)}, "counts in KGM"),
    ],
)
def test_each_thing_lacking_is_named(line: dict[str, object], paper: dict[str, object], says: str) -> None:
    """One fault, one sentence a person can act on."""
    held = {"X-1": replace(PAPER, **paper)}  # type: ignore[arg-type]
    (found,) = lacking(replace(LINE, **line), held, DAY)  # type: ignore[arg-type]
    assert says in found


def test_other_shipments_use_the_same_permit_up() -> None:
    """60 elsewhere and 100 here are more than 120."""
    assert lacking(LINE, {"X-1": PAPER}, DAY, used=60) == ("160 against 120 permitted by X-1",)


def test_wanted_kinds_of_paper_may_belong_to_the_shipment() -> None:
    """An import permit is not named on the packing list; it names the shipment."""
    held = {"X-1": PAPER}
    assert lacking(LINE, held, DAY, shipment="S1", needs=("export", "import")) == ("no import paper on file",)
    held["I-9"] = Paper("I-9", "import", shipments=("S1",))
    assert lacking(LINE, held, DAY, shipment="S1", needs=("export", "import")) == ()


def test_a_permit_may_name_the_genus_or_nothing() -> None:
    """Corals may be named to genus where the species is not feasible (S74 of the library's sources)."""
    genus = replace(PAPER, lines=(PaperLine("Tridacna spp.", 500),))
    assert permitted(genus, "Tridacna maxima") == (500, "NAR")
    assert permitted(replace(PAPER, lines=(), quantity=90.0), "Tridacna maxima") == (90, "NAR")
    assert permitted(None, "Tridacna maxima") == (None, "NAR")


def test_papers_are_kept_their_years_also_from_a_leap_day() -> None:
    """29 February has no anniversary."""
    assert keep_until(date(2028, 2, 29), 5) == date(2033, 2, 28)
    assert keep_until(date(2026, 3, 1)) == date(2031, 3, 1)


def test_missing_at_the_unpacking_never_came_though_the_list_had_been_booked_in() -> None:
    """Booked into vats by the list, 2 not found the same day: 98 came; one lost from sight weeks later had come."""
    scribe = Scribe()
    entries = [
        *arrival(scribe)[:4],
        scribe.move("S1-01", "supplier > vat:Q1", 100),
        scribe.move("S1-01", "vat:Q1 > missing", 2, 5),
        scribe.move("S1-01", "vat:Q1 > missing", 1, 24 * 20),
        scribe.move("S1-01", "vat:Q1 > dead", 4, 24 * 21),
    ]
    line = next(one for one in reconcile(entries, hour(24 * 30)) if "S1-01" in one.batches)
    assert (line.came, line.missing, line.lost, line.carcasses, line.on_hand, line.unexplained) == (98, 2, 1, 4, 93, 0)
    found = [*entries, scribe.move("S1-01", "missing > vat:Q1", 1, 24 * 25)]
    line = next(one for one in reconcile(found, hour(24 * 30)) if "S1-01" in one.batches)
    assert (line.came, line.missing, line.lost, line.on_hand, line.unexplained) == (98, 2, 0, 94, 0)


@pytest.mark.parametrize(
    ("line", "paper", "used"),
    [
        ({}, {"valid_until": DAY}, 0.0),
        ({}, {"valid_from": DAY}, 0.0),
        ({}, {"valid_from": None, "valid_until": None}, 0.0),
        ({"announced": 120}, {}, 0.0),
        ({"came": 120}, {}, 0.0),
        ({"announced": 100}, {}, 20.0),
        ({"announced": 500}, {"lines": (), "quantity": None}, 0.0),
        ({}, {"lines": (PaperLine("Tridacna maxima", 120, "NAR", "", ""),)}, 0.0),
    ],
)
def test_at_its_limits_a_paper_lacks_nothing(line: dict[str, object], paper: dict[str, object], used: float) -> None:
    """Valid to the day itself, the quantity used up to the last animal, and what the paper leaves open is no contradiction."""
    held = {"X-1": replace(PAPER, **paper)}  # type: ignore[arg-type]
    assert lacking(replace(LINE, **line), held, DAY, used=used) == ()  # type: ignore[arg-type]


def test_a_paper_of_the_shipment_must_be_valid_too() -> None:
    """The import permit that names the shipment ran out the day before; a paper of another shipment is nobody's business."""
    held = {"X-1": PAPER, "I-9": Paper("I-9", "import", None, date(2026, 2, 28), shipments=("S1",))}
    assert lacking(LINE, held, DAY, shipment="S1") == (
        "import I-9 is valid until 2026-02-28, the landing is on 2026-03-01",
    )
    assert lacking(LINE, held, DAY, shipment="S2") == ()
    assert lacking(LINE, held, DAY) == ()


def test_what_became_of_the_animals_adds_up() -> None:
    """130 came of 100 announced, thirty beyond: 61 dead, wrong, sold, sampled, discarded or lost, 60 there, 9 unexplained."""
    line = replace(LINE, came=130, doa=5, dead=3, wrong=2, sold=40, sample=1, discarded=4, lost=6, on_hand=60)
    assert (line.carcasses, line.beyond, line.unexplained) == (8, 30, 9)
    assert replace(line, came=100).beyond == replace(line, came=99).beyond == 0
