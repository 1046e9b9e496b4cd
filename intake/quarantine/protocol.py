"""The work a batch needs in quarantine, with its windows, lags and reasons, from its group's protocol."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from math import ceil

from intake.errors import BadInput, Finding, Refused
from intake.farm.floor import Batch, Floor, Stay
from intake.farm.site import Site
from intake.library import Dip, Group, Library
from intake.library.treatments import MECHANICAL
from intake.quarantine.case import LONGEST_PART_MIN, Case, blank, done_of, minutes_for, parts_of, slotted
from intake.quarantine.needs import Condition, Need, Prescription
from intake.quarantine.quarantine_clock import clock_of, days_after, in_quarantine, temperature_of
from intake.quarantine.repeats import repeated
from intake.rules import Scene
from intake.rules.water import standing_findings

__all__ = ["condition_of", "work_for"]

AGENTS_APART_D = 2.0
"""Days between the first baths of two different agents on one lot (A019 of the table of the first days: default)."""

DAY_MIN = 1440
"""Minutes of a day: a longer contact is a course, and nobody stands beside it."""

_ACCLIMATION_MIN = 30
"""Minutes of a person's attention kept for acclimation before the receiving plan says better: design default."""

_PER_HOUR_OPENING = 400.0
"""Animals opened, photographed and counted by one person in an hour before the receiving plan says better: default."""


def work_for(
    batch: Batch,
    stays: Sequence[Stay],
    group: Group,
    library: Library,
    site: Site,
    *,
    entered: datetime,
    floor: Floor,
    temperature_c: float | None = None,
    prescriptions: Mapping[str, Prescription] | None = None,
    asked: Mapping[str, str] | None = None,
    not_before: datetime | None = None,
    began: Mapping[str, str] | None = None,
) -> tuple[Need, ...]:
    """The work still to be done on a batch until it can be released; what is recorded as done is left out.

    Parameters
    ----------
    batch, group
        The batch and its husbandry group.
    stays
        Where it stands or, for an accepted plan, will stand; only quarantine counts.  Stays of other batches show who
        shares its water.
    entered
        When it entered, or will enter, quarantine.
    temperature_c
        Temperature to calculate with; ``None``: of each vat's system, planned or logged.
    prescriptions
        Dip id → what a prescriber ordered for this batch.
    asked
        Dip id → reason, for dips that are off by default and wanted for this batch.
    not_before
        Earliest moment of the release check set by other lots in the water.
    began
        Vat now → vat in which that portion began, after moves, so that the work keeps its uid.

    Raises
    ------
    Refused
        A prescription bath was asked for without prescriber and reference.
    UnknownName
        A dip was asked for that the library does not have.
    """
    mine = in_quarantine(stays, batch.id)
    if not mine:
        return ()
    clock = clock_of(batch, stays, group, library, site, floor=floor, entered=entered)
    case = Case(batch, group, library, site, floor, clock, condition_of(batch.id, floor, entered), _homes(mine, began))
    arrival = _arrival(case, mine)
    needs: list[Need] = list(arrival)
    apart: dict[str, datetime] = {}
    opened: dict[str, Need] = {}
    session: dict[str, Need] = {stay.vat: arrival[-1] for stay in mine if arrival}
    for dip in _protocol(case, asked or {}, prescriptions or {}):
        for portion in _portions(dip, mine):
            here = temperature_c
            if here is None:
                here = temperature_of(site.system_of(portion.vat).id, site, floor, floor.at)
            chemical = dip.kind == "dip" and not set(library.agents(dip.id)) <= MECHANICAL
            row = repeated(
                case, dip, portion, here, session.get(portion.vat), apart.get(portion.vat) if chemical else None
            )
            if chemical:
                row[:1] = [_after_another(one, opened.get(portion.vat)) for one in row[:1]]
                if row and row[0].opens:
                    opened[portion.vat] = row[0]
                free = _apart(case, dip, portion, row)
                apart[portion.vat] = max(filter(None, (apart.get(portion.vat), free)), default=entered)
            needs += row
            if row and row[0].opens and row[0].nominal <= clock.started:
                session[portion.vat] = row[0]
    needs = _looked_first(library, needs)
    needs.append(_release_check(case, mine, needs, not_before))
    return tuple(part for need in needs for part in parts_of(need))


def _homes(mine: Sequence[Stay], began: Mapping[str, str] | None) -> dict[str, str]:
    """Vat now → vat named in uids; a name is used once, and a vat in which animals of the batch stand keeps its own."""
    homes: dict[str, str] = {}
    taken = {stay.vat for stay in mine}
    for stay in mine:
        home = (began or {}).get(stay.vat, stay.vat)
        homes[stay.vat] = stay.vat if home in taken else home
        taken.add(homes[stay.vat])
    return homes


def condition_of(batch: str, floor: Floor, entered: datetime) -> Condition:
    """Whether a batch in quarantine counts as sick in the order of work: on hold, or a finding on it since entry."""
    held = any(hold.batch == batch and not hold.lifted for hold in floor.holds)
    seen = any(found.batch == batch and found.what and found.at >= entered for found in floor.found)
    return "sick" if held or seen else "quarantine"


def _protocol(case: Case, asked: Mapping[str, str], prescriptions: Mapping[str, Prescription]) -> list[Dip]:
    """The dips to schedule: those on, those the farm switched on, and those asked for this batch."""
    wanted = [
        dip
        for identity in case.group.dips
        if (dip := case.library.dips[identity]).mode == "on"
        or (dip.mode == "optional" and identity in case.site.planning.optional_dips)
    ]
    refused: list[Finding] = []
    for identity, reason in asked.items():
        if identity not in case.library.dips:
            raise BadInput(Finding(f"dip asked for {case.batch.id}", identity, "the id of a dip in dips.toml"))
        dip = case.library.dips[identity]
        order = prescriptions.get(identity)
        if dip.prescription and (order is None or not order.prescriber.strip() or not order.reference.strip()):
            refused.append(
                Finding(
                    f"{dip.name} for {case.batch.id}",
                    "no prescriber and reference" if order is None else f"{order.prescriber} {order.reference}".strip(),
                    "a named prescriber and the reference of the prescription or label",
                    "Record the prescription first; the library holds no dose for this bath.",
                )
            )
        elif dip not in wanted or (order is not None and order.strength.strip()):
            wanted = [*(one for one in wanted if one.id != identity), _ordered(dip, reason, order)]
    if refused:
        raise Refused(refused)
    return wanted


def _ordered(dip: Dip, reason: str, order: Prescription | None) -> Dip:
    """A dip asked for by a person, with the words of the prescription in place of the library's.

    A contact of more than a day is a course in the water: one visit for each of its days, to measure and dose.

    A strength measured on the farm, ordered without a prescriber, stands in place of the blank the library leaves for it.
    """
    why = f"{dip.why}; asked for: {reason}"
    if order is None:
        return dip.model_copy(update={"why": why})
    if not dip.prescription and not order.prescriber.strip():
        return dip.model_copy(update={"why": why, "strength": f"{order.strength} (as ordered)"})
    course: dict[str, object] = {"contact_min": order.contact_min, "contact_max": order.contact_max}
    if (order.contact_max or 0.0) > DAY_MIN:  # the agent works alone; a person comes each day to measure and dose
        days = (order.contact_max or 0.0) / DAY_MIN
        course = {
            "course_days": days,
            "pest": "",
            "name": f"{dip.name}, {days:g} d: measure and dose",
            "baths": ceil(days),
            "interval_days": 1.0,
            "interval_min_days": 0.5,
            "interval_max_days": 1.5,
        }
    return dip.model_copy(
        update={
            **course,
            "agent": order.agent,
            "strength": f"{order.strength} (as prescribed: {order.prescriber}, {order.reference})",
            "source": f"prescribed by {order.prescriber}, {order.reference}",
            "evidence": "prescribed",  # a prescriber's word is no common practice and bears no mark for it
            "why": f"{dip.why}; prescribed by {order.prescriber}, {order.reference}: {reason}",
        }
    )


def _portions(dip: Dip, mine: Sequence[Stay]) -> tuple[Stay, ...]:
    """Work is per vat; a transfer is one task for the whole batch, since it changes the vat."""
    if dip.kind != "transfer":
        return tuple(mine)
    return (replace(mine[0], count=sum(stay.count for stay in mine)),)


def _arrival(case: Case, mine: Sequence[Stay]) -> list[Need]:
    """Receiving and acclimation of a batch whose shipment has not been received."""
    batch, floor = case.batch, case.floor
    if not batch.shipment or batch.shipment in floor.received:
        return []
    count = sum(stay.count for stay in mine)
    base = blank(case, mine[0], count)
    landed = case.clock.entered
    receive = replace(
        base,
        uid=f"{batch.id}/receive",
        kind="receive",
        title=f"Receive {batch.name}",
        latest=days_after(landed, 4 / 24),
        minutes=min(minutes_for(count, _PER_HOUR_OPENING), LONGEST_PART_MIN),
        skill=_if_taught(case.site, "open"),
        station="opening",
        strict=True,
        why="shipment arrives; keep time in the bag short (details on the receiving-day run sheet)",
    )
    acclimate = replace(
        base,
        uid=f"{batch.id}/acclimation",
        kind="acclimation",
        title=f"Acclimate {batch.name}",
        latest=days_after(landed, 6 / 24),
        minutes=_ACCLIMATION_MIN,
        skill=_if_taught(case.site, "acclimate"),
        station="acclimation",
        after=receive.uid,
        lag_min_days=slotted(receive.minutes) / 1440,
        lag_max_days=slotted(receive.minutes) / 1440 + 2 / 24,
        strict=True,
        why="bag water to vat water within the group's limits (steps on the acclimation checklist)",
    )
    return [need for need in (receive, acclimate) if done_of(case, need.uid) is None]


def _if_taught(site: Site, skill: str) -> str:
    """The skill where someone on the farm has it; otherwise anyone may do the work."""
    return skill if any(skill in person.skills for person in site.people.values()) else ""


def _apart(case: Case, dip: Dip, portion: Stay, row: Sequence[Need]) -> datetime | None:
    """When another agent may begin: two days after the end of this one's first bath, planned or recorded (A019)."""
    if row and row[0].opens:
        return days_after(row[0].nominal, AGENTS_APART_D) + timedelta(minutes=slotted(row[0].minutes))
    stem = f"{case.batch.id}/{dip.id}/"
    done = [one.at for one in case.floor.done if one.task.startswith(stem) and portion.vat in one.task.split("/")]
    return days_after(min(done), AGENTS_APART_D) if done else None


def _after_another(need: Need, before: Need | None) -> Need:
    """A first bath that follows the first bath with another agent by two days, wherever that one is placed (A019)."""
    if before is None or not need.opens or need.after:
        return need
    return replace(need, after=before.uid, lag_min_days=AGENTS_APART_D + slotted(before.minutes) / 1440)


def _looked_first(library: Library, needs: Sequence[Need]) -> list[Need]:
    """First baths placed after the first inspection of their portion that is still open (A004, A005, A008)."""
    looks: dict[str, Need] = {}
    for need in needs:
        if (
            need.kind == "inspection"
            and need.opens
            and (need.vat not in looks or need.nominal < looks[need.vat].nominal)
        ):
            looks[need.vat] = need
    rows = []
    for need in needs:
        look = looks.get(need.vat)
        bath = need.kind == "dip" and need.opens and not need.after and not set(library.agents(need.dip)) <= MECHANICAL
        if bath and look is not None and look.nominal <= need.latest and not _follows(needs, look, need):
            lag = min(slotted(look.minutes), LONGEST_PART_MIN) / 1440
            need = replace(need, after=look.uid, lag_min_days=lag)
        rows.append(need)
    return rows


def _follows(needs: Sequence[Need], one: Need, other: Need) -> bool:
    """Whether one need waits for another, directly or by way of others: then that other cannot wait for it."""
    by_uid = {need.uid: need for need in needs}
    while one.after in by_uid:
        one = by_uid[one.after]
        if one.uid == other.uid:
            return True
    return False


def _release_check(case: Case, mine: Sequence[Stay], needs: Sequence[Need], not_before: datetime | None) -> Need:
    baths = [need for need in needs if need.dip]
    last = max(baths, key=lambda need: (need.nominal, need.uid), default=None)
    done = [one.at for one in case.floor.done if one.batch == case.batch.id and one.at >= case.clock.entered]
    bathed = last.nominal if last is not None else max(done, default=None)
    ready = max(case.clock.ends_after(bathed), not_before or case.clock.ends)
    others = not_before is not None and not_before > case.clock.ends_after(bathed)
    shared = ("the last lot to enter the shared water sets the date (S73)",) if others else ()
    scene = Scene(case.site, case.library, case.floor)
    carries = [found.what for found in standing_findings(scene, case.batch, case.floor.at)]
    look = (f"look for {', '.join(carries)} once more and record the lot clean",) if carries else ()
    return replace(
        blank(case, mine[0], sum(stay.count for stay in mine)),
        uid=f"{case.batch.id}/release-check",
        kind="release check",
        title=f"Release check: {case.batch.name}",
        earliest=ready,
        nominal=ready,
        latest=days_after(ready, 3.0),
        minutes=30,
        skill="inspect",
        after=last.uid if last is not None else "",
        lag_min_days=1 / 24 if last is not None else 0.0,
        why="; ".join((*case.clock.why, *shared, *look, "release requires this check, not only the date")),
        evidence=case.group.quarantine.evidence,
        source=case.group.quarantine.source,
        unsourced=case.group.quarantine.unsourced,
    )
