"""What the weeks cost the invented farm, and the second, untidy list planned beside what is there now."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any

from intake.app.commands import plan_vats, schedule_work
from intake.app.commands.announce_shipment import amend, cancel
from intake.app.commands.plan_vats import Proposal
from intake.app.documents.printing import print_forms
from intake.app.farm_folder import check_house
from intake.app.queries.reports import loss_report
from intake.demo.before_landing import propose, tell_short
from intake.demo.story import TABLE_SECONDS, Story

__all__ = ["report", "second"]


def report(story: Story) -> None:
    """Losses with their intervals, charts, and the papers of the weeks."""
    house = story.at(story.now)
    story.working("calculating losses")
    told = loss_report.losses(house, shipment="S1", out=story.out)
    story.files += [Path(name) for name in told["files"]]
    came = sum(row["came"] for row in told["batches"])
    doa = sum(row["doa"] for row in told["batches"])
    week = sum(row["dead_first_7_days"] for row in told["batches"])
    days = f"{story.days} day" if story.days == 1 else f"{story.days} days"
    story.tell(f"After {days}: {came} came, {doa} dead on arrival, {week} more in the first seven days.")
    known = [row for row in told["batches"] if row["survival"]]
    if known:  # in the first days there is nothing to estimate it from
        worst = min(known, key=lambda row: row["survival"]["survival"])
        share: dict[str, Any] = worst["survival"]
        story.tell(
            f"  worst: {worst['batch']} {worst['name']}, {100 * share['survival']:.1f} % alive "
            f"(95 %: {100 * share['low']:.1f}–{100 * share['high']:.1f})."
        )
    for what in ("history", "round", "dips", "suppliers"):
        story.working(f"printing {what}")
        story.files += print_forms(house, what, story.out, batch="S1-01" if what == "history" else "", shipment="S1")


def second(story: Story) -> None:
    """The second list is read and planned; what has no place is not bought, and a list without any place waits."""
    house = story.at(story.now)
    lands = datetime.combine(house.today + timedelta(days=4), time(15, 10), house.site.farm.zone)
    story.take_list(house, "atoll", lands)
    proposal = _told(story, propose(story, story.now), "Plan for it")
    solution = proposal.solution
    later = next((one for one in solution.relief if one.kind == "delay"), None)
    if not solution.placed and later is not None:
        for said in amend(story.at(story.now), "S2", lands=lands + timedelta(days=later.day)):
            story.tell(f"Decided with the supplier: {said}")
        proposal = _told(story, propose(story, story.now), "Plan")
        solution = proposal.solution
    if not solution.placed:
        for said in cancel(story.at(story.now), "S2", "no water of the farm can take it in the coming weeks"):
            story.tell(f"Decided with the supplier: {said}")
        _finish(story)
        return
    if solution.short:
        fewer = {row.batch: house.floor().batches[row.batch].announced - row.count for row in solution.short}
        for said in amend(story.at(story.now), "S2", announced=fewer):
            story.tell(f"Decided with the supplier: {said}")
        proposal = propose(story, story.now)
        story.tell(f"Plan: {proposal.solution.placed} of {proposal.solution.announced} animals fit.")
    plan_vats.accept(story.at(story.now), proposal, short=True)
    story.working("scheduling the weeks after")
    schedule_work.reschedule(story.at(story.now), seconds=TABLE_SECONDS)
    story.tell(story.publish(story.now))
    story.files += print_forms(story.at(story.now), "sheets", story.out, shipment="S2")
    _finish(story)


def _told(story: Story, proposal: Proposal, head: str) -> Proposal:
    """A plan, shown with what finds no place in it."""
    solution = proposal.solution
    story.tell(f"{head}: {solution.placed} of {solution.announced} animals fit.")
    if solution.short:
        story.tell(f"  {proposal.aim.words}")
        tell_short(story, solution)
    return proposal


def _finish(story: Story) -> None:
    """The books are checked, and where everything is."""
    faults = check_house(story.at(story.now))
    story.tell("Every animal is accounted for." if not faults else f"{len(faults)} faults in the books!")
    story.tell("")
    story.tell(f"Written to {story.folder}: {len(set(story.files))} files, most of them in {story.out}.")
    story.tell(f"Go on there:  cd {story.folder} && vatside plan && vatside timetable && vatside report vats")
