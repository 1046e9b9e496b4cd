"""A small farm by hand that several plan tests look at."""

from __future__ import annotations

from datetime import date

import pytest

from intake.plan import BatchNeed, Problem, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.problem import Apart


@pytest.fixture
def tiny() -> Problem:
    """The small farm."""
    return tiny_problem()


def tiny_problem() -> Problem:
    """Two quarantine systems, a grow-out system, four batches of two suppliers, stock of which one stay is movable."""
    systems = (
        SystemOffer("Q1", "quarantine", 400),
        SystemOffer("Q2", "quarantine", 400, suppliers_share=True),
        SystemOffer("G", "grow-out", 500, 100, 6),
    )
    vats = (
        VatOffer("Q1a", "Q1", 100, 300, 2),
        VatOffer("Q1b", "Q1", 100, 300, 2, divided=True),
        VatOffer("Q2a", "Q2", 120, 300, 2),
        VatOffer("Q2b", "Q2", 60, 300, 2),
        VatOffer("G1", "G", 200, 600),
        VatOffer("G2", "G", 150, 600, closed=((30, 33),)),
        VatOffer("G3", "G", 150, 600, divided=True),
    )
    quarantine, grown = ("Q1a", "Q1b", "Q2a", "Q2b"), ("G1", "G2", "G3")

    def batch(name: str, shipment: str, group: str, count: int, start: int, days: int) -> BatchNeed:
        stages = (
            StageNeed("quarantine", start, start + days, quarantine),
            StageNeed("grow-out", start + days, start + days + 14, grown),
        )
        supplier = {"T1": "P1", "T2": "P2"}[shipment]
        return BatchNeed(name, shipment, supplier, group, count, 4, 3, 2, stages, 1, 5, 3, 30)

    batches = (
        batch("T1-1", "T1", "clam", 40, 3, 10),
        batch("T1-2", "T1", "coral", 20, 3, 12),
        batch("T2-1", "T2", "clam", 30, 8, 10),
        batch("T2-2", "T2", "leather", 12, 8, 8),
    )
    standing = (
        Standing("H1", "G1", "grow-out", 20, "clam", -30, 60, 4, 3, 2, movable=True, move_to=("G2", "G3"), move_day=2),
        Standing("H2", "G3", "grow-out", 10, "coral", -30, 20, 4, 3, 2),
        Standing("H3", "Q2b", "quarantine", 5, "clam", -5, 9, 4, 3, 2, "T0", "P2", served_day=9),
    )
    apart: dict[tuple[str, str], Apart] = {("clam", "coral"): "touch", ("coral", "leather"): "water"}
    return Problem(date(2030, 3, 1), systems, vats, batches, standing, apart)
