"""The command of the season: what to order from whom, how many, landing when, with the gap that is left."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from intake.cli.terminal import as_json, house_of, json_option, progress, say, stoppable, table

if TYPE_CHECKING:
    from intake.season import OrderPlan, Season, Worth

__all__ = ["season", "water_lines"]


@click.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--seconds", default=30.0, show_default=True, help="Search time limit, s.")
@click.option(
    "--worth", is_flag=True, help="Also what one more water, as much grow-out and one more week would be worth."
)
@json_option
@click.pass_context
def season(ctx: click.Context, file: str, seconds: float, worth: bool, json_: bool) -> None:
    """Plan orders of a season from FILE: prices, sales, suppliers' terms (TOML).

    Room is the farm's, with what is in it now.  Nothing is kept.

    Example: vatside season season.toml --worth
    """
    from intake.app.queries.season.season_question import order_rows, read_season, season_of
    from intake.errors import BadInput, Finding
    from intake.season import solve_orders, worth_of

    if not 0 < seconds <= 3600:
        raise BadInput(Finding("--seconds", f"{seconds:g}", "more than 0 and at most 3600"))
    house = house_of(ctx)
    question, assumed = season_of(house, read_season(Path(file)))
    with stoppable() as stop:
        plan = solve_orders(question, seconds=seconds, report=lambda *told: _told(*told, quiet=json_) or stop())
    more = worth_of(question, plan, area_m2=_usual_area(question), seconds=seconds / 3) if worth else ()
    rows = order_rows(house, plan)
    if json_:
        as_json(_plain(plan, rows, more, assumed))
        return
    progress("")
    _show(question, plan, rows, more, assumed)


def _told(value: float, bound: float, what: str, *, quiet: bool) -> bool:
    if not quiet:
        progress(f"{what}: margin {value:.0f}, at most {bound:.0f}")
    return False


def _usual_area(question: Season) -> float:
    areas = sorted(water.area_m2 for water in question.waters)
    return areas[len(areas) // 2] if areas else 1.0


def _plain(
    plan: OrderPlan, rows: list[dict[str, Any]], more: tuple[Worth, ...], assumed: tuple[str, ...]
) -> dict[str, object]:
    gap = None if plan.gap == float("inf") else round(plan.gap, 4)
    return {
        "margin": round(plan.value, 2),
        "bound": round(plan.bound, 2),
        "gap": gap,
        "proved": plan.proved,
        "landings": rows,
        "lost_sales": [{"kind": kind, "week": week, "animals": round(count, 1)} for kind, week, count in plan.lost],
        "worth": [{"what": one.what, "value": round(one.value, 2), "low": one.low, "high": one.high} for one in more],
        "assumed": list(assumed),
    }


def water_lines(question: Season, plan: OrderPlan) -> list[str]:
    """Each quarantine water over the weeks: taken, fallow, free; a letter where a supplier's shipment lands."""
    if not question.waters:
        return []
    names = {one.id: chr(ord("A") + number % 26) for number, one in enumerate(question.shippers)}
    lines = []
    for water in question.waters:
        weeks = ["·"] * question.weeks
        stays = [(0, one.release, "█") for one in question.stock if one.water == water.id]
        stays += [(one.week, one.free, names[one.supplier]) for one in plan.landings if water.id in one.waters]
        for start, free, mark in stays:
            for week in range(start, min(question.weeks, free + question.fallow)):
                weeks[week] = "█" if week < free else "░"
            if start < question.weeks:
                weeks[start] = mark
        lines.append(f"{water.id:>12.12} {''.join(weeks)}")
    key = ", ".join(f"{letter} {name} lands" for name, letter in names.items())
    return [f"Quarantine by weeks ({key}; █ taken, ░ fallow, · free):", *lines, ""]


def _show(
    question: Season, plan: OrderPlan, rows: list[dict[str, Any]], more: tuple[Worth, ...], assumed: tuple[str, ...]
) -> None:
    gap = "proved best" if plan.proved else f"no plan exceeds {plan.bound:.0f}: gap {100 * plan.gap:.1f} %"
    landings = "1 landing" if len(rows) == 1 else f"{len(rows)} landings"
    say([f"{landings}, expected margin {plan.value:.0f} ({gap}).", ""])
    shown = [
        (
            row["week_of"], row["supplier"], ", ".join(f"{one['animals']} {one['kind']}" for one in row["lines"]),
            ", ".join(row["waters"]), row["free_week_of"], f"{row['cost']:.0f}",
        )
        for row in rows
    ]  # fmt: skip
    if shown:
        say([*table(("lands, week of", "supplier", "animals", "water", "free, week of", "cost"), shown), ""])
    say(water_lines(question, plan))
    lost: dict[str, float] = {}
    for kind, _, count in plan.lost:
        lost[kind] = lost.get(kind, 0.0) + count
    say([f"Sales not served: {count:.0f} of {kind}." for kind, count in sorted(lost.items()) if count >= 1])
    say([f"Worth of {one.what}: {one.value:.0f} ({one.low:.0f} to {one.high:.0f} by the bounds)." for one in more])
    say(["", *(f"Assumed: {words}." for words in assumed)] if assumed else [])
