"""The dip log from the ledger at a moment: count in that vat at that time, what is recorded with who and when."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.app.documents.cautions import ALWAYS, OXIDISER, cautions_of
from intake.app.documents.cautions.printed_dangers import breach_lines, emergency_of, kills_of
from intake.app.documents.weekly.returned.form_origin import form_subject
from intake.app.documents.weekly.work_calendar import care_tasks, order_words, row_of_work, told_state
from intake.app.output_files import save
from intake.app.queries.planning.published_timetable import disposal_of, state_at
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch
from intake.language import in_figures
from intake.ledger import movements, records, vat_id

if TYPE_CHECKING:
    from forms import DipLogRow

__all__ = ["count_in", "print_dips"]


def print_dips(house: House, out: Path, batches: Sequence[Batch], paper: str, *, fillable: bool = False) -> list[Path]:
    """Print the log of dips and inspections of these batches, in order of time.

    Raises
    ------
    BadInput
        Nothing scheduled and nothing recorded.
    """
    import forms as page

    known = {batch.id: batch for batch in batches}
    work = [task for task in care_tasks(house, known) if not _void(house, task)]
    rows = [_row(house, known[str(task["batch"])], task) for task in work]
    if not rows:
        raise BadInput(Finding("print dips", "no work", "a timetable", "Run `vatside timetable` first."))
    shipments = ", ".join(sorted({b.shipment for b in batches}))
    content = page.DipLogContent(
        house.site.farm.name,
        house.language.say("Dips and inspections {shipments}", shipments=shipments),
        tuple(rows),
        _cautions_by_batch(house, batches),
        kills_of(house, batches),
        emergency_of(house),
        house.language.say("ledger of {moment}", moment=_moment(house)),
        house.language,
    )
    told = in_figures(house.site.farm.measures.content(content), house.language)
    data = page.dip_log(told, paper, fillable=fillable, subject=form_subject("dips", house.now))
    return [save(out / f"dips-{shipments.replace(', ', '-')}.pdf", data)]


def _moment(house: House) -> str:
    return house.language.day(house.now.astimezone(house.site.farm.zone), "%a %d %b %Y %H:%M")


def _row(house: House, batch: Batch, task: Any) -> DipLogRow:
    import forms as page

    start = datetime.fromisoformat(str(task["start"]))
    at = datetime.fromisoformat(str(task["at"])) if task.get("at") else start
    vat, dip = str(task["vat"] or ""), str(task.get("dip") or "")
    after = house.language.retell(disposal_of(house, dip))
    return page.DipLogRow(
        row_of_work(house, task), vat or ", ".join(_vats_at(house, batch.id, min(at, house.now))), batch.id,
        count_in(house, batch.id, vat, min(at, house.now)), told_state(house, task),
        done=state_at(task, house.now) == "done", found=_found(house, batch.id, vat, task), after=after,
        order=order_words(house, batch.id, dip), key=str(task["uid"]),
    )  # fmt: skip


def _void(house: House, task: Any) -> bool:
    """Work that was dropped because none of its animals stood there: nothing to do, and nothing to log."""
    at = min(datetime.fromisoformat(str(task["start"])), house.now)
    gone = state_at(task, house.now) == "dropped"
    return gone and not count_in(house, str(task["batch"]), str(task["vat"] or ""), at)


def count_in(house: House, batch: str, vat: str, at: datetime) -> int | None:
    """Animals of a batch on record in a vat at a moment, in all vats where none is named; None before it came."""
    held: dict[str, int] = {}
    for one in movements(house.stream(batch)):
        if one.batch == batch and one.happened_at <= at:
            for place, sign in ((one.source, -1), (one.target, 1)):
                if vat_id(place):
                    held[vat_id(place)] = held.get(vat_id(place), 0) + sign * one.count
    if not held:
        return None
    return held.get(vat, 0) if vat else sum(held.values())


def _vats_at(house: House, batch: str, at: datetime) -> list[str]:
    return [vat for vat in house.site.vats if (count_in(house, batch, vat, at) or 0) > 0]


def _found(house: House, batch: str, vat: str, task: Any) -> str:
    """What was noted with the task, and findings recorded on its day in that vat."""
    if state_at(task, house.now) != "done":
        return ""
    zone = house.site.farm.zone
    day = datetime.fromisoformat(str(task.get("at") or task["start"])).astimezone(zone).date()
    told = [str(task.get("note") or "")]
    for one in records(house.stream(batch), "finding"):
        same = one.happened_at.astimezone(zone).date() == day and one.payload.get("vat") in ("", None, vat)
        if same and one.happened_at <= house.now and one.payload.get("what"):
            told.append(f"{one.payload['what']}: {one.payload.get('note') or house.language.say('found')}")
    return "; ".join(part for part in told if part) or house.language.say("nothing noted")


def _cautions_by_batch(house: House, batches: Sequence[Batch]) -> tuple[str, ...]:
    """Cautions of several batches, each with the batches it is about; those that always apply last."""
    about: dict[str, list[str]] = {}
    always: list[str] = []
    general = {house.language.say(line) for line in (*ALWAYS, OXIDISER)}
    for batch in batches:
        for line in (*cautions_of(house, [batch]), *breach_lines(house, [batch])):
            if line in general:
                always.append(line)
            else:
                about.setdefault(line, []).append(batch.id)
    return (*(f"{', '.join(ids)}: {line}" for line, ids in about.items()), *dict.fromkeys(always))
