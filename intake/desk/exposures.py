"""Who shared water with whom, and when each lot is free: the books' movements laid over the farm's systems."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from intake.desk.house import House, save
from intake.desk.records import Recorded, batch_named
from intake.desk.records.freedom import healed_at, healing_words, held_words
from intake.desk.records.seen import told_reason
from intake.desk.waters import contacts, replumbings
from intake.desk.work import broken_lags, stays_ahead
from intake.errors import BadInput, Finding, UnknownName
from intake.ledger import netted, standing, vat_id
from intake.plan.framing import HEALING_DAYS
from intake.quarantine import release
from intake.quarantine.exposure import Cleaned, Meeting, Presence, Reached, holds_after, meetings, presences_of, trace
from intake.quarantine.exposure_picture import Picture, layout

if TYPE_CHECKING:
    from forms.contacts import ContactWater
    from forms.drawing import Drawing

__all__ = ["draw_trace", "hold_reached", "presences", "release_rows", "trace_drawing", "trace_picture", "trace_rows"]

Way = Literal["forward", "back"]


def presences(house: House) -> tuple[Presence, ...]:
    """Every stay of every batch in every vat, from the first of its animals in to the last out."""
    held: Counter[tuple[str, str]] = Counter()
    since: dict[tuple[str, str], datetime] = {}
    spans: list[tuple[str, str, datetime, datetime | None]] = []
    for movement in netted(house.entries()):
        for place, number in ((movement.source, -movement.count), (movement.target, movement.count)):
            vat = vat_id(place)
            if vat not in house.site.vats:
                continue
            spot = (movement.batch, vat)
            before = held[spot]
            held[spot] += number
            if before <= 0 < held[spot]:
                since[spot] = movement.happened_at
            elif held[spot] <= 0 < before:
                spans.append((*spot, since.pop(spot), movement.happened_at))
    spans += [(batch, vat, start, None) for (batch, vat), start in since.items()]
    return presences_of(spans, house.site, replumbings(house))


def _met(house: House) -> tuple[tuple[Presence, ...], Sequence[Meeting]]:
    found = presences(house)
    cleaned = [Cleaned(vat_id(r.subject) or r.subject, r.happened_at) for r in standing(house.entries(), "cleaned")]
    vats = {system: [vat.id for vat in house.site.vats_of(system)] for system in house.site.systems}
    return found, meetings(found, cleaned=cleaned, contacts=contacts(house), until=house.now, vats=vats)


def trace_rows(
    house: House, *, batch: str = "", vat: str = "", system: str = "", since: datetime | None = None
) -> list[dict[str, Any]]:
    """Lots that could have infected, or been infected by, a batch or whatever stood in a vat or system.

    Raises
    ------
    BadInput
        Not exactly one of batch, vat and system.
    UnknownName
        No such batch, vat or system.
    """
    if sum(map(bool, (batch, vat, system))) != 1:
        raise BadInput(Finding("trace", "", "exactly one of --batch, --vat, --system"))
    if vat:
        house.site.vat(vat)
    if system and system not in house.site.systems:
        raise UnknownName("--system", system, sorted(house.site.systems), "system")
    floor = house.floor()
    found, met = _met(house)
    if batch:
        batch_named(floor, batch)
        sources = [batch]
    else:
        sources = list(dict.fromkeys(p.batch for p in found if p.vat == vat or p.system == system))
    rows = []
    for one in sources:
        begins = [p.start for p in found if p.batch == one]
        start = since or min(begins, default=house.now)
        for way in ("forward", "back"):
            rows += [
                _row(house, reached, way, one)
                for reached in trace(one, met, since=start, direction=way, until=house.now)
            ]
    return rows


def _row(house: House, reached: Any, way: Way, source: str) -> dict[str, Any]:
    meeting = reached.meeting
    zone = house.site.farm.zone
    return {
        "of": source,
        "direction": "may have passed it on to" if way == "forward" else "may have it from",
        "batch": reached.batch,
        "name": house.floor().batches[reached.batch].name,
        "where": meeting.place,
        "how": meeting.how,
        "steps": reached.steps,
        "through": reached.through,
        "weak": reached.weak,
        "from": f"{meeting.start.astimezone(zone):%Y-%m-%d}",
        "until": f"{meeting.end.astimezone(zone):%Y-%m-%d}",
        "why": meeting.why,
    }


def _healing(house: House, batch: str) -> dict[str, Any]:
    """The answer for cuttings: free once the last of them has healed, unless they are held."""
    floor, zone = house.floor(), house.site.farm.zone
    since = max(stay.since for stay in floor.stays if stay.batch == batch and stay.stage == "healing")
    healed, held = healed_at(since), held_words(house, floor, batch)
    open_ = [*healing_words(house, since), *held]
    return {
        "batch": batch,
        "name": floor.batches[batch].name,
        "earliest": None if held else max(healed, house.now).astimezone(zone).date().isoformat(),
        "releasable": not open_,
        "stands_in_the_way": open_,
        "why": [f"{HEALING_DAYS} d to heal from {since.astimezone(zone):%Y-%m-%d} (default, no source)"],
    }


def trace_picture(house: House, batch: str, *, since: datetime | None = None) -> str:
    """Who met whom, as SVG: the stays of every lot from a little before the batch came, and the ways from it.

    Raises
    ------
    UnknownName
        No such batch.
    """
    return trace_drawing(house, batch, since=since).svg()


def draw_trace(house: House, batch: str, file: Path, *, since: datetime | None = None) -> Path:
    """Write the picture of who met whom to a file.

    Raises
    ------
    UnknownName
        No such batch.
    BadInput
        The file's name ends in neither ``.svg`` nor ``.png`` nor ``.pdf``.
    """
    kind = file.suffix.lower()
    if kind not in {".svg", ".png", ".pdf"}:
        raise BadInput(Finding("--picture", file.name, "a file name that ends in .svg, .png or .pdf"))
    drawing = trace_drawing(house, batch, since=since)
    if kind == ".svg":
        return save(file, drawing.svg().encode())
    return save(file, drawing.png() if kind == ".png" else drawn_page(drawing.png(3), house.now))


def drawn_page(pixels: bytes, moment: datetime) -> bytes:
    """A picture as one page of PDF that A4 holds, upright or across as the picture lies."""
    from PIL import Image

    picture, buffer = Image.open(BytesIO(pixels)), BytesIO()
    made = moment.astimezone(UTC).timetuple()
    long, short = sorted(picture.size, reverse=True)
    per_inch = max(long / _A4_LONG_INCHES, short / _A4_SHORT_INCHES)
    picture.save(buffer, "PDF", resolution=per_inch, creationDate=made, modDate=made)
    return buffer.getvalue()


def trace_drawing(house: House, batch: str, *, since: datetime | None = None) -> Drawing:
    """Who met whom, as a drawing.

    Raises
    ------
    UnknownName
        No such batch.
    """
    from forms.contacts import ContactContent, ContactSign, contacts_drawing

    floor, zone = house.floor(), house.site.farm.zone
    name = batch_named(floor, batch).name
    found, met = _met(house)
    start = (since or _came(house, batch, found)) - _BEFORE
    start = start.astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    reached = trace(batch, met, since=start + _BEFORE, direction="forward", until=house.now)
    picture = layout(found, reached, batch=batch, start=start, end=house.now)
    drawn, left_out = _waters(house, picture, {row.batch: row for row in reached})
    strong = [row.batch for row in reached if not row.weak]
    weak = [row.batch for row in reached if row.weak]
    told = f"Reached: {', '.join(strong) or 'no other lot'}."
    told += f" By tool or person only: {', '.join(weak)}." if weak else ""
    signs = tuple(
        ContactSign(
            (one.at - start) / timedelta(days=1), f"{one.what} seen in {one.vat}, {one.at.astimezone(zone):%d %b}"
        )
        for one in floor.found
        if one.batch == batch and one.what and one.at >= start
    )
    days = max(picture.days, 1.0)
    return contacts_drawing(ContactContent(f"Who met {batch} {name}", told, start.date(), days, drawn, signs, left_out))


_A4_LONG_INCHES, _A4_SHORT_INCHES = 281 / 25.4, 194 / 25.4
"""A4 less 8 mm at each edge, which no office printer reaches."""

_MARK_WORDS = {"asked": "asked about", "reached": "shared its water", "weak": "tool or person only", "": "not reached"}


def _waters(
    house: House, picture: Picture, ways: Mapping[str, Reached]
) -> tuple[tuple[ContactWater, ...], tuple[str, ...]]:
    """Waters with a lot of the trace in them, vats as lanes; and the names of the others."""
    from forms.contacts import ContactBar, ContactLane, ContactWater

    systems = house.site.systems
    drawn, left_out = [], []
    for lane in picture.lanes:
        bars = [bar for bar in picture.bars if lane.first_row <= bar.row <= lane.last_row]
        title = systems[lane.system].name if lane.system in systems else lane.system
        if not any(bar.mark for bar in bars):
            left_out.append(title)
            continue
        vats: dict[str, list[ContactBar]] = {}
        for bar in sorted(bars, key=lambda one: (one.vat, one.from_day, one.batch)):
            way = ways.get(bar.batch)
            words = f"{bar.batch} {house.floor().batches[bar.batch].name}"
            words += f" ← {way.through}" if way is not None and bar.to_day > bar.mark_from_day else ""
            told = f"{bar.batch} in {bar.vat}: {_MARK_WORDS[bar.mark]}" + (f"; {way.meeting.why}" if way else "")
            vats.setdefault(bar.vat, []).append(
                ContactBar(words, told, bar.from_day, bar.to_day, bar.mark, bar.mark_from_day)
            )
        drawn.append(ContactWater(title, tuple(ContactLane(vat, tuple(rows)) for vat, rows in vats.items())))
    return tuple(drawn), tuple(left_out)


_BEFORE = timedelta(days=3)
"""Days drawn before a batch came, so that who left its water just before is seen."""


def _came(house: House, batch: str, found: Sequence[Presence]) -> datetime:
    return min((presence.start for presence in found if presence.batch == batch), default=house.now)


def _forward(house: House, batch: str) -> tuple[Reached, ...]:
    found, met = _met(house)
    return trace(batch, met, since=_came(house, batch, found), direction="forward", until=house.now)


def hold_reached(house: House, batch: str, reason: str, *, key: str = "") -> Recorded:
    """Hold a batch, and every lot in the vats that it may have passed something on to through shared water.

    Raises
    ------
    UnknownName
        No such batch.
    BadInput
        No reason.
    """
    floor = house.floor()
    batch_named(floor, batch)
    told = told_reason(reason)
    present = {stay.batch for stay in floor.stays}
    held = {hold.batch for hold in floor.holds if not hold.lifted}
    rows = holds_after(batch, told, _forward(house, batch))
    fresh = [(lot, why) for lot, why in rows if lot == batch or (lot in present and lot not in held)]
    with house.act(key) as act:
        keys = [act.note("hold", lot, {"batch": lot, "reason": why}) for lot, why in fresh]
    return Recorded(tuple(f"{lot}: held" for lot, _ in fresh), tuple(keys))


def release_rows(house: House, batch: str = "") -> list[dict[str, Any]]:
    """For each lot in quarantine: free when at the earliest, and what still stands in the way.

    Raises
    ------
    UnknownName
        No such batch.
    """
    floor = house.floor()
    if batch:
        batch_named(floor, batch)
    stays, broken = stays_ahead(house), broken_lags(house)
    rows = []
    stages = {stay.batch: stay.stage for stay in floor.stays if stay.stage in {"quarantine", "healing"}}
    for name, stage in stages.items():
        if batch and name != batch:
            continue
        if stage == "healing":
            rows.append(_healing(house, name))
            continue
        told = release(
            floor.batches[name], floor, house.library, house.site, house.now, stays=stays, broken=broken.get(name, ())
        )
        rows.append(
            {
                "batch": name,
                "name": floor.batches[name].name,
                "earliest": told.earliest.isoformat() if told.earliest else None,
                "releasable": told.releasable,
                "stands_in_the_way": list(told.stands_in_the_way),
                "why": list(told.why),
            }
        )
    return rows
