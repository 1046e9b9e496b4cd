"""The owner's farm desk: settings as read, check, backup to download, stock and past shipments taken in, a new person."""

from __future__ import annotations

from typing import Any

from starlette.responses import FileResponse, RedirectResponse, Response

from intake.app.access import people_file
from intake.app.backups.farm_archive import archives, pack
from intake.app.commands.records.take_history import take_history
from intake.app.commands.take_stock import take_stock
from intake.app.farm_folder import examined
from intake.app.output_files import save
from intake.app.queries.biosecurity.standing_breaches import standing_breaches
from intake.app.queries.planning.kept_promises import no_longer_holds
from intake.board.background_jobs import Jobs
from intake.board.pages.keys import act_key
from intake.board.request import Asked, Upload
from intake.errors import BadInput, Finding

__all__ = ["add_person", "back_up", "backup_file", "check", "farm", "history", "stock"]


def farm(asked: Asked) -> Response:
    """The farm as farm.toml has it, how sound the ledger is, and its backups."""
    site, jobs = asked.house.site, _jobs(asked)
    found = archives(asked.house.folder)
    return asked.show(
        "farm.html",
        site=site,
        checked=jobs.last("check"),
        backing=jobs.last("backup"),
        newest=found[max(found)].name if found else "",
        copies=len(found),
        file="farm.toml",
    )


def check(asked: Asked) -> Response:
    """Check farm file, library and ledger, every entry, beside the pages."""
    whole = asked.farm

    def look(tell: Any) -> dict[str, Any]:
        del tell
        house = whole.house()
        found = examined(house)
        breaches = () if found.faults else standing_breaches(house)
        return {
            "faults": [str(one) for one in found.faults],
            "breaches": [one.words for one in breaches],
            "no_longer_holds": [str(row["words"]) for row in no_longer_holds(house)] if not found.faults else [],
            "looked_at": found.looked_at,
            "head": str(found.head),
        }

    return _started(asked, "check", look)


def back_up(asked: Asked) -> Response:
    """Copy the whole farm to one verified archive, beside the pages."""
    folder, now = asked.house.folder, asked.house.now
    return _started(asked, "backup", lambda _: str(pack(folder, now).file.name))


def _started(asked: Asked, kind: str, search: Any) -> Response:
    if _jobs(asked).start(kind, asked.house.now, asked.person, search):
        return RedirectResponse("/farm", 303)
    return asked.go("/farm", "Something else is being calculated. Wait until it finishes.")


def backup_file(asked: Asked) -> Response:
    """The newest archive to keep outside this computer."""
    found = archives(asked.house.folder)
    if not found:
        return asked.show("refused.html", 404, lines=["No backup yet. Make one on the page Farm."], code=404)
    newest = found[max(found)]
    return FileResponse(newest, media_type="application/zip", filename=newest.name)


def stock(asked: Asked) -> Response:
    """Enter what already stands in the vats, once, from a table."""
    upload = _upload(asked)
    batches = take_stock(asked.house, upload.data, upload.name, despite=asked.field("despite"), key=act_key(asked))
    return asked.go("/batches", f"{len(batches)} batches entered.")


def history(asked: Asked) -> Response:
    """Take in past shipments from the owner's own table."""
    upload = _upload(asked)
    file = save(
        asked.house.folder / "inbox" / f"past-{act_key(asked)[:12]}.{_ending(upload.name)}", upload.data, own=True
    )
    told = take_history(
        asked.house, file, supplier=asked.field("supplier"), dates=asked.field("dates"), key=act_key(asked)
    )
    return asked.go("/farm", " ".join(told.said))


def _ending(name: str) -> str:
    ending = name.rpartition(".")[2].lower()
    return ending if ending in ("csv", "xlsx", "ods") else "csv"


def _upload(asked: Asked) -> Upload:
    upload = asked.files.get("file")
    if upload is None or not upload.data:
        raise BadInput(Finding("file", "", "a table: CSV, XLSX or ODS"))
    return upload


def add_person(asked: Asked) -> Response:
    """Add a person to farm.toml; invite a device for them next."""
    identity = people_file.add_person(asked.house, asked.field("id"), asked.field("name"), asked.field("role"))
    return asked.go("/people", f"{identity} added to farm.toml. Invite a device for them next.")


def _jobs(asked: Asked) -> Jobs:
    found: Jobs = asked.request.app.state.jobs
    return found
