"""A release check is over with the release: moving a lot out of quarantine asks what the check asks."""

from __future__ import annotations

from datetime import datetime, timedelta

from intake.app.commands import move_animals
from intake.app.queries.overview.task_states import state_words
from intake.app.queries.planning.published_timetable import shown_tasks, state_at
from tests.app.deliveries import Open, received

WHY = "released by the owner after an inspection"


def test_a_lot_moved_out_after_its_check_was_due_leaves_no_missed_check(house_at: Open) -> None:
    """Half of it moved out: the check is still open. All of it: done with the release, nothing missed."""
    house = received(house_at, (("clam_small", "Q1", 40),))
    (uid,) = (
        uid for uid, row in shown_tasks(house).items() if row["kind"] == "release check" and row["batch"] == "S1-01"
    )
    end = datetime.fromisoformat(str(shown_tasks(house)[uid]["end"]))
    later = house_at(end + timedelta(hours=2))
    move_animals.move(later, "S1-01", "Q1", "G1", 20, despite=WHY)
    half = house_at(end + timedelta(hours=3))
    assert state_at(shown_tasks(half)[uid], half.now) in {"due", "late", "running"}
    move_animals.move(half, "S1-01", "Q1", "G1", 20, despite=WHY)
    whole = house_at(end + timedelta(hours=4))
    rows = {name: row for name, row in shown_tasks(whole).items() if row["batch"] == "S1-01"}
    assert (state_at(rows[uid], whole.now), rows[uid]["reason"]) == ("done", "with the release")
    assert state_words(whole, rows[uid]).startswith("Done")
    baths = [row for row in rows.values() if row["kind"] == "inspection"]
    assert baths  # never recorded: reported as missed at once, and no longer as due
    assert {state_at(row, whole.now) for row in baths} == {"missed"}
