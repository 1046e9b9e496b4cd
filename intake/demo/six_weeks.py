"""The weeks after: work done and one piece late, losses, a claim answered, a pest in week two, lots tested and released."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from intake.app.act_recording import RulesBroken
from intake.app.calendars import feed_publication
from intake.app.commands import (
    count_animals,
    hold_batch,
    maintain_vats,
    move_animals,
    order_treatment,
    receive_shipment,
    record_observation,
    schedule_work,
)
from intake.app.commands.advance_claim import set_state
from intake.app.queries.biosecurity.contact_tracing import trace_rows
from intake.app.queries.biosecurity.release_status import release_rows
from intake.app.queries.planning import published_timetable
from intake.app.queries.reports.claim_status import current
from intake.app.session import House
from intake.demo.landing_day import send_claim
from intake.demo.story import QUICK_SECONDS, TABLE_SECONDS, Story, chance, of

__all__ = ["record"]

_PEST, _PEST_LOT, _PEST_DAY = "white-spot", "S1-12", 10
_SECOND_CLAIM_DAY, _ANSWER_DAY, _SETTLE_DAY = 2, 7, 12
_TEST_DAY, _RESULT_DAY = 30, 34
_EARLY_DAY, _LEAVING_DAY, _LEAVER = 15, 20, "odo"
_CREDITED = Decimal("0.9")
"""Share of the claim the invented supplier credits."""


@dataclass
class _Late:
    """The one task that is left out in the story: its uid, and when it is done after all."""

    task: str = ""
    at: datetime | None = None


def record(story: Story) -> None:
    """Record day after day, and plan the work again whenever something happened."""
    evening = story.lands + timedelta(hours=10)
    schedule_work.reschedule(story.at(evening), seconds=TABLE_SECONDS)
    story.publish(evening)
    late = _Late()
    for day, moment in _days(story):
        story.working(f"recording {moment:%a %d %b}")
        with story.at(moment).together():
            left_out = _work_of(story, story.at(moment), day, late)
            _losses_of(story.at(moment), day)
            _readings_of(story.at(moment), day)
        if left_out:
            late.task, late.at = left_out, moment + timedelta(days=2)
            schedule_work.reschedule(story.at(moment), seconds=QUICK_SECONDS)
            story.publish(moment)
        elif late.at is not None and moment >= late.at:
            _late_work(story, moment, late)
        if day == _EARLY_DAY:
            _early_work(story, moment)
        if day == _LEAVING_DAY:
            _leaving(story, moment)
        _claim_of(story, day, moment)
        if day == _PEST_DAY:
            _pest(story, moment)
        _tests_of(story, day, moment)
        _free(story, day, moment)
        if day == _RULES_DAY:  # last: it records until two hours later
            _rules(story, moment)


def _days(story: Story) -> Iterator[tuple[int, datetime]]:
    for day in range(1, story.days + 1):
        moment = story.lands + timedelta(days=day, hours=10)
        if moment <= story.now:
            yield day, moment


def _again(story: Story, moment: datetime) -> str:
    table = schedule_work.reschedule(story.at(moment), seconds=QUICK_SECONDS)
    moved = [change for change in table.changes if change.was and change.now and change.was.start != change.now.start]
    for change in moved[:2]:
        assert change.now is not None  # noqa: S101  # chosen above
        where = f" in {change.now.vat}" if change.now.vat else ""
        story.tell(f"    {change.now.title}{where} → {change.now.start:%a %d %b %H:%M}, since {change.why}")
    words = "1 task" if len(moved) == 1 else f"{len(moved)} tasks"
    return f"{words} moved. {story.publish(moment)}"


def _late_work(story: Story, moment: datetime, late: _Late) -> None:
    """The task that was left out is done two days late: what moves, and what a subscriber sees of it."""
    story.publish(moment)  # so that what follows is reported of this act alone, not of the days before
    record_observation.done(story.at(moment), late.task)
    story.tell(f"  {moment:%a %d %b}: recorded as done, two days late; planned again:")
    story.tell(f"  {_again(story, moment)}")
    late.at = None


def _early_work(story: Story, moment: datetime) -> None:
    """A task of tomorrow is done today: its event is done at once and does not ring tomorrow."""
    house = story.at(moment)
    rows = [
        row for row in published_timetable.stored_tasks(house) if row["state"] == "open" and row["kind"] == "inspection"
    ]
    ahead = [row for row in rows if datetime.fromisoformat(str(row["start"])) > moment]
    if not ahead:
        return
    row = ahead[0]
    record_observation.done(house, str(row["short"] or row["uid"]))
    story.tell(
        f"  {moment:%a %d %b}: {row['title']} in {row['vat']} done a day early, by its number {row['short']}: "
        "its event says so at once and does not ring."
    )


def _leaving(story: Story, moment: datetime) -> None:
    """A helper's last day: the tasks ahead go to others the moment the farm file says so, and their calendar closes."""
    had = _ahead_of(story.at(moment), _LEAVER)
    file = story.folder / "farm.toml"
    text = file.read_text(encoding="utf-8")
    last = f'until = "{moment.date().isoformat()}"\n'
    file.write_text(text.replace(f"[person.{_LEAVER}]\n", f"[person.{_LEAVER}]\n{last}", 1), encoding="utf-8")
    story.read_again()
    house = story.at(moment)
    changed = feed_publication.publish(house)
    left = _ahead_of(house, _LEAVER)
    name = house.site.person(_LEAVER).name
    story.tell(
        f"{moment:%a %d %b}: {name}'s last day: {len(had)} tasks ahead, {len(left)} left after it; {changed} events changed."
    )


def _ahead_of(house: House, person: str) -> list[str]:
    """Open tasks of someone after today."""
    rows = published_timetable.stored_tasks(house)
    zone = house.site.farm.zone
    return [
        str(row["uid"])
        for row in rows
        if row["state"] == "open"
        and person in row["staff"]
        and datetime.fromisoformat(str(row["start"])).astimezone(zone).date() > house.today
    ]


def _work_of(story: Story, house: House, day: int, late: _Late) -> str:
    """One day's work; gives the piece that was left out, once in the story."""
    finished = {entry.task for entry in house.floor().done}
    due = [
        task for task in published_timetable.published_tasks(house)
        if task["uid"] not in finished and datetime.fromisoformat(str(task["start"])) <= house.now
        and task["kind"] not in {"release check"} and task["uid"] != late.task
    ]  # fmt: skip
    left_out = ""
    for task in due:
        if not (late.task or left_out) and task["kind"] in {"dip", "inspection"} and task["number"] == 2:
            left_out = str(task["uid"])
            story.tell(f"  {house.now:%a %d %b}: {task['title']} in {task['vat']} not done; it stays due.")
            continue
        start = datetime.fromisoformat(str(task["start"]))
        at = max(start, house.now - timedelta(hours=20), _rested(house, str(task["batch"]), str(task["vat"])))
        if at > house.now:
            continue  # placed later than planned: the animals rest first, and the work stays due
        if task["kind"] == "transfer":
            _transfer(house, str(task["uid"]), str(task["batch"]), at)
            continue
        record_observation.done(house, str(task["uid"]), at=at)
        if task["kind"] == "inspection" and task["batch"] and not (task["batch"] == _PEST_LOT and day == _PEST_DAY):
            record_observation.finding(house, str(task["batch"]), "clean", vat=str(task["vat"]))
    return left_out


def _rested(house: House, batch: str, vat: str) -> datetime:
    """A day after the animals of a batch came into a vat; long ago where none stand there."""
    since = [stay.since for stay in house.floor().stays if (stay.batch, stay.vat) == (batch, vat)]
    return max(since, default=house.now - timedelta(days=365)) + timedelta(hours=24)


_RULES_DAY = 1


def _rules(story: Story, moment: datetime) -> None:
    """What the rules of the farm do: an act refused, one recorded with a reason, one recorded with a warning."""
    bath = order_treatment.Order(
        "white spots on the fish", "Dr. Reva (invented)", "RX-0 (invented)", "copper", "as prescribed", days=14,
        dose_source="the prescription (invented)",
    )  # fmt: skip
    try:
        order_treatment.order(story.at(moment), "S1-01", "fish-copper-bath", bath)
    except RulesBroken as refused:
        story.tell(f"{moment:%a %d %b}: a copper bath ordered for S1-01 is refused, whoever prescribes it:")
        story.tell(f"  {refused.broken[0].what}")
    before, house = moment - timedelta(hours=2), story.at(moment)
    vat = _inhabited(house)
    if vat:
        warm = record_observation.reading(house, vat, "temperature_c", 29.1, at=before)
        story.tell(f"  {vat} at 29.1 °C is recorded with a warning: {warm.rules[0].what}")
    why = "heater stuck, read twice"
    told = record_observation.reading(house, "H1", "temperature_c", 31.2, at=before, despite=why)
    lifted = next(one for one in told.rules if one.severity == "reason")
    story.tell(f'  H1 at 31.2 °C is asked again ({lifted.need}) and recorded with the reason: "{why}".')
    if vat:
        record_observation.reading(house, vat, "temperature_c", 26.9)
    record_observation.reading(house, "H1", "temperature_c", 26.0, despite="heater replaced, read twice")


def _inhabited(house: House) -> str:
    """R1, or where the plan has emptied it another vat of grow-out: an alarm needs somebody whose limits are passed.

    Empty where the plan has emptied them all.
    """
    vats = [stay.vat for stay in house.floor().stays if stay.stage == "grow-out"]
    others = (vat for vat in vats if house.site.vat(vat).system != house.site.vat("H1").system)
    return "R1" if "R1" in vats else next(others, "")


_TRANSFER = ("F1", "F2")
"""Vats of the fish, each in water of its own: a tank transfer goes from one to the other."""


def _transfer(house: House, task: str, batch: str, at: datetime) -> None:
    """The fish go to the vat in the other water, and the one they left is emptied, cleaned and dried."""
    here = next(stay.vat for stay in house.floor().stays if stay.batch == batch)
    there = next(vat for vat in _TRANSFER if vat != here)
    try:
        record_observation.done(house, task, to=there, at=at)
    except RulesBroken:
        return  # the other vat is taken or not dry: the transfer stays due until it is free
    maintain_vats.clean(house, here)


def _losses_of(house: House, day: int) -> None:
    share = 0.004 if day <= 4 else 0.0008
    for stay in house.floor().stays:
        number = of(stay.count, share, stay.batch, stay.vat, day) if stay.batch.startswith("S1") else 0
        if number:
            count_animals.count(house, stay.batch, stay.vat, count_animals.Count(dead=number))


def _readings_of(house: House, day: int) -> None:
    for system in house.site.systems.values():
        reading = round(system.temperature_c + 0.4 * (chance(system.id, day) - 0.5), 1)
        record_observation.reading(house, system.id, "temperature_c", reading)


def _claim_of(story: Story, day: int, moment: datetime) -> None:
    """Later deaths make a second version; the supplier answers; the claim is settled."""
    if day == _SECOND_CLAIM_DAY:
        send_claim(story, moment)
    elif day in (_ANSWER_DAY, _SETTLE_DAY):
        house = story.at(moment)
        currency, claimed = next(iter(current(house, "S1").standing.claimed.items()))
        amount = str((claimed * _CREDITED).quantize(Decimal("0.01")))
        state = "answered" if day == _ANSWER_DAY else "settled"
        note = "credits nine tenths" if state == "answered" else "credit note received"
        told = set_state(house, "S1", state, note=note, amount=amount)
        story.tell(f"  {moment:%a %d %b}: {told}, {amount} {currency}: {note}.")


def _pest(story: Story, moment: datetime) -> None:
    """An inspection finds white spot on fish: who shared the water, what is held, how the work and the calendars change."""
    house = story.at(moment)
    stays = [stay for stay in house.floor().stays if stay.batch == _PEST_LOT]
    if not stays:
        return
    story.publish(moment)
    before = _own_end(house)
    record_observation.finding(
        house, _PEST_LOT, _PEST, vat=stays[0].vat, note="white spots on flanks and fins, two fish scratching"
    )
    rows = trace_rows(story.at(moment), batch=_PEST_LOT)
    met = {row["batch"] for row in rows if not row["weak"] and row["way"] == "forward"}
    many = f"{len(met)} {'lot' if len(met) == 1 else 'lots'} shared its water: {', '.join(sorted(met))}"
    story.tell(
        f"{moment:%a %d %b}: {house.library.pests[_PEST].name} found on {_PEST_LOT} in {stays[0].vat}; "
        f"{many if met else 'no other lot shared its water'}."
    )
    story.tell(f"  {_again(story, moment)}")
    after = _own_end(story.at(moment))
    story.tell(f"  The quarantine of {_PEST_LOT} itself runs until {after}, was {before}.")


def _own_end(house: House) -> str:
    """The day until which the lot's own quarantine runs; when it is free depends on its transfers too."""
    (row,) = release_rows(house, _PEST_LOT)
    told = [words for words in row["stands_in_the_way"] if words.startswith("its own quarantine ends")]
    return told[0].rpartition(" ")[2] if told else "no day"


def _tests_of(story: Story, day: int, moment: datetime) -> None:
    """Lots with unexplained deaths are held, tested, and freed with the result."""
    if day == _TEST_DAY:
        house = story.at(moment)
        lots = [
            row["batch"] for row in release_rows(house) if any("unexplained" in why for why in row["stands_in_the_way"])
        ]
        for lot in lots:
            hold_batch.hold(house, lot, "two dead after the first week: samples sent to a laboratory")
        if lots:
            story.tell(f"{moment:%a %d %b}: deaths nobody can explain: {', '.join(lots)} held until tested.")
    elif day == _RESULT_DAY:
        house = story.at(moment)
        held = sorted({hold.batch for hold in house.floor().holds if not hold.lifted and "laboratory" in hold.reason})
        for lot in held:
            hold_batch.hold(house, lot, "laboratory: nothing found that can be passed on", lift=True)
        if held:
            story.tell(f"{moment:%a %d %b}: the laboratory found nothing: hold on {', '.join(held)} lifted.")


def _free(story: Story, day: int, moment: datetime) -> None:
    """Lots whose release check passes go where the plan wants them to grow out."""
    if day < 28:
        return
    house = story.at(moment)
    _looked_over(house)
    free = [row for row in release_rows(house) if row["releasable"] and str(row["batch"]).startswith("S1")]
    gone, stay_on = [], []
    for row in free:
        lot = str(row["batch"])
        places = [place for place in receive_shipment.placements_of(house, "S1") if place["batch"] == lot]
        room = {str(place["vat"]): int(str(place["count"])) for place in places if place["stage"] == "grow-out"}
        try:
            number = _move_on(story.at(moment), lot, room)
        except RulesBroken as error:
            # the plan's vat is not as the plan had it: the crew leaves the lot where it is and the owner plans again
            number = 0
            stay_on.append(error.broken[0].what)
        if number:
            gone.append(f"{number} of {lot} {row['name']}")
    for words in stay_on:
        if words not in story.told_once:
            story.told_once.add(words)
            story.tell(f"{moment:%a %d %b}: not moved as planned: {words}")
    if gone:
        story.tell(f"{moment:%a %d %b}: free, and moved to grow out: {'; '.join(gone)}.")
        story.tell(f"  {_again(story, moment)}")


def _looked_over(house: House) -> None:
    """A lot that lacks only the inspection which clears it of what was found on it is looked over, and is clean."""
    for row in release_rows(house):
        open_ = row["stands_in_the_way"]
        if open_ and all("no clean inspection since" in words for words in open_):
            vat = next(stay.vat for stay in house.floor().stays if stay.batch == row["batch"])
            record_observation.finding(house, str(row["batch"]), "clean", vat=vat)


def _move_on(house: House, lot: str, room: dict[str, int]) -> int:
    """Move a free lot out of quarantine into its planned vats, as many to each as the plan says."""
    moved = 0
    stays = [stay for stay in house.floor().stays if stay.batch == lot and stay.stage == "quarantine"]
    for stay in stays:
        left = stay.count
        for vat in room:
            number = min(left, room[vat])
            if number:
                move_animals.move(house, lot, stay.vat, vat, number)
                room[vat] -= number
                left, moved = left - number, moved + number
    for vat in {stay.vat for stay in stays}:
        if not house.floor().in_vat(vat):
            maintain_vats.clean(house, vat)  # whoever comes next, and a transfer that waits for it, needs it dry
    return moved
