"""Before the delivery: the list, the plan and what makes room, calendars and paper, and a flight that slips a day."""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from typing import Any

from intake.app.act_recording import RulesBroken
from intake.app.calendars import feed_publication
from intake.app.commands import maintain_vats, move_animals, plan_vats, schedule_work
from intake.app.commands.announce_shipment import amend
from intake.app.commands.plan_vats import Proposal
from intake.app.commands.take_stock import take_stock
from intake.app.documents.printing import print_forms
from intake.app.output_files import save
from intake.app.queries.planning import accepted_plan
from intake.demo.story import PLAN_SECONDS, TABLE_SECONDS, Story, dated, demo_file
from intake.plan.solution import Solution

__all__ = ["plan", "prepare", "propose", "settle", "slip", "tell_short"]

_SLIP = timedelta(days=1)


def settle(story: Story) -> None:
    """The farm folder, what is in the vats, the first packing list with the landing first announced."""
    story.working("writing the invented farm")
    farm = demo_file("farm.toml")
    if story.store:
        farm = farm.replace(b"[farm]\n", b"[farm]\nstore = " + json.dumps(story.store).encode() + b"\n", 1)
    save(story.folder / "farm.toml", farm, own=True)
    save(story.folder / "library" / "verdicts.csv", demo_file("verdicts.csv"), own=True)
    for name in ("inbox", "library", "out"):
        (story.folder / name).mkdir(exist_ok=True)
    listed = story.lands - timedelta(days=7)
    house = story.at(listed)
    stock = dated(demo_file("stock.csv").decode(), story.lands.date(), "")
    standing = take_stock(
        house, save(story.folder / "inbox" / "stock.csv", stock.encode(), own=True).read_bytes(), "stock.csv"
    )
    site = house.site
    story.tell(
        f"{site.farm.name}: {len(site.systems)} water systems, {len(site.vats)} vats, {len(site.people)} people."
    )
    animals = sum(batch.announced for batch in standing)
    story.tell(f"Already in the vats: {animals} animals in {len(standing)} batches, as of {listed:%a %d %b %Y}.")
    story.take_list(house, "lagoon", story.lands - _SLIP)


def propose(story: Story, moment: datetime) -> Proposal:
    """A plan for what is to come, as of a moment."""
    story.working("planning vats")
    return plan_vats.propose(
        story.at(moment), seconds=PLAN_SECONDS, progress=lambda p: story.working(f"planning: {p.step} {p.value}")
    )


def plan(story: Story) -> None:
    """Demo: plan fails, relief is applied, plan fits and is accepted."""
    moment = story.lands - timedelta(days=7) + timedelta(hours=1)
    for _ in range(6):
        proposal = propose(story, moment)
        solution = proposal.solution
        left = solution.announced - solution.placed
        if not left:
            break
        story.tell(f"Plan: {solution.placed} of {solution.announced} animals fit; {left} do not.")
        story.tell(f"  {proposal.aim.words}")
        tell_short(story, solution)
        acts = [one for one in (s for r in solution.relief for s in (r.steps or (r,))) if one.kind == "clear"]
        acts += [one for one in solution.relief if one.kind == "move"]  # where it would go is the owner's: it is sold
        if not acts:
            break
        for said in plan_vats.clear_vat(story.at(moment), acts[0].vat, story.lands.date() - timedelta(days=5)):
            story.tell(f"Decided: {said}")
    proved = "proved best" if solution.status == "optimal" else "not every aim proved"
    story.tell(f"Plan: {solution.placed} of {solution.announced} animals fit ({proved}).")
    story.tell(plan_vats.accept(story.at(moment), proposal, short=bool(solution.announced - solution.placed)) + ".")


def tell_short(story: Story, solution: Solution) -> None:
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


def prepare(story: Story) -> None:
    """What leaves first, the timetable, and the calendars everybody subscribes to."""
    cleared = story.lands - timedelta(days=6)
    house = story.at(cleared)
    for stay in list(house.floor().stays):
        record = house.last("standing", stay.batch)
        leaves = str(record.payload.get("leaves") or "") if record else ""
        if leaves and date.fromisoformat(leaves) <= story.lands.date():
            for said in move_animals.move(
                house, stay.batch, stay.vat, "sold", stay.count, note="sold to make room"
            ).said:
                story.tell(f"{cleared:%a %d %b}: {said}")
            maintain_vats.clean(house, stay.vat)
    moment = story.lands - timedelta(days=3)
    story.working("scheduling the weeks after")
    table = schedule_work.reschedule(story.at(moment), seconds=TABLE_SECONDS)
    story.tell(
        f"Timetable: {len(table.tasks)} tasks, {len(table.late)} late, {len(table.unplaced)} cannot be scheduled."
    )
    story.tell(story.publish(moment))


def _move_stock(story: Story, moment: datetime) -> None:
    """Do what the accepted plan asks of current stock: in its order, and two that change places by way of an empty vat."""
    told = accepted_plan.accepted(story.at(moment))
    waiting = list(told["plan"]["moves"] if told else ())
    while waiting:
        done = [move for move in waiting if _moved(story, moment, move, str(move["to_vat"]))]
        waiting = [move for move in waiting if move not in done]
        if not done and not _out_of_the_way(story, moment, waiting):
            break
    for move in waiting:
        story.tell(
            f"  stays in {move['from_vat']}: {move['batch']}, for {move['to_vat']} does not suit it as it stands"
        )


def _moved(story: Story, moment: datetime, move: dict[str, Any], target: str) -> bool:
    """Whether one move was done; a rule may keep it until another has been."""
    words = str(move["batch"]), str(move["from_vat"]), target, int(move["count"])
    try:
        said = move_animals.move(story.at(moment), *words, note="as the plan asks").said
    except RulesBroken:
        return False
    for line in said:
        story.tell(f"  moved as the plan asks: {line}")
    return True


def _out_of_the_way(story: Story, moment: datetime, waiting: list[dict[str, Any]]) -> bool:
    """Put one of those who wait for each other's vats into an empty vat of its water first."""
    house = story.at(moment)
    for move in (one for one in waiting if not one.get("aside")):  # once each, or they would wander for ever
        source = str(move["from_vat"])
        for vat in house.site.vats_of(house.site.vat(source).system):
            if not house.floor().in_vat(vat.id) and _moved(story, moment, move, vat.id):
                move |= {"from_vat": vat.id, "aside": True}
                return True
    return False


def slip(story: Story) -> None:
    """Before it is packed, the flight slips a day: plan, timetable and calendars follow, and the paper is printed."""
    moment = story.lands - timedelta(hours=60)
    said = "; ".join(amend(story.at(moment), "S1", lands=story.lands))
    story.tell(f"{moment:%a %d %b}: the flight slips a day: {said}.")
    proposal = propose(story, moment)
    solution = proposal.solution
    left = solution.announced - solution.placed
    story.tell(f"  Plan again: {solution.placed} of {solution.announced} animals fit.")
    story.tell(f"  {plan_vats.accept(story.at(moment), proposal, short=bool(left))}.")
    story.working("moving the timetable")
    table = schedule_work.reschedule(story.at(moment), seconds=TABLE_SECONDS)
    story.tell(
        f"  Timetable: {len(table.tasks)} tasks, {len(table.late)} late, {len(table.unplaced)} cannot be scheduled."
    )
    story.tell(f"  {story.publish(moment)}")
    _move_stock(story, moment)
    house = story.at(moment)
    for who in house.site.people:
        story.files.append(feed_publication.write(house, who, story.out / f"{who}.ics"))
    for what in ("plan", "sheets", "checklists", "labels", "runsheet"):
        story.working(f"printing {what}")
        story.files += print_forms(house, what, story.out, shipment="S1")
    story.tell(
        f"Printed for the day: {sum(1 for path in story.files if path.suffix == '.pdf')} PDF files in {story.out}."
    )
