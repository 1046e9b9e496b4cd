"""The daily round from the ledger: who walks it, clean water first, what stands in each vat, what is due there today."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.app.board_links import page_address
from intake.app.documents.cautions import ALWAYS
from intake.app.documents.cautions.printed_dangers import breach_lines, emergency_of, kills_in, kills_of
from intake.app.documents.weekly.returned.form_origin import form_subject
from intake.app.documents.weekly.vat_label_paper import vat_danger
from intake.app.documents.weekly.work_calendar import kind_words, order_words, told_state
from intake.app.output_files import save
from intake.app.queries.biosecurity.reading_alarms import alarm_lines
from intake.app.queries.planning.landing_work import placed_at
from intake.app.queries.planning.published_timetable import contact_words, disposal_of, shown_tasks, state_at
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch, Stay
from intake.farm.site import System
from intake.language import in_figures, phrase
from intake.quarantine.daily.settling import care_lines

if TYPE_CHECKING:
    from forms import RoundDue, RoundLot, RoundStop, RoundVat

__all__ = ["print_round"]

_ROUND = "death round"
_BARRIER = phrase("Gloves off and new ones; wash hands, boots and sleeves; nets of this system only.")


def print_round(
    farm: House, out: Path, batches: Sequence[Batch], paper: str, *, fillable: bool = False, own: bool = True
) -> list[Path]:
    """Print today's round, a sheet for each person who walks: clean water first, then the oldest lot to the newest.

    Each is in the language of who walks it where ``own``, else in the farm's as it is given.

    Raises
    ------
    BadInput
        No animals anywhere.
    """
    import forms as page

    del batches
    stops = _stops(farm)
    if not stops:
        raise BadInput(Finding("print round", "no animals", "animals in the vats"))
    tasks = _today(farm)
    walkers = _walkers(farm, [system for _, system, _ in stops], tasks)
    contents = []
    units = (farm.site.farm.measures.unit("temperature_c"), farm.site.farm.measures.unit("salinity_psu"))
    for who, systems in walkers.items():
        house = farm.speaking(farm.site.language_of(who)) if own else farm
        stops, language = _stops(house), house.language
        mine = tuple(stop for _, system, stop in stops if system.id in systems)
        vats = [vat for system in systems for vat in house.site.vats_of(system)]
        here = [house.floor().batches[stay.batch] for vat in vats for stay in house.floor().in_vat(vat.id)]
        kills = _kills(house, mine, here)
        content = page.RoundContent(
            house.site.farm.name, language.day(house.today, "%a %d %b %Y"), mine, _name(house, who), _hours(house, who),
            page_address(house, "/"), _printed(house), kills[:2], _warnings(house, here, kills[2:]), emergency_of(house),
            *units, language=language,
        )  # fmt: skip
        contents.append(in_figures(house.site.farm.measures.content(content), house.language))
    data = page.round_sheets(contents, paper, fillable=fillable, subject=form_subject("round", farm.now))
    return [save(out / f"round-{farm.today}.pdf", data)]


def _printed(house: House) -> str:
    moment = house.language.day(house.now.astimezone(house.site.farm.zone), "%a %d %b %H:%M")
    return house.language.say("printed {moment}", moment=moment)


def _kills(house: House, stops: Sequence[RoundStop], here: Sequence[Batch]) -> tuple[Any, ...]:
    """What can kill on this round, gravest first, the vats named in which it is; the strip has room for two."""
    from dataclasses import replace

    lethal = kills_in(house, [batch.group for batch in here])
    named = []
    for one in lethal:
        vats = [vat.vat for stop in stops for vat in stop.vats if vat.danger and vat.danger.mark == one.mark]
        named.append(replace(one, head=f"{one.head.rstrip('.')}: {', '.join(vats)}."))
    return (*named, *(one for one in kills_of(house, here, most=9) if one not in lethal))


def _warnings(house: House, here: Sequence[Batch], more: Sequence[Any]) -> str:
    told = [
        *(f"{one.head} {one.words}" for one in more),
        *alarm_lines(house),
        *breach_lines(house, list(dict.fromkeys(here))),
    ]
    return " ".join([*dict.fromkeys(told), *map(house.language.say, ALWAYS)])


def _name(house: House, who: str) -> str:
    return house.site.people[who].name or who if who in house.site.people else who


def _hours(house: House, who: str) -> str:
    person = house.site.people.get(who)
    return f"{person.starts:%H:%M}–{person.ends:%H:%M}" if person else ""


def _today(house: House) -> list[dict[str, Any]]:
    """Work of today that was not dropped, by start."""
    zone, found = house.site.farm.zone, []
    for row in shown_tasks(house).values():
        start = datetime.fromisoformat(str(row["start"])).astimezone(zone)
        if start.date() == house.today and row.get("state", "open") != "dropped":
            found.append((start, str(row["uid"]), dict(row)))
    return [row for _, _, row in sorted(found, key=lambda one: one[:2])]


def _walkers(house: House, systems: Sequence[System], tasks: Sequence[dict[str, Any]]) -> dict[str, list[str]]:
    """Person → the systems of the rounds the timetable gives them today; systems no one is given go to everyone."""
    found: dict[str, list[str]] = {}
    left = [system.id for system in systems]
    for row in tasks:
        if row["kind"] != _ROUND or not row.get("staff"):
            continue
        who = str(row["staff"][0])
        vats = [str(vat) for vat in row.get("vats") or ()]
        walked = {str(row.get("system") or ""), *(house.site.vat(vat).system for vat in vats if vat in house.site.vats)}
        for system in [one for one in left if one in walked]:
            found.setdefault(who, []).append(system)
            left.remove(system)
    if left:
        found["" if found else house.who] = left
    return found


def _stops(house: House) -> list[tuple[tuple[int, datetime], System, RoundStop]]:
    """Systems with animals from clean to dirty: released, quarantine by its newest lot, held last."""
    import forms as page

    floor, due = house.floor(), _due(house)
    stops = []
    for system in house.site.systems.values():
        vats = [(vat.id, list(floor.in_vat(vat.id))) for vat in house.site.vats_of(system.id)]
        vats = [(vat, stays) for vat, stays in vats if stays]
        if not vats:
            continue
        inside = [stay for _, stays in vats for stay in stays]
        held = any(hold.batch in {s.batch for s in inside} and not hold.lifted for hold in floor.holds)
        newest = max(stay.since for stay in inside)
        rank = (2 if held else 1 if system.role == "quarantine" else 0, newest)
        say, days = house.language.say, (house.now - newest).days
        state = say("quarantine, newest lot day {number}", number=days) if rank[0] else say("released")
        state = say("held") if held else state
        barrier = say(_BARRIER) if rank[0] else say("Clean hands, dry nets")
        shown = tuple(_vat(house, vat, stays, due) for vat, stays in vats)
        stops.append((rank, system, page.RoundStop(system.name, state, shown, barrier, system.id)))
    return sorted(stops, key=lambda stop: (stop[0], stop[1].id))


def _vat(house: House, vat: str, stays: Sequence[Stay], due: dict[tuple[str, str], list[RoundDue]]) -> RoundVat:
    import forms as page

    lots: list[RoundLot] = []
    for n, stay in enumerate(stays):
        mine = due.get((vat, stay.batch), []) + (due.get((vat, ""), []) if n == 0 else [])
        say, days = house.language.say, (house.now - stay.since).days
        day = say("day {number}", number=days) if stay.stage == "quarantine" else say(stay.stage)
        name = house.floor().batches[stay.batch].name
        lots.append(page.RoundLot(stay.batch, name, stay.count, day, tuple(mine)))
    return page.RoundVat(vat, tuple(lots), vat_danger(house, vat))


def _due(house: House) -> dict[tuple[str, str], list[RoundDue]]:
    """(vat, batch) → what is due there today with strength, minutes, prescriber, protection and disposal."""
    import forms as page

    found: dict[tuple[str, str], list[RoundDue]] = {}
    for row in _today(house):
        for spot, one in _care(house, row) if row["kind"] == "care" else ():
            found.setdefault(spot, []).append(one)
        if row["kind"] == _ROUND or not row["vat"]:
            continue
        start = datetime.fromisoformat(str(row["start"])).astimezone(house.site.farm.zone)
        batch, dip = str(row["batch"] or ""), str(row.get("dip") or "")
        name = house.floor().batches[batch].name if batch in house.floor().batches else ""
        what, _ = kind_words(row, name)
        language, retell = house.language, house.language.retell
        mark = "" if not row.get("unsourced") or not row.get("strength") else " †"
        after = disposal_of(house, dip)
        parts = (
            f"{retell(str(row.get('strength') or ''))}{mark}", contact_words(row),
            order_words(house, batch, dip), ", ".join(map(retell, row.get("protection") or ())),
            language.say("bath water: {disposal}", disposal=retell(after)) if after else "",
        )  # fmt: skip
        detail = " · ".join(part for part in parts if part)
        done = state_at(row, house.now) == "done"
        words, state = f"{start:%H:%M} {retell(what)}", told_state(house, row)
        one = page.RoundDue(str(row["kind"]), words, detail, state, done, str(row["uid"]))
        found.setdefault((str(row["vat"]), batch), []).append(one)
    return found


def _care(house: House, row: dict[str, Any]) -> Iterator[tuple[tuple[str, str], RoundDue]]:
    """(vat, batch) and what the first weeks after landing ask there today: light, first food, clams' feet."""
    import forms as page

    floor, retell, zone = house.floor(), house.language.retell, house.site.farm.zone
    done, state = state_at(row, house.now) == "done", told_state(house, row)
    for stay in floor.stays:
        batch = floor.batches[stay.batch]
        placed = placed_at(house, batch)
        if placed is None or house.site.vat(stay.vat).system != row["system"]:
            continue
        for line in care_lines(batch, [stay.vat], placed.astimezone(zone), floor, house.library):
            if line.day == house.today:
                words = f"{retell(line.words)}{' †' if line.unsourced else ''}"
                yield (stay.vat, stay.batch), page.RoundDue("care", words, "", state, done)
