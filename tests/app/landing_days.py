"""Invented shipments and farms of the landing day, and the day's minutes as each place that shows them tells them."""

from __future__ import annotations

import hashlib
import re
from datetime import date, datetime, timedelta
from pathlib import Path

from starlette.testclient import TestClient

from intake.app.access import devices
from intake.app.calendars.feed_publication import wanted_events
from intake.app.documents.run_sheet import current_day
from intake.app.queries.planning.landing_work import kept_days
from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.session import House
from intake.board.asgi_app import board
from intake.board.middleware import Tries
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from intake.receiving import landing_steps
from tests.conftest import NOON

LANDS = NOON + timedelta(hours=20)
GROUPS = ("clam_small", "stony_branching_acropora", "zoanthid", "fish_reef_safe", "decapod_crustacean", "soft_leathery")


def drawn(seed: int, what: str, number: int) -> int:
    """A whole number below ``number`` from a digest: invented days without a generator of their own."""
    return int.from_bytes(hashlib.sha256(f"{seed}/{what}".encode()).digest()[:4], "big") % number


def announced(house: House, seed: int, lands: datetime = LANDS, shipment: str = "S1") -> list[Batch]:
    """An invented shipment of one to five lines, planned into Q1 and Q2; some lines share a box."""
    made, rows = [], []
    with house.act() as act:
        act.note("shipment", shipment, {"supplier": "one", "lands": lands.isoformat()}, at=NOON - timedelta(days=9))
        for line in range(1, 2 + drawn(seed, "lines", 5)):
            first = 1 + 2 * line - drawn(seed, f"{line}/shared", 2)
            mine = tuple(str(first + n) for n in range(1 + drawn(seed, f"{line}/boxes", 3)))
            packed = lands - timedelta(hours=8 + drawn(seed, f"{line}/hours", 14))
            group = GROUPS[drawn(seed, f"{line}/group", len(GROUPS))]
            size, count = 20.0 + drawn(seed, f"{line}/size", 30), 5 + drawn(seed, f"{line}/count", 60)
            batch = Batch(
                f"{shipment}-{line:02d}",
                f"Invented {line}",
                group,
                size,
                count,
                shipment,
                line,
                "one",
                mine,
                packed_at=packed,
            )
            act.note("batch", batch.id, batch_payload(batch), at=NOON - timedelta(days=9))
            vat = {"vat": ("Q1", "Q2")[line % 2], "stage": "quarantine", "from": "2027-03-04", "until": "2027-04-15"}
            rows.append({"batch": batch.id, "count": count, **vat})
            made.append(batch)
        act.note(
            "plan", f"P{shipment}", {"state": "accepted", "plan": {"placements": rows}}, at=NOON - timedelta(days=8)
        )
    return made


Minutes = dict[str, tuple[datetime, datetime, tuple[str, ...]]]


def of_run_sheet(house: House, batches: list[Batch]) -> Minutes:
    """Start, end of hands and people of every step, as the run sheet is drawn from them."""
    steps = landing_steps(current_day(house, batches).plan)
    return {step.uid: (step.start, step.hands_until, step.people) for step in steps}


def of_timetable(house: House, shipment: str = "") -> Minutes:
    """The same from the published tasks, of one shipment or of all."""
    stem = f"land/{shipment}/" if shipment else "land/"
    rows = [row for row in published_tasks(house) if str(row["uid"]).startswith(stem)]
    return {
        str(row["uid"]): (
            datetime.fromisoformat(str(row["start"])),
            datetime.fromisoformat(str(row["end"])),
            tuple(str(name) for name in row["staff"]),
        )
        for row in rows
    }


def of_calendar(house: House, shipment: str = "") -> dict[str, tuple[date, date]]:
    """The same from the calendar's events."""
    stem = f"land/{shipment}/" if shipment else "land/"
    return {
        event.uid.removesuffix("@home"): (event.start, event.end)
        for event in wanted_events(house, "home")
        if event.uid.startswith(stem)
    }


def of_board(house: House, shipment: str = "S1") -> dict[str, tuple[str, str]]:
    """Box → time of opening and person, as the board's page of the day shows them."""
    board_app = board(house.folder, {"testserver"}, lambda: house.now, Tries(clock=lambda: 0.0))
    try:
        with board_app.state.farm.writing() as open_house:
            _, code = devices.invite(open_house, next(iter(house.site.people)))
        client = TestClient(board_app, headers={"origin": "http://testserver"})
        assert client.post(f"/join/{code}", data={"label": "a test"}).status_code == 200
        page = client.get(f"/deliveries/{shipment}/day")
        client.close()
    finally:
        board_app.state.jobs.wait(30)
        board_app.state.watch.wait(30)
        board_app.state.farm.close()
    assert page.status_code == 200
    table = page.text.partition('id="order"')[2].partition("</table>")[0]
    cells = [
        [re.sub("<[^>]*>", "", cell) for cell in re.findall("<td.*?</td>", row)]
        for row in re.split("<tr[^>]*>", table)[2:]
    ]
    return {row[1]: (row[2], row[5]) for row in cells}


def same_everywhere(house: House, batches: list[Batch], shipment: str = "") -> Minutes:
    """Run sheet, timetable and calendar agree to the minute and the person."""
    sheet = of_run_sheet(house, batches)
    assert of_timetable(house, shipment) == sheet
    assert of_calendar(house, shipment) == {uid: (start, end) for uid, (start, end, _) in sheet.items()}
    return sheet


def same_on_the_board(house: House, sheet: Minutes, shipment: str = "S1") -> None:
    """The board's page of the day gives every box the minute and the person of the run sheet."""
    opened = {uid.split("/")[2]: (start, people) for uid, (start, _, people) in sheet.items() if uid.endswith("/open")}
    names = {person.id: person.name for person in house.site.people.values()}
    zone = house.site.farm.zone
    assert of_board(house, shipment) == {
        box: (f"{start.astimezone(zone):%H:%M}", names.get(people[0], people[0]))
        for box, (start, people) in opened.items()
    }


def no_bag_closed_past_its_hours_in_silence(house: House, shipment: str = "S1") -> int:
    """Boxes opened past the red hours of the most sensitive animal in them, each told with the kept day and its reason.

    Hours by the clock from the packing of the first of its bags.
    """
    told = kept_days(house)[shipment]
    batches = house.floor().batches
    named = {str(one["where"]) for one in told["refused"]}
    over = 0
    for step in (step for step in told["steps"] if step["kind"] == "receive"):
        mine = [batches[batch] for batch, _ in step["batches"]]
        packed = [batch.packed_at for batch in mine if batch.packed_at is not None]
        if not packed:  # a list without packing times: no one knows the hours
            continue
        hours = (datetime.fromisoformat(step["start"]) - min(packed)).total_seconds() / 3600
        limit = min(house.library.group(batch.group).bag_hours.red for batch in mine)
        if hours > limit:
            over += 1
            assert step["box"] in named, (step["box"], hours, limit)
            assert told["despite"]
    return over


ZONES = ("Europe/Lisbon", "Europe/Athens", "America/Sao_Paulo", "Asia/Kolkata")


def another_farm(folder: Path, seed: int) -> None:
    """Write over the small farm with a drawn one: zone, tables, tubs, dip places, hours, and up to three people more."""
    file = folder / "farm.toml"
    text = file.read_text(encoding="utf-8")
    text = text.replace('"Europe/Lisbon"', f'"{ZONES[drawn(seed, "zone", len(ZONES))]}"')
    text = text.replace("places = 2", f"places = {1 + drawn(seed, 'tables', 4)}")
    text = text.replace("places = 4", f"places = {2 + drawn(seed, 'tubs', 7)}")
    text = text.replace('ends = "20:00"', f'ends = "{17 + drawn(seed, "ends", 6)}:30"')
    if drawn(seed, "bench", 3) == 0:
        text = text.replace('[station.bench]\nkind = "dip"\n', "")
    for number in range(drawn(seed, "people", 4)):
        skills = ('"open"', '"open", "acclimate"', '"open", "acclimate", "dip", "fish"')[
            drawn(seed, f"skill {number}", 3)
        ]
        starts = 7 + drawn(seed, f"starts {number}", 4)
        text += (
            f'\n[person.helper{number}]\nskills = [{skills}]\nstarts = "{starts:02d}:00"\nends = "{starts + 9}:00"\n'
        )
    file.write_text(text, encoding="utf-8")
