"""The picture of contacts: a bar is marked only from the moment the trace reached it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree as ET

from intake.quarantine.exposure import Presence, meetings, trace
from intake.quarantine.exposure_picture import layout
from intake.report.contacts_chart import contact_bars

DAY = datetime(2027, 3, 1, tzinfo=UTC)
SPACE = "{http://www.w3.org/2000/svg}"


def at(days: float) -> datetime:
    """A moment so many days after the first."""
    return DAY + timedelta(days=days)


def test_a_resident_is_plain_before_and_hatched_after_the_newcomer_enters_its_water() -> None:
    """Twenty days alone, ten together: the bar of the resident changes at two thirds of its length."""
    stays = (Presence("H1", "G1", "growout", at(0)), Presence("S1", "G2", "growout", at(20)))
    reached = trace("S1", meetings(stays, until=at(30)), since=at(20), direction="forward", until=at(30))
    picture = layout(stays, reached, batch="S1", start=at(0), end=at(30))
    root = ET.fromstring(contact_bars(picture, title="Who met S1", first=DAY.date()))
    group = next(g for g in root.iter(f"{SPACE}g") if (g.find(f"{SPACE}title").text or "").startswith("H1"))
    plain, marked = group.findall(f"{SPACE}rect")
    assert plain.get("fill") == "#e4e4e4"
    assert marked.get("fill") == "url(#met)"
    whole = float(plain.get("width", 0)) + float(marked.get("width", 0))
    assert abs(float(plain.get("width", 0)) / whole - 2 / 3) < 0.01
