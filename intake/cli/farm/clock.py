"""The command ``clock``: where the clock stands beside the ledger, and entries made with a clock ahead."""

from __future__ import annotations

import click

from intake.cli.terminal import as_json, json_option, say

__all__ = ["clock"]


@click.command()
@click.option(
    "--right", is_flag=True, help="Confirm this computer's clock; entries dated ahead of it get today's date."
)
@json_option
@click.pass_context
def clock(ctx: click.Context, right: bool, json_: bool) -> None:
    """Compare this computer's clock with the ledger, and date entries again that were made with a clock ahead.

    Nothing is deleted: each such entry is undone and recorded again as of now, in the same order.

    Example: vatside --farm my-farm clock --right
    """
    from intake.app.backups.redate_entries import ahead, redate_entries
    from intake.app.session import open_house

    house = open_house(ctx.obj["farm"], who=ctx.obj["who"], confirmed=ctx.obj.get("today", ""))
    ctx.call_on_close(house.books.close)
    if right:
        done = redate_entries(house)
        as_json(done.as_dict()) if json_ else say(done.said)
        return
    zone, last, found = house.site.farm.zone, house.view.last_recorded(), ahead(house)
    facts = {
        "now": house.now.astimezone(zone).isoformat(timespec="minutes"),
        "last_entry": last.astimezone(zone).isoformat(timespec="minutes") if last else None,
        "ahead": [entry.key for entry in found],
    }
    if json_:
        as_json(facts)
    else:
        say([f"This computer: {facts['now']}", f"Last entry: {facts['last_entry'] or 'none'}"])
        say(
            [f"{len(found)} entries are ahead of this computer's clock; vatside clock --right dates them today."]
            if found
            else []
        )
    if found:
        ctx.exit(1)
