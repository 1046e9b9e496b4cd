"""The board's step table is the one that stands now: made again from what was read at the tub, with oxygen in it."""

from __future__ import annotations

import re
from pathlib import Path

from intake.app.landing.acclimation_course import acclimation_of, course_of, log_reading, table_now
from intake.app.session import open_house
from tests.board.conftest import Clock, Entering


def test_the_page_shows_the_table_made_again_from_a_reading(folder: Path, clock: Clock, enter: Entering) -> None:
    """A tub read warmer on the way: the page shows the new rows, as the checklist prints them, and not the planned ones."""
    house = open_house(folder, who="ada", now=clock())
    batch = house.floor().batches["S1-01"]
    planned = acclimation_of(house, batch)
    assert planned is not None
    middle = next(step.minute for step in planned.steps if step.water == "tub" and step.minute)
    log_reading(house, batch, middle, {"temperature_c": planned.steps[0].temperature_c + 0.7})
    again, now = course_of(house, batch).now, table_now(house, batch)
    house.books.close()
    assert now == again
    assert again.steps != planned.steps
    page = enter().get("/batches/S1-01/acclimation")
    rows = [
        re.findall(r"<td[^>]*>(.*?)</td>", row, re.DOTALL)
        for row in re.findall(r"<tr><td.*?</tr>", page.text, re.DOTALL)
    ]
    assert [(row[0], row[3], row[-1]) for row in rows] == [
        (
            f"{step.minute}",
            f"{step.temperature_c:.1f}",
            "–" if step.o2_mg_per_l is None else f"{step.o2_mg_per_l:.1f}",
        )
        for step in again.steps
    ]
