"""A shipment that does not come is asked about, and one that never will is kept on record and expected no more."""

from __future__ import annotations

from datetime import timedelta

import pytest
from click.testing import CliRunner

from intake.app import system_clock
from intake.app.calendars.feed_publication import wanted_events
from intake.app.commands.announce_shipment import amend, cancel
from intake.app.commands.receive_shipment import receive
from intake.app.commands.schedule_work import reschedule
from intake.app.farm_folder import check_house
from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.announced_shipments import overdue, shipment_rows, waiting
from intake.app.queries.planning.kept_promises import no_longer_holds
from intake.app.queries.planning.plan_question import framed
from intake.app.queries.planning.timetable_needs import stays_ahead
from intake.app.queries.reports.permit_status import permit_rows
from intake.cli.command_table import vatside
from intake.errors import BadInput, Refused, UnknownName
from tests.app.deliveries import LANDED, Open, announced, received
from tests.app.test_one_truth import order

HOUR = timedelta(hours=1)


@pytest.mark.parametrize(("hours", "late"), [(11, False), (12, True)])
def test_a_shipment_that_has_not_come_is_asked_about(house_at: Open, hours: int, late: bool) -> None:
    """Twelve hours after its landing somebody must say: landed, later or never."""
    announced(house_at())
    house = house_at(LANDED + hours * HOUR)
    assert bool(overdue(house)) is late
    assert [row["state"] for row in shipment_rows(house)] == ["late" if late else "expected"]


def test_later_ends_the_question_and_so_does_landed(house_at: Open) -> None:
    """Amended, it is expected again; received, it is here."""
    announced(house_at())
    now = LANDED + timedelta(days=1)
    amend(house_at(now), "S1", lands=now + timedelta(days=1))
    assert not overdue(house_at(now))
    receive(house_at(now + timedelta(days=1)), "S1")
    assert [row["state"] for row in shipment_rows(house_at(now + timedelta(days=3)))] == ["received"]


def test_a_cancelled_shipment_is_on_record_and_nowhere_else(house_at: Open) -> None:
    """Gone from plan, timetable, calendar, promises and permits; its lines and the reason stay in the list."""
    announced(house_at())
    house = house_at(LANDED + timedelta(days=1))
    reschedule(house, seconds=0.3)
    before = {event.uid for event in wanted_events(house, "farm")}
    assert any(uid.startswith("lands-S1") for uid in before)
    cancel(house, "S1", "no stock at the supplier")
    house = house_at(LANDED + timedelta(days=1, hours=1))
    table = reschedule(house, seconds=0.3)
    assert waiting(house) == []
    assert accepted_rows(house) == []
    assert stays_ahead(house) == ()
    assert [task for task in table.tasks if task.batch.startswith("S1")] == []
    assert framed(house).batches == ()
    assert no_longer_holds(house) == []
    assert permit_rows(house) == []
    assert not any(event.uid.startswith("lands-S1") for event in wanted_events(house, "farm"))
    row = shipment_rows(house)[0]
    assert (row["state"], row["cancelled"], row["announced"]) == ("cancelled", "no stock at the supplier", 120)
    assert check_house(house) == []


def test_what_was_received_or_cancelled_cannot_be_cancelled(house_at: Open) -> None:
    """Nothing is saved, and the refusal names the way out."""
    house = received(house_at)
    order(house, LANDED + timedelta(days=3))
    entries = len(house.entries())
    with pytest.raises(Refused, match="received"):
        cancel(house, "S1", "changed my mind")
    with pytest.raises(UnknownName):
        cancel(house, "S9", "never heard of it")
    with pytest.raises(BadInput, match="reason"):
        cancel(house, "S2", "  ")
    assert len(house_at(LANDED + 2 * HOUR).entries()) == entries
    cancel(house_at(LANDED + 2 * HOUR), "S2", "frost at the airport", key="k")
    assert "canceled before" in cancel(house_at(LANDED + 3 * HOUR), "S2", "frost at the airport", key="k")[0]
    for act in (
        lambda: cancel(house_at(LANDED + 4 * HOUR), "S2", "again"),
        lambda: receive(house_at(LANDED + timedelta(days=3)), "S2"),
        lambda: amend(house_at(LANDED + 4 * HOUR), "S2", lands=LANDED + timedelta(days=9)),
    ):
        with pytest.raises(Refused, match=r"cancell?ed"):
            act()


def test_the_command_asks_and_cancels(house_at: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    """The list names the three answers; the command takes the third."""
    house = house_at()
    announced(house)
    monkeypatch.setattr(system_clock, "now", lambda: LANDED + timedelta(days=2))
    start = ["--farm", str(house.folder)]
    asked = " ".join(CliRunner().invoke(vatside, [*start, "shipments"]).output.split())
    assert all(word in asked for word in ("receive S1", "amend S1 --lands", "shipments cancel S1"))
    said = CliRunner().invoke(vatside, [*start, "shipments", "cancel", "S1", "--reason", "lost on the way"])
    assert said.exit_code == 0
    assert "120 animals in 3 lines are no longer expected" in said.output
    assert "cancelled" in CliRunner().invoke(vatside, [*start, "shipments"]).output
    assert CliRunner().invoke(vatside, [*start, "shipments", "cancel", "S1"]).exit_code == 2
