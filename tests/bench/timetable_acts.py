"""Bench of acts: seconds from a record to calendars that say it, and what moves, at 120, 600 and 3,000 open tasks.

Run with ``python -m tests.bench.timetable_acts --sizes 120,600,3000``.  Farm, lots and people are invented.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

from intake.app.calendars import feed_publication
from intake.app.commands import count_animals, receive_shipment, record_observation, schedule_work
from intake.app.commands.count_animals import Count
from intake.app.queries.planning.published_timetable import stored_tasks
from intake.app.session import House, open_house
from intake.farm.floor import Batch
from intake.ledger import batch_payload

LANDS = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)
GROUPS = ("clam_small", "stony_montipora", "zoanthid", "stony_lps_fleshy", "corallimorph")


def farm(folder: Path, lots: int, lands: datetime = LANDS) -> House:
    """An invented farm on which so many lots have landed, two to a system, and are scheduled."""
    staff = max(4, lots // 8)
    text = '[farm]\nname = "Invented bench farm"\ntime_zone = "Europe/Lisbon"\n'
    text += '[supplier.one]\ncurrency = "EUR"\ntime_zone = "UTC"\nclaim_window_h = 24\n'
    text += f'[station.bench]\nkind = "dip"\nplaces = {staff}\n[station.lamp]\nkind = "inspection"\nplaces = {staff}\n'
    for number in range(staff):
        text += f'[person.p{number:02d}]\nrole = "{"owner" if not number else "keeper"}"\nends = "22:00"\nstarts = "10:00"\n'
        text += 'skills = ["dip", "inspect", "fish", "acclimate", "open"]\n'
    for number in range(-(-lots // 2)):
        text += (
            f'[system.s{number}]\nrole = "quarantine"\ntemperature_c = 26.4\nsalinity_psu = 34.5\nfilter_area_m2 = 90\n'
        )
    for number in range(lots):
        text += (
            f'[vat.V{number}]\nsystem = "s{number // 2}"\nbench_area_m2 = 9.0\nwater_depth_mm = 300\nvolume_l = 2000\n'
        )
        text += "flow = [1, 4]\nlight_umol = [0, 400]\nturnover_per_h = 12\n"
    (folder / "farm.toml").write_text(text, encoding="utf-8")
    house = open_house(folder, now=lands - timedelta(days=9))
    rows = []
    with house.together(), house.act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": lands.isoformat()})
        for line in range(lots):
            group = GROUPS[line // 2 % len(GROUPS)]
            batch = Batch(f"S1-{line + 1:03d}", group, group, 40.0, 40, "S1", line + 1, "one", (str(line),))
            act.note("batch", batch.id, batch_payload(batch))
            stay = {"batch": batch.id, "count": 40, "vat": f"V{line}", "stage": "quarantine"}
            rows.append({**stay, "from": str(lands.date()), "until": str((lands + timedelta(days=61)).date())})
        act.note("plan", "P1", {"state": "accepted", "plan": {"plan": "P1", "placements": rows, "moves": []}})
    receive_shipment.receive(house.at(lands + timedelta(minutes=30)), "S1")
    return house


def timed(work: Callable[[], object]) -> float:
    """Seconds of processor time, so that a loaded machine does not count."""
    start = time.process_time()
    work()
    return time.process_time() - start


def main() -> None:
    """Print a row for each size."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", default="120,600,3000")
    print(
        "| tasks | done | 3 dead | away: repair | forced | further | proved fewest | all calendars, again | one changed |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for size in map(int, parser.parse_args().sizes.split(",")):
        with tempfile.TemporaryDirectory() as name:
            print(row(Path(name), size), flush=True)


def row(folder: Path, size: int) -> str:
    """The measurements of one size."""
    house = farm(folder, max(2, size // 9))
    house = house.at(LANDS + timedelta(days=1, hours=12))
    tasks = [task for task in stored_tasks(house) if task["state"] == "open"]
    soon = [str(task["uid"]) for task in tasks if datetime.fromisoformat(task["start"]) <= house.now][:7]
    done = [timed(lambda uid=uid: record_observation.done(house, uid)) for uid in soon]  # type: ignore[misc]
    dead = [timed(lambda n=n: count_animals.count(house, f"S1-{n:03d}", f"V{n - 1}", Count(dead=3))) for n in (1, 2)]  # type: ignore[misc]
    feed_publication.bytes_for(house)
    again = timed(lambda: feed_publication.bytes_for(house))
    busiest = max(house.site.people, key=lambda one: sum(one in task["staff"] for task in tasks))
    file = folder / "farm.toml"
    gone = f"[person.{busiest}]\nleave = [{{first = 2027-03-09, last = 2027-03-10}}]\n"
    file.write_text(file.read_text(encoding="utf-8").replace(f"[person.{busiest}]\n", gone), encoding="utf-8")
    house.books.close()
    house = open_house(folder, now=LANDS + timedelta(days=1, hours=13))
    outcome = schedule_work.Outcome()

    def repair() -> None:
        nonlocal outcome
        outcome = schedule_work.bring_up(house)

    seconds = timed(repair)
    moved = outcome.table.changes if outcome.table else ()
    forced = sum(change.forced for change in moved if change.was and change.now)
    further = sum(not change.forced for change in moved if change.was and change.now)
    one = timed(lambda: count_animals.count(house, "S1-001", "V0", Count(dead=1)))
    changed = timed(lambda: feed_publication.bytes_for(house))
    house.books.close()
    proved = outcome.table.fewest if outcome.table else True
    return (
        f"| {len(tasks)} | {median(done):.3f} s | {median(dead):.3f} s | {seconds:.3f} s | {forced} | {further} | {proved} | "
        f"{again:.3f} s | {changed:.3f} s after {one:.3f} s |"
    )


if __name__ == "__main__":
    main()
