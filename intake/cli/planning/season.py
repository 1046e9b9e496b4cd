"""The command of the season: what to order from whom, how many, landing when, with the gap that is left."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from intake.cli.terminal import as_json, house_of, json_option, progress, say, stoppable, table

if TYPE_CHECKING:
    from intake.app.queries.season.season_answer import SeasonAnswer
    from intake.app.session import House

__all__ = ["grow_out_lines", "season", "water_lines"]


@click.command()
@click.argument("file", type=click.Path(dir_okay=False), required=False)
@click.option("--seconds", default=30.0, show_default=True, help="Search time limit, s.")
@click.option(
    "--worth", is_flag=True, help="Also what one more water, as much grow-out and one more week would be worth."
)
@click.option("--out", type=click.Path(file_okay=False), default=None, help="Folder for the order plan as PDF.")
@click.option("--paper", default="", help="a4, letter or a3 (default: the farm's).")
@click.option("--picture", type=click.Path(dir_okay=False), default=None, help="File for the season, .svg or .png.")
@click.option("--example", is_flag=True, help="Print an example file to start from.")
@json_option
@click.pass_context
def season(
    ctx: click.Context,
    file: str | None,
    seconds: float,
    worth: bool,
    out: str | None,
    paper: str,
    picture: str | None,
    example: bool,
    json_: bool,
) -> None:
    """Plan orders of a season from FILE: prices, sales, suppliers' terms (TOML).

    Room is the farm's, with what is in it now.  Nothing is kept.

    Example: vatside season season.toml --worth
    """
    from intake.app.documents.plans.plan_picture import check_name
    from intake.app.queries.season.season_answer import plan_season
    from intake.app.queries.season.season_example import EXAMPLE, HOW_TO_START
    from intake.app.queries.season.season_question import read_season
    from intake.errors import BadInput, Finding

    if example:
        click.echo(EXAMPLE, nl=False)
        return
    if file is None:
        raise BadInput(Finding("FILE", "", "a TOML file of what can be sold and each supplier's terms", HOW_TO_START))
    if picture is not None:
        check_name(Path(picture))
    house = house_of(ctx)
    terms = read_season(Path(file))
    with stoppable() as stop:
        answer = plan_season(
            house, terms, seconds=seconds, worth=worth, report=lambda *told: _told(*told, quiet=json_) or stop()
        )
    said = _saved(house, answer, out, paper, picture)
    if json_:
        as_json(answer.as_dict())
    else:
        progress("")
        _show(answer)
        say(["", *said] if said else [])
    if answer.stopped:
        ctx.exit(130)


def _told(value: float, bound: float, what: str, *, quiet: bool) -> bool:
    if not quiet:
        progress(f"{what}: margin {value:.0f}, at most {bound:.0f}")
    return False


def _saved(house: House, answer: SeasonAnswer, out: str | None, paper: str, picture: str | None) -> list[str]:
    """Write paper and picture where they were asked for."""
    said = []
    if out is not None:
        from intake.app.documents.plans.season_paper import print_season

        said.append(f"Saved {print_season(house, answer, Path(out), paper)}")
    if picture is not None:
        from intake.app.documents.plans.season_paper import draw_season

        said.append(f"Saved {draw_season(answer, Path(picture))}")
    return said


_EIGHTHS = "▁▂▃▄▅▆▇█"


def water_lines(answer: SeasonAnswer) -> list[str]:
    """Each quarantine water over the weeks: how full, fallow, free; a letter where a supplier's shipment lands."""
    question = answer.question
    if not question.waters:
        return []
    names = {one.id: chr(ord("A") + number % 26) for number, one in enumerate(question.shippers)}
    lines = []
    for name, row in answer.waters.items():
        weeks = ["░" if one.state == "fallow" else "·" if one.state == "free" else _eighth(one.share) for one in row]
        for landing in answer.plan.landings:
            if name in landing.waters:
                weeks[landing.week] = names[landing.supplier]
        lines.append(f"{name:>12.12} {''.join(weeks)}")
    key = ", ".join(f"{letter} {name} lands" for name, letter in names.items())
    return [f"Quarantine by weeks ({key}; ▁ to █ how full, ░ fallow, · free):", *lines, ""]


def grow_out_lines(answer: SeasonAnswer) -> list[str]:
    """Room in grow-out over the weeks as planned, and the high end of its band; nothing where the season has none to give."""
    room, band = answer.question.grow_out_m2, answer.grow_out
    if not 0 < room < float("inf") or not any(band.planned):
        return []
    rows = (("planned", band.planned), ("1 in 20", band.high))
    lines = [f"{name:>12} {''.join(_eighth(one / room) if one > 0 else '·' for one in row)}" for name, row in rows]
    over = sum(one > room for one in band.high)
    least, most = max(band.planned), max(band.high)
    words = f"At most {least:.1f} of {room:.1f} m² as planned; 1 future in 20 needs {most:.1f} m² or more"
    told = f"{words}, in {over} weeks more than there is." if over else f"{words}."
    return ["Grow-out by weeks, of the room left there (1 in 20: what one future in twenty exceeds):", *lines, told, ""]


def _eighth(share: float | None) -> str:
    return "█" if share is None else _EIGHTHS[min(7, int(8 * share))]


def _show(answer: SeasonAnswer) -> None:
    stopped = ["Stopped: this is the best plan found so far."] if answer.stopped else []
    say([*stopped, f"{answer.headline()} ({answer.proof()}).", ""])
    shown = [
        (
            row["week_of"], row["supplier"], ", ".join(f"{one['animals']} {one['kind']}" for one in row["lines"]),
            ", ".join(row["waters"]), row["free_week_of"], f"{row['cost']:.0f}",
        )
        for row in answer.rows
    ]  # fmt: skip
    if shown:
        say([*table(("lands, week of", "supplier", "animals", "water", "free, week of", "cost"), shown), ""])
    say([*water_lines(answer), *grow_out_lines(answer)])
    say([f"Sales not served: {count:.0f} of {kind}." for kind, count in answer.lost().items()])
    say(
        [
            f"Worth of {one.what}: {one.value:.0f} ({one.low:.0f} to {one.high:.0f} by the bounds)."
            for one in answer.worth
        ]
    )
    say(["", *(f"Assumed: {words}." for words in answer.assumed)] if answer.assumed else [])
