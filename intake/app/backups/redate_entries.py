"""Dating again what was recorded with a clock that stood ahead: nothing is lost, and the farm can go on."""

from __future__ import annotations

from datetime import timedelta

from intake.app.act_recording import Recorded
from intake.app.session import Act, House
from intake.errors import Finding, Refused
from intake.ledger import Entry, Movement, counter
from intake.ledger.clock_ahead import CLOCK, span_payload
from intake.ledger.conservation import CLOCK_SLACK

__all__ = ["ahead", "redate_entries"]


def ahead(house: House) -> tuple[Entry, ...]:
    """Entries recorded later than this computer's clock says it is, and not called wrong yet."""
    return house.view.recorded_after(house.now + CLOCK_SLACK)


def redate_entries(house: House) -> Recorded:
    """Take back what was recorded with a clock ahead and record it as of now, in the same order.

    Raises
    ------
    Refused
        No entry is ahead of this computer's clock.
    """
    wrong = ahead(house)
    if not wrong:
        raise Refused(
            Finding("clock", f"{house.now:%Y-%m-%d %H:%M}", "entries recorded later than that", "Nothing to do.")
        )
    corrected = {entry.corrects for entry in house.corrections(entry.key for entry in wrong)}
    since = min(entry.recorded_at for entry in wrong)
    until = max(entry.recorded_at for entry in wrong)
    keys = []
    with house.act() as act:
        span = (max(since, house.now + CLOCK_SLACK + timedelta(microseconds=1)), until)
        keys.append(act.note(CLOCK, "recorded times", span_payload(span)))
        for entry in wrong:
            if entry.corrects is None and entry.key not in corrected:
                keys.append(_again(house, act, entry))
    zone = house.site.farm.zone
    told = f"{len(wrong)} entries were recorded with a clock at {since.astimezone(zone):%Y-%m-%d %H:%M} and later"
    return Recorded((f"{told}; they are dated {house.now.astimezone(zone):%Y-%m-%d %H:%M} now",), tuple(keys))


def _again(house: House, act: Act, entry: Entry) -> str:
    """Take one entry back at its own moment and write the same words at this one."""
    if isinstance(entry, Movement):
        back = counter(entry, at=house.now, who=house.who, key="-")
        act.move(
            back.batch, back.source, back.target, back.count, at=entry.happened_at, note=back.note, corrects=entry.key
        )
        return act.move(
            entry.batch, entry.source, entry.target, entry.count, note=f"{entry.note} (dated again)".strip()
        )
    act.note(entry.kind, entry.subject, {**entry.payload, "withdrawn": True}, at=entry.happened_at, corrects=entry.key)
    return act.note(entry.kind, entry.subject, entry.payload)
