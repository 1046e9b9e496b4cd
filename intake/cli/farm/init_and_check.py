"""Commands about the farm's folder: ``init`` and ``check``."""

from __future__ import annotations

import click

from intake.cli.terminal import as_json, house_of, json_option, say

__all__ = ["check", "init"]


@click.command()
@click.argument("folder", type=click.Path(file_okay=False))
def init(folder: str) -> None:
    """Write a commented farm into FOLDER, to be edited.

    Example: vatside init my-farm
    """
    from intake.app.farm_folder import init as make

    written = make(folder)
    say([f"wrote {path}" for path in written])
    say(["", f"Edit {written[0]}, then run: vatside --farm {folder} check"])


@click.command()
@json_option
@click.pass_context
def check(ctx: click.Context, json_: bool) -> None:
    """Check the farm file, the library and the books.

    Promises of accepted plans that no longer hold are listed; they break no rule by themselves.
    Exit 0 when sound, 1 when the books do not add up or a rule stands broken,
    2 when a file cannot be read.

    Example: vatside --farm my-farm check
    """
    from intake.app.farm_folder import check_house
    from intake.app.queries.biosecurity.standing_breaches import breaches_by_vat, standing_breaches
    from intake.app.queries.planning.announced_shipments import overdue, overdue_words
    from intake.app.queries.planning.kept_promises import no_longer_holds

    house = house_of(ctx)
    faults = check_house(house)
    breaches = () if faults else standing_breaches(house)
    floor = house.floor()
    facts = {
        "sound": not faults,
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
    }
    if json_:
        as_json(facts)
    else:
        say(
            [
                f"{facts['farm']}: {facts['systems']} systems, {facts['vats']} vats, {facts['groups']} husbandry groups",
                f"Books: {facts['entries']} entries, {facts['batches']} batches, {facts['alive']} animals alive",
                *(f"✗ {fault}" for fault in faults),
                *(f"✗ {line}" for line in breaches_by_vat(breaches)),
                *(f"! {row['words']}" for row in broken),
                *(f"! {words}" for words in overdue_words(house)),
                "Every animal is accounted for." if not faults else "The books do not add up.",
            ]
        )
    if faults or breaches:
        ctx.exit(1)
