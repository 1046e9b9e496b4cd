"""Commands about the farm's folder: ``init`` and ``check``."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from intake.cli.terminal import as_json, house_of, json_option, say

if TYPE_CHECKING:
    from datetime import datetime

    from intake.app.farm_folder import Checked
    from intake.app.session import House

__all__ = ["check", "init"]


@click.command()
@click.argument("folder", type=click.Path(file_okay=False))
@click.option(
    "--vats", default="", help="Table of vats (workbook or CSV): vat, system, role, length, width, depth, volume."
)
@click.option("--name", default="", help="Name of the farm.")
@click.option("--zone", default="", help="Time zone, such as America/New_York.")
@click.option("--units", type=click.Choice(["si", "us"]), default=None, help="si: m, mm, L; us: inches and gallons.")
@click.option("--person", "people", multiple=True, help="Who works here; the first is the owner. Repeatable.")
@click.option("--supplier", "suppliers", multiple=True, help="Who sends animals. Repeatable.")
@click.option("--currency", default="", help="Currency of the suppliers, such as USD.")
@click.option("--ask/--no-ask", default=None, help="Ask a few questions (default: in a terminal).")
def init(folder: str, ask: bool | None, **told: Any) -> None:
    """Write a new farm into FOLDER: from a few answers and a table of vats, or a commented example to be edited.

    Example: vatside init my-farm

    Example: vatside init my-farm --vats vats.xlsx --units us --zone America/New_York --person Ann
    """
    from intake.app.farm_folder import init as make

    asking = ask if ask is not None else sys.stdin.isatty() and sys.stdout.isatty()
    facts = _asked(told) if asking else told
    written = make(folder, _file_of(facts) if facts["vats"] else None)
    say([f"Saved {path}" for path in written])
    say(["", f"Edit {written[0]}, then run: vatside --farm {folder} check"])


def _asked(told: Mapping[str, Any]) -> dict[str, Any]:
    """The answers given as options, and the others asked; Enter takes what stands in brackets."""
    units = told["units"] or click.prompt("Units, si or us", default="si", type=click.Choice(["si", "us"]))
    measures = "inches and gallons" if units == "us" else "m, m, mm and L"
    people, suppliers = told["people"], told["suppliers"]
    return {
        "name": told["name"] or click.prompt("Name of the farm", default="My farm"),
        "zone": told["zone"]
        or click.prompt("Time zone", default="America/New_York" if units == "us" else "Europe/Lisbon"),
        "units": units,
        "vats": told["vats"]
        or click.prompt(
            f"Table of vats in {measures}: a file (Enter: the example farm)", default="", show_default=False
        ),
        "people": people or _listed(click.prompt("People, parted by commas; the first is the owner", default="Owner")),
        "suppliers": suppliers
        or _listed(click.prompt("Suppliers, parted by commas (Enter: later)", default="", show_default=False)),
        "currency": told["currency"]
        or click.prompt("Currency of the suppliers", default="USD" if units == "us" else "EUR"),
    }


def _listed(text: str) -> tuple[str, ...]:
    return tuple(name for part in text.split(",") if (name := part.strip()))


def _file_of(told: Mapping[str, Any]) -> bytes:
    """The farm file these answers make."""
    from intake.app.input_files import read_file
    from intake.app.new_farm.farm_from_answers import Answers, farm_file, vats_in

    units = told["units"] or "si"
    path = Path(told["vats"])
    answers = Answers(
        name=told["name"] or "My farm",
        time_zone=told["zone"] or "Europe/Lisbon",
        units=units,
        vats=vats_in(read_file(path, "a table of vats"), path.name, units),
        people=tuple(told["people"]) or ("Owner",),
        suppliers=tuple(told["suppliers"]),
        currency=told["currency"] or "EUR",
    )
    return farm_file(answers)


@click.command()
@click.option("--all", "everything", is_flag=True, help="Verify every entry, not only those since the last full check.")
@click.option(
    "--against", default="", metavar="HEAD", help="Head of the ledger as printed on a sheet, claim or backup."
)
@json_option
@click.pass_context
def check(ctx: click.Context, everything: bool, against: str, json_: bool) -> None:
    """Check the farm file, the library and the ledger.

    Every backup and --all prove all entries; without them, those since then.  --against finds entries that were cut
    off or rewritten since the head was printed.

    Promises of accepted plans that no longer hold are listed; they break no rule by themselves.
    Exit 0 when sound, 1 when the ledger does not add up or a rule stands broken,
    2 when a file cannot be read.

    Example: vatside --farm my-farm check --all
    """
    from intake.app.access.farm_certificates import certificate_warnings
    from intake.app.backups.farm_archive import last_copy
    from intake.app.board_links import link_warnings
    from intake.app.calendars.reader_languages import untranslated
    from intake.app.farm_folder import examined
    from intake.app.queries.biosecurity.standing_breaches import breaches_by_vat, standing_breaches
    from intake.app.queries.planning.announced_shipments import overdue, overdue_words
    from intake.app.queries.planning.kept_promises import no_longer_holds
    from intake.app.queries.planning.timetable_warnings import timetable_warnings

    house = house_of(ctx)
    checked = examined(house, everything=everything, against=against)
    faults = checked.faults
    breaches = () if faults else standing_breaches(house)
    floor = house.floor()
    facts = {
        "sound": not faults,
        "head": str(checked.head),
        "looked_at": checked.looked_at,
        "all_proved_at": checked.proved_at.isoformat() if checked.proved_at else house.now.isoformat(),
        "last_backup": copied.isoformat() if (copied := last_copy(house.folder)) else None,
        "farm": house.site.farm.name,
        "systems": len(house.site.systems),
        "vats": len(house.site.vats),
        "groups": len(house.library.groups),
        "entries": house.view.count(),
        "batches": len(floor.batches),
        "alive": sum(house.alive().values()),
        "on_dock": sum(number for (_, place), number in house.alive().items() if place == "dock"),
        "faults": [fault.as_dict() for fault in faults],
        "breaches": [one.as_dict() for one in breaches],
        "no_longer_holds": (broken := [] if faults else no_longer_holds(house)),
        "overdue": list(overdue(house)),
        "timetable": (warned := [] if faults else [*timetable_warnings(house, named=200), *link_warnings(house)]),
        "untranslated": (untold := untranslated(house)),
        "certificates": (ending := certificate_warnings(house.folder, house.now)),
    }
    if json_:
        as_json(facts)
    else:
        say(
            [
                f"{facts['farm']}: {facts['systems']} systems, {facts['vats']} vats, {facts['groups']} husbandry groups",
                f"Books: {facts['entries']} entries, {facts['batches']} batches, {facts['alive']} animals alive"
                + (f", {facts['on_dock']} of them on the dock" if facts["on_dock"] else ""),
                f"Ledger head {checked.head}",
                _proved_words(house, checked),
                _copied_words(house, copied),
                *(f"✗ {fault}" for fault in faults),
                *(f"✗ {line}" for line in breaches_by_vat(breaches)),
                *(f"! {row['words']}" for row in broken),
                *(f"! {words}" for words in overdue_words(house)),
                *(f"! {words}" for words in [*warned, *untold, *ending]),
                "Every animal is accounted for." if not faults else "The ledger does not add up.",
            ]
        )
    if faults or breaches:
        ctx.exit(1)


def _proved_words(house: House, checked: Checked) -> str:
    if checked.proved_at is None:
        return f"Proved now: all {checked.looked_at} entries."
    day = f"{checked.proved_at.astimezone(house.site.farm.zone):%Y-%m-%d %H:%M}"
    return f"Proved now: {checked.looked_at} entries. All earlier ones were proved on {day}; --all proves them again."


def _copied_words(house: House, copied: datetime | None) -> str:
    if copied is None:
        return "! No backup in backups/: make one with vatside backup, and keep one outside this computer."
    hours = (house.now - copied).total_seconds() / 3600
    age = f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"
    return f"{'! ' if hours > 48 else ''}Last backup {age} ago, in backups/."
