"""Commands about the farm's folder: ``init`` and ``check``."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from intake.cli.terminal import as_json, house_of, json_option, say

if TYPE_CHECKING:
    from datetime import datetime

    from intake.app.farm_folder import Checked
    from intake.app.session import House

__all__ = ["check", "init"]


@click.command()
@click.argument("folder", type=click.Path(file_okay=False))
def init(folder: str) -> None:
    """Write a commented farm into FOLDER, to be edited.

    Example: vatside init my-farm
    """
    from intake.app.farm_folder import init as make

    written = make(folder)
    say([f"Saved {path}" for path in written])
    say(["", f"Edit {written[0]}, then run: vatside --farm {folder} check"])


@click.command()
@click.option("--all", "everything", is_flag=True, help="Prove every entry, not only those since all were last proved.")
@click.option(
    "--against", default="", metavar="HEAD", help="Head of the ledger as printed on a sheet, claim or backup."
)
@json_option
@click.pass_context
def check(ctx: click.Context, everything: bool, against: str, json_: bool) -> None:
    """Check the farm file, the library and the ledger.

    Every backup and --all prove all entries; without them, those since then.  --against finds entries that were cut
    off or told again since the head was printed.

    Promises of accepted plans that no longer hold are listed; they break no rule by themselves.
    Exit 0 when sound, 1 when the ledger does not add up or a rule stands broken,
    2 when a file cannot be read.

    Example: vatside --farm my-farm check --all
    """
    from intake.app.backups.farm_archive import last_copy
    from intake.app.board_links import link_warnings
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
        "alive": sum(stay.count for stay in floor.stays),
        "faults": [fault.as_dict() for fault in faults],
        "breaches": [one.as_dict() for one in breaches],
        "no_longer_holds": (broken := [] if faults else no_longer_holds(house)),
        "overdue": list(overdue(house)),
        "timetable": (warned := [] if faults else [*timetable_warnings(house, named=200), *link_warnings(house)]),
    }
    if json_:
        as_json(facts)
    else:
        say(
            [
                f"{facts['farm']}: {facts['systems']} systems, {facts['vats']} vats, {facts['groups']} husbandry groups",
                f"Books: {facts['entries']} entries, {facts['batches']} batches, {facts['alive']} animals alive",
                f"Ledger head {checked.head}",
                _proved_words(house, checked),
                _copied_words(house, copied),
                *(f"✗ {fault}" for fault in faults),
                *(f"✗ {line}" for line in breaches_by_vat(breaches)),
                *(f"! {row['words']}" for row in broken),
                *(f"! {words}" for words in overdue_words(house)),
                *(f"! {words}" for words in warned),
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
