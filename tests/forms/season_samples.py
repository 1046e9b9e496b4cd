"""A season and a capacity curve to print in tests; every figure is invented."""

from __future__ import annotations

from forms.charts.capacity_chart import DayRoom
from forms.charts.season_chart import SeasonContent, SeasonGrowOut, SeasonLanding, SeasonRow, SeasonWeek
from forms.documents.wall.capacity_curve import CapacityPaper
from forms.documents.wall.season_plan import SeasonOrder, SeasonPaper

__all__ = ["capacity_paper", "season_content", "season_paper"]


def season_content(weeks: int = 26, waters: int = 4, suppliers: int = 3) -> SeasonContent:
    """A season with shipments, waters in every state, grow-out with a band and sales; figures invented."""

    def water(n: int) -> SeasonRow:
        stay = [SeasonWeek("taken", 40.0 + 8 * n + week) for week in range(6)]
        row = [*[SeasonWeek("present", None if n % 2 else 55.0)] * (n + 1), SeasonWeek("fallow"), SeasonWeek(), *stay]
        return SeasonRow(f"{n + 1} quarantine water", weeks=tuple([*row, *[SeasonWeek()] * weeks][:weeks]))

    planned = tuple(0.2 * (week % 9) for week in range(weeks))
    return SeasonContent(
        "Order plan of the season", "3 landings, expected margin 3,553 (proved best).",
        tuple(f"{1 + week % 28:02d} Mar" for week in range(weeks)), weeks - 6,
        tuple(
            SeasonRow(f"Supplier {n}", (SeasonLanding(n, 180, "180 clams"), SeasonLanding(n + 8, 260, "260 clams")))
            for n in range(suppliers)
        ),
        tuple(water(n) for n in range(waters)), 90.0,
        SeasonGrowOut(1.5, planned, tuple(0.7 * one for one in planned), tuple(1.2 * one for one in planned)),
        tuple((float(min(week, 14)), 20.0) for week in range(weeks)),
    )  # fmt: skip


def season_paper(orders: int = 3, **size: int) -> SeasonPaper:
    """An order plan with so many orders."""
    rows = tuple(
        SeasonOrder(
            f"2027-03-{1 + n:02d}", f"Supplier {n % 3}", "9 boxes, 180 clams", "1 quarantine water", "2027-05-03", "900"
        )
        for n in range(orders)
    )
    return SeasonPaper(
        "Ångström Lagoon Farm", "2027-03-01 to 2027-08-23", f"{orders} landings, expected margin 3553", "proved best",
        season_content(**size), rows, ("140 of clams",), ("one more quarantine water: 467 (467 to 467 by the bounds)",),
        ("clams: no growth given, so animals keep their size",),
    )  # fmt: skip


def capacity_paper(days: int = 20) -> CapacityPaper:
    """What fits over so many landing days."""
    rows = tuple(DayRoom(f"2027-03-{1 + n:02d}", 40 + 7 * n, 150, bool(n % 3)) for n in range(days))
    return CapacityPaper("Ångström Lagoon Farm", "Clams and corals of two suppliers", rows)
