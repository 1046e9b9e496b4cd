"""The invented farm walked through its whole path, with the clock turned by hand: lists, plan, work, losses, claim."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

from intake.desk import clock, feeds, plans, records, reports, shipments, work
from intake.desk.claims import current, write
from intake.desk.house import House, check_house, open_house, save
from intake.desk.papers import print_forms
from intake.desk.stock import take_stock
from intake.errors import BadInput, Finding, Refused
from intake.farm.reading import read_site
from intake.ledger import latest
from intake.plan.solution import Solution
from intake.units import show_temperature

__all__ = ["walk"]

_ANSWERS = {"lagoon": {"columns": "proposed"}, "atoll": {"columns": "proposed"}}
"""What the invented owner answers; further answers are taken from the choices the tool offers first."""

_LANDS = time(8, 40)
_PLAN_SECONDS = 4.0
_TABLE_SECONDS = 4.0
_QUICK_SECONDS = 1.0

Tell = Callable[[str], None]


@dataclass
class _Story:
    """The folder, the days and who listens."""

    folder: Path
    lands: datetime
    now: datetime
    days: int
    tell: Tell
    working: Tell
    files: list[Path] = field(default_factory=list)
    late: str = ""
    late_at: datetime | None = None

    def at(self, moment: datetime) -> House:
        """Open the farm at a moment of the story."""
        return open_house(self.folder, now=moment)


def walk(folder: Path, *, days: int = 10, tell: Tell, working: Tell, now: datetime | None = None) -> Path:
    """Write the invented farm and walk the whole path on it.

    Parameters
    ----------
    folder
        A folder that does not exist yet, or is empty.
    days
        Days recorded since the first delivery landed, 1 to 40.
    tell, working
        Take a line of the story, and what is being worked on.

    Raises
    ------
    Refused
        The folder holds something.
    BadInput
        ``days`` out of range.
    """
    if not 1 <= days <= 40:
        raise BadInput(Finding("--days", str(days), "1 to 40"))
    if folder.exists() and any(folder.iterdir()):
        raise Refused(Finding(str(folder), "not empty", "a new or empty folder", "Name another: vatside demo DIR"))
    present = now or clock.now()
    zone = read_site(_demo("farm.toml")).farm.zone
    first = datetime.combine(present.astimezone(zone).date() - timedelta(days=days), _LANDS, zone)
    story = _Story(folder, first, present, days, tell, working)
    for chapter in (_settle, _plan, _prepare, _receive, _weeks, _report, _second):
        chapter(story)
    return folder


def _demo(name: str) -> bytes:
    """A file of the invented farm: beside the package in a wheel, in the demo folder of a checkout."""
    shipped = resources.files("intake").joinpath("_demo", name)
    if shipped.is_file():
        return shipped.read_bytes()
    return (Path(__file__).parents[2] / "demo" / name).read_bytes()


def _dated(text: str, day: date, packed: str) -> str:
    text = re.sub(r"@day([+-]\d+)@", lambda found: str(day + timedelta(days=int(found[1]))), text)
    return text.replace("@packed@", packed)


def _settle(story: _Story) -> None:
    """Chapter 1: the farm folder, what stands in the vats, the first packing list."""
    story.working("writing the invented farm")
    save(story.folder / "farm.toml", _demo("farm.toml"))
    for name in ("inbox", "library", "out"):
        (story.folder / name).mkdir(exist_ok=True)
    listed = story.lands - timedelta(days=6)
    house = story.at(listed)
    stock = _dated(_demo("stock.csv").decode(), story.lands.date(), "")
    standing = take_stock(house, save(story.folder / "inbox" / "stock.csv", stock.encode()).read_bytes(), "stock.csv")
    site = house.site
    story.tell(
        f"{site.farm.name}: {len(site.systems)} water systems, {len(site.vats)} vats, {len(site.people)} people."
    )
    animals = sum(batch.announced for batch in standing)
    story.tell(f"Standing there already: {animals} animals in {len(standing)} batches, as of {listed:%a %d %b %Y}.")
    _take_list(story, house, "lagoon", story.lands)


def _take_list(story: _Story, house: House, supplier: str, lands: datetime) -> None:
    zone = house.site.supplier(supplier).time_zone
    packed = (lands - timedelta(hours=31)).astimezone(read_zone(zone))
    text = _dated(_demo(f"{supplier}.csv").decode(), lands.date(), f"{packed:%Y-%m-%d %H:%M}")
    path = save(story.folder / "inbox" / f"{supplier}.csv", text.encode())
    answers = dict(_ANSWERS[supplier])
    found = shipments.expect(house, path, supplier, lands, answers=answers)
    asked = 0
    while found.questions and asked < 20:
        question = found.questions[0]
        answers[question.key] = question.choices[0] if question.choices else ""
        story.tell(f"  asked: {question.what} → {answers[question.key]}")
        found = shipments.expect(house, path, supplier, lands, answers=answers)
        asked += 1
    batches = shipments.enter(house, found, lands, answers=answers)
    story.files.append(path)
    story.tell(
        f"Packing list {path.name}: {found.totals.animals} animals in {len(batches)} lines, {len(found.totals.boxes)} boxes, "
        f"lands {lands:%a %d %b %H:%M} as {found.shipment}."
    )


def read_zone(name: str):  # type: ignore[no-untyped-def]
    """A time zone by its IANA name."""
    from zoneinfo import ZoneInfo

    return ZoneInfo(name)


def _plan(story: _Story) -> None:
    """Chapter 2: it does not fit; what would help; it fits; accepted."""
    moment = story.lands - timedelta(days=6) + timedelta(hours=1)
    for _ in range(4):
        house = story.at(moment)
        story.working("planning vats")
        proposal = plans.propose(
            house, seconds=_PLAN_SECONDS, progress=lambda p: story.working(f"planning: {p.step} {p.value}")
        )
        solution = proposal.solution
        left = solution.announced - solution.placed
        if not left:
            break
        story.tell(f"Plan: {solution.placed} of {solution.announced} animals find a place; {left} do not.")
        _tell_short(story, solution)
        acts = [one for one in (s for r in solution.relief for s in (r.steps or (r,))) if one.kind == "clear"]
        if not acts:
            break
        vat = acts[0].vat
        for said in plans.clear_vat(house, vat, story.lands.date() - timedelta(days=4)):
            story.tell(f"Decided: {said}")
    proved = "proved best" if solution.status == "optimal" else "not every aim proved"
    story.tell(f"Plan: {solution.placed} of {solution.announced} animals find a place ({proved}).")
    story.tell(plans.accept(house, proposal, short=bool(solution.announced - solution.placed)) + ".")


def _tell_short(story: _Story, solution: Solution) -> None:
    """What finds no place and why, and what would help: a few of each."""
    for row in solution.short[:3]:
        binds = row.binding[0]
        story.tell(
            f"  no place for {row.count} of {row.batch}: {binds.resource}, needs {binds.need:g}, has {binds.have:g}"
        )
    clears = [one for one in solution.relief if one.kind == "clear"]
    others = [one for one in solution.relief if one.kind != "clear"]
    for relief in [*clears[:2], *others[:2]]:
        story.tell(f"  would help: {relief.do} (+{relief.places} animals, about {relief.cost:.0f} min of work)")


def _prepare(story: _Story) -> None:
    """Chapter 3: what leaves first, the timetable, calendars and paper before the day."""
    cleared = story.lands - timedelta(days=5)
    house = story.at(cleared)
    for stay in list(house.floor().stays):
        record = latest(house.entries(), "standing").get(stay.batch)
        leaves = str(record.payload.get("leaves") or "") if record else ""
        if leaves and date.fromisoformat(leaves) <= story.lands.date():
            for said in records.move(house, stay.batch, stay.vat, "sold", stay.count, note="sold to make room").said:
                story.tell(f"{cleared:%a %d %b}: {said}")
            records.clean(house, stay.vat)
    house = story.at(story.lands - timedelta(days=2))
    story.working("scheduling the weeks after")
    table = work.reschedule(house, seconds=_TABLE_SECONDS)
    story.tell(f"Timetable: {len(table.tasks)} tasks, {len(table.late)} late, {len(table.unplaced)} without a place.")
    feeds.publish(house)
    out = story.folder / "out"
    story.files.append(feeds.write(house, "farm", out / "farm.ics"))
    for who in house.site.people:
        story.files.append(feeds.write(house, who, out / f"{who}.ics"))
    for what in ("plan", "sheets", "checklists", "labels", "runsheet"):
        story.working(f"printing {what}")
        story.files += print_forms(house, what, out, shipment="S1")
    story.tell(f"Printed for the day: {sum(1 for path in story.files if path.suffix == '.pdf')} PDF files in {out}.")


def _chance(*parts: object) -> float:
    """A number between 0 and 1 that is the same for the same words: invented losses that do not change between runs."""
    digest = hashlib.sha256("/".join(map(str, parts)).encode()).digest()
    return int.from_bytes(digest[:6], "big") / 2**48


def _of(count: int, share: float, *parts: object) -> int:
    expected = count * share
    return int(expected) + (1 if _chance(*parts) < expected - int(expected) else 0)


_DOA = {"S1-01": 0.055, "S1-02": 0.02, "S1-04": 0.03, "S1-06": 0.034, "S1-11": 0.09}


def _receive(story: _Story) -> None:
    """Chapter 4: the day itself: bag readings, receipt, counts."""
    house = story.at(story.lands + timedelta(minutes=20))
    floor = house.floor()
    lines = [b for b in floor.batches.values() if b.shipment == "S1"]
    for batch in lines:
        box = f"S1/{batch.boxes[0]}" if batch.boxes else batch.id
        for quantity, value, scale in (
            ("temperature_c", 23.0 + round(2 * _chance(batch.id, "t"), 1), ""),
            ("salinity_psu", 33.5 + round(_chance(batch.id, "s"), 1), ""),
            ("ph", 6.6 + round(0.4 * _chance(batch.id, "p"), 2), "nbs"),
            ("tan_n_mg_per_l", round(0.6 + 1.6 * _chance(batch.id, "a"), 2), ""),
        ):
            records.reading(house, box, quantity, value, scale=scale)
    house = story.at(story.lands + timedelta(hours=1))
    records.receive(house, "S1")
    house = story.at(story.lands + timedelta(hours=7))
    dead = missing = 0
    for batch in lines:
        for stay in [stay for stay in house.floor().stays if stay.batch == batch.id]:
            doa = _of(stay.count, _DOA.get(batch.id, 0.008), batch.id, stay.vat, "doa")
            lost = 2 if (batch.id == "S1-02" and not missing) else 0
            if doa or lost:
                records.count(house, batch.id, stay.vat, records.Count(doa=doa, missing=lost))
            dead, missing = dead + doa, missing + lost
    story.tell(f"{story.lands:%a %d %b}: S1 received; {dead} dead on arrival, {missing} missing.")
    story.tell(f"  quarantine water at {show_temperature(house.site.systems['quarantine-a'].temperature_c, 'us')}")
    sent = story.at(story.lands + timedelta(hours=9))
    claim = current(sent, "S1")
    story.files += write(sent, claim, story.folder / "out")
    from intake.desk.claims import set_state

    set_state(sent, "S1", "sent")
    money = " + ".join(f"{value:,.2f} {currency}" for currency, value in claim.totals)
    story.tell(
        f"  claim for {claim.claimable} animals, {money}, sent {sent.now:%H:%M}, window until {claim.deadline:%d %b %H:%M}."
    )


def _mornings(story: _Story) -> Iterator[datetime]:
    for offset in range(1, story.days + 1):
        moment = story.lands + timedelta(days=offset, hours=10)
        if moment <= story.now:
            yield moment


def _weeks(story: _Story) -> None:
    """Chapter 5: the days after: work done, one piece late, losses, a calendar that changed only where it had to."""
    house = story.at(story.lands + timedelta(hours=10))
    work.reschedule(house, seconds=_TABLE_SECONDS)
    feeds.publish(house)
    for moment in _mornings(story):
        house = story.at(moment)
        story.working(f"recording {moment:%a %d %b}")
        left_out = _day(story, house)
        if left_out:
            story.late, story.late_at = left_out, moment + timedelta(days=2)
            work.reschedule(house, seconds=_QUICK_SECONDS)
            feeds.publish(house)
        elif story.late_at is not None and moment >= story.late_at:
            _late(story, moment)
    out = story.folder / "out"
    story.files.append(feeds.write(story.at(story.now), "farm", out / "farm.ics"))


def _late(story: _Story, moment: datetime) -> None:
    """The piece of work that was left out is recorded two days late: what moves, and what a subscriber sees of it."""
    before = feeds.bytes_for(story.at(moment), "farm").split(b"BEGIN:VEVENT")[1:]
    records.done(story.at(moment), story.late)
    table = work.reschedule(story.at(moment), seconds=_QUICK_SECONDS)
    house = story.at(moment)
    changed = feeds.publish(house)
    after = set(feeds.bytes_for(house, "farm").split(b"BEGIN:VEVENT"))
    same = sum(1 for event in before if event in after)
    moved = [change for change in table.changes if change.was and change.now and change.was.start != change.now.start]
    story.tell(f"  {moment:%a %d %b}: recorded as done, two days late; planned again, {len(moved)} tasks moved.")
    for change in moved[:2]:
        assert change.now is not None  # noqa: S101  # chosen above
        story.tell(
            f"    {change.now.title} in {change.now.vat} → {change.now.start:%a %d %b %H:%M}, since {change.why}"
        )
    story.tell(f"  Calendar: {changed} events new or changed, {same} of {len(before)} untouched.")
    story.late_at = None


def _day(story: _Story, house: House) -> str:
    """One day's records; gives the piece of work that was left out, once in the story."""
    finished = {entry.task for entry in house.floor().done}
    due = [
        task for task in records.published_tasks(house)
        if task["uid"] not in finished and datetime.fromisoformat(str(task["start"])) <= house.now
        and task["kind"] not in {"release check"} and task["uid"] != story.late
    ]  # fmt: skip
    left_out = ""
    for task in due:
        if not (story.late or left_out) and task["kind"] in {"dip", "inspection"} and task["number"] == 2:
            left_out = str(task["uid"])
            story.tell(f"  {house.now:%a %d %b}: {task['title']} in {task['vat']} not done; it stays due.")
            continue
        start = datetime.fromisoformat(str(task["start"]))
        records.done(house, str(task["uid"]), at=max(start, house.now - timedelta(hours=20)))
        if task["kind"] == "inspection" and task["batch"]:
            records.finding(house, str(task["batch"]), "clean", vat=str(task["vat"]))
    day = (house.now - story.lands).days
    for stay in house.floor().stays:
        share = 0.004 if day <= 4 else 0.0008
        number = _of(stay.count, share, stay.batch, stay.vat, day) if stay.batch.startswith("S1") else 0
        if number:
            records.count(house, stay.batch, stay.vat, records.Count(dead=number))
    for system in house.site.systems.values():
        reading = round(system.temperature_c + 0.4 * (_chance(system.id, day) - 0.5), 1)
        records.reading(house, system.id, "temperature_c", reading)
    return left_out


def _report(story: _Story) -> None:
    """Chapter 6: what it cost."""
    house = story.at(story.now)
    out = story.folder / "out"
    told = reports.losses(house, shipment="S1", out=out)
    story.files += [Path(name) for name in told["files"]]
    came = sum(row["came"] for row in told["batches"])
    doa = sum(row["doa"] for row in told["batches"])
    week = sum(row["dead_first_7_days"] for row in told["batches"])
    story.tell(f"After {story.days} days: {came} came, {doa} dead on arrival, {week} more in the first seven days.")
    worst = min((row for row in told["batches"] if row["survival"]), key=lambda row: row["survival"]["survival"])
    share: dict[str, Any] = worst["survival"]
    story.tell(
        f"  worst: {worst['batch']} {worst['name']}, {100 * share['survival']:.1f} % alive "
        f"(95 %: {100 * share['low']:.1f}–{100 * share['high']:.1f})."
    )
    for what in ("history", "round", "dips", "suppliers"):
        story.files += print_forms(house, what, out, batch="S1-01" if what == "history" else "", shipment="S1")


def _second(story: _Story) -> None:
    """Chapter 7: the second, untidy list; planned beside what stands now."""
    house = story.at(story.now)
    lands = datetime.combine(house.today + timedelta(days=4), time(15, 10), house.site.farm.zone)
    _take_list(story, house, "atoll", lands)
    story.working("planning the second delivery")
    proposal = plans.propose(story.at(story.now), seconds=_PLAN_SECONDS)
    solution = proposal.solution
    story.tell(f"Plan for it: {solution.placed} of {solution.announced} animals find a place.")
    if solution.short:
        _tell_short(story, solution)
        fewer = {row.batch: house.floor().batches[row.batch].announced - row.count for row in solution.short}
        for said in plans.amend(story.at(story.now), "S2", announced=fewer):
            story.tell(f"Decided with the supplier: {said}")
        proposal = plans.propose(story.at(story.now), seconds=_PLAN_SECONDS)
        story.tell(f"Plan: {proposal.solution.placed} of {proposal.solution.announced} animals find a place.")
    plans.accept(story.at(story.now), proposal, short=True)
    house = story.at(story.now)
    work.reschedule(house, seconds=_TABLE_SECONDS)
    feeds.publish(house)
    story.files.append(feeds.write(house, "farm", story.folder / "out" / "farm.ics"))
    story.files += print_forms(house, "sheets", story.folder / "out", shipment="S2")
    faults = check_house(story.at(story.now))
    story.tell("Every animal is accounted for." if not faults else f"{len(faults)} faults in the books!")
    story.tell("")
    story.tell(f"Written to {story.folder}: {len(set(story.files))} files, most of them in {story.folder / 'out'}.")
    story.tell(f"Go on there:  cd {story.folder} && vatside plan && vatside timetable && vatside report vats")
