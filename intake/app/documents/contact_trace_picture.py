"""The trace of a batch through shared waters, drawn."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from intake.app.act_recording import batch_named
from intake.app.output_files import save
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.quarantine.exposure import Reached, trace
from intake.quarantine.exposure_picture import Picture, layout

if TYPE_CHECKING:
    from forms.charts.contact_chart import ContactWater
    from forms.charts.drawing import Drawing
from intake.app.queries.biosecurity.contact_tracing import first_seen, presences, shared_water_meetings

__all__ = ["draw_trace", "drawn_waters", "trace_drawing", "trace_picture"]


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
    from forms.charts.contact_chart import ContactContent, ContactSign, contacts_drawing

    floor, zone = house.floor(), house.site.farm.zone
    name = batch_named(floor, batch).name
    start = (since or first_seen(house, batch, presences(house, (batch,)))) - _BEFORE
    start = start.astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    found, met = shared_water_meetings(house, (batch,), start)
    reached = trace(batch, met, since=start + _BEFORE, direction="forward", until=house.now)
    picture = layout(found, reached, batch=batch, start=start, end=house.now)
    drawn, left_out = drawn_waters(house, picture, {row.batch: row for row in reached})
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


def drawn_waters(
    house: House, picture: Picture, ways: Mapping[str, Reached]
) -> tuple[tuple[ContactWater, ...], tuple[str, ...]]:
    """Waters with a lot of the trace in them, vats as lanes; and the names of the others."""
    from forms.charts.contact_chart import ContactBar, ContactLane, ContactWater

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
