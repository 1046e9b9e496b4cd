"""``journal`` and ``undo``: the last entries with their keys, and the last of them taken back."""

from __future__ import annotations

import sys
from datetime import timedelta
from typing import TYPE_CHECKING

import click

from intake.cli.terminal import as_json, despite_option, house_of, json_option, moment, say

if TYPE_CHECKING:
    from intake.app.queries.overview.journal import JournalAct
    from intake.app.session import House

__all__ = ["journal", "undo"]

_DAYS = 2
_LOOKED_BACK = 7


@click.command()
@click.option("--since", default="", help="From when, farm time: 2027-03-04 or 2027-03-04T08:30 (default: two days).")
@click.option("--by", default="", help="Only what this person recorded (id of farm.toml).")
@json_option
@click.pass_context
def journal(ctx: click.Context, since: str, by: str, json_: bool) -> None:
    """List what was recorded, newest first, each act with the key that undoes it.

    Example: vatside journal --since 2027-03-04
    """
    from intake.app.queries.overview.journal import journal as read

    house = house_of(ctx)
    start = moment(house, since, "--since") or house.now - timedelta(days=_DAYS)
    acts = read(house, start, by)
    if json_:
        as_json([act.as_dict() for act in acts])
        return
    for act in acts:
        say(_lines(house, act))
    if not acts:
        say([f"Nothing was recorded since {start.astimezone(house.site.farm.zone):%Y-%m-%d %H:%M}."])


def _lines(house: House, act: JournalAct) -> list[str]:
    at = f"{act.at.astimezone(house.site.farm.zone):%a %d %b %H:%M}"
    state = "undone" if act.undone else act.key if act.undo else ""
    return [
        f"{at}  {act.who}  {act.words[0]}",
        *(f"    {words}" for words in act.words[1:]),
        *([f"    {state}"] if state else []),
    ]


@click.command()
@click.argument("key", required=False, default="")
@click.option("--yes", is_flag=True, help="Undo the last act without asking.")
@despite_option
@json_option
@click.pass_context
def undo(ctx: click.Context, key: str, yes: bool, despite: str, json_: bool) -> None:
    """Undo the act with this KEY; without one, the last act is shown and undone once that is confirmed.

    The original stays in the ledger; `vatside journal` lists the keys.

    Example: vatside undo
    """
    from intake.app.commands.records.undo_act import undo as take_back
    from intake.app.queries.overview.journal import journal as read
    from intake.errors import BadInput, Finding

    house = house_of(ctx)
    if not key:
        acts = read(house, house.now - timedelta(days=_LOOKED_BACK), house.who)
        last = next((act for act in acts if act.undo and not act.undone), None)
        if last is None:
            words = "See vatside journal for older ones."
            raise BadInput(Finding("KEY", "", f"an act of yours in the last {_LOOKED_BACK} days", words))
        if not json_:
            say(["Your last act that can be undone:", *(f"  {line}" for line in _lines(house, last))])
        sure = yes or (sys.stdin.isatty() and click.confirm("Undo this?", default=False))
        if not sure:
            met = f"not confirmed: {last.words[0]}"
            raise BadInput(
                Finding("undo", met, "--yes, or the key of an act", f"Undo it with: vatside undo {last.key}.")
            )
        key = last.key
    taken = take_back(house, key, whole=True, despite=despite)
    if json_:
        as_json(taken.as_dict())
    else:
        say(taken.said)
