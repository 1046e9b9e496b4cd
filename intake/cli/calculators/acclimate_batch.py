"""``vatside acclimate --batch``: the table of a batch, planned beside read, made again from a reading."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from intake.cli.farm_units import now_in

if TYPE_CHECKING:
    from pathlib import Path

    from intake.app.landing.acclimation_course import Course
    from intake.farm.floor import Batch
    from intake.receiving.acclimation import Step

__all__ = ["READ_OPTIONS", "batch_table"]

READ_OPTIONS = frozenset({"minute", "temp", "salinity", "ph", "out"})
"""Options that only make sense for a batch of the farm."""

_READ = {
    "temp": "temperature_c",
    "salinity": "salinity_psu",
    "ph": "ph",
    "tan_n": "tan_n_mg_per_l",
    "from_o2": "o2_mg_per_l",
    "volume_l": "volume_l",
}
_MAY = frozenset({"batch", "ph_scale", "out", "minute", *_READ})


def batch_table(ctx: click.Context, given: dict[str, Any], typed: set[str], *, json_: bool) -> None:
    """Show the table of a batch; with a reading, record it first and print a new checklist."""
    from intake.app.act_recording import batch_named
    from intake.app.documents.landing_papers import print_checklists
    from intake.app.landing.acclimation_course import course_of, log_reading
    from intake.cli.terminal import as_json, house_of

    if typed - _MAY:
        names = ", ".join(f"--{name.replace('_', '-')}" for name in sorted(typed - _MAY))
        message = f"{names}: the farm file and the ledger say this of a batch"
        raise click.UsageError(message)
    house = house_of(ctx)
    batch = batch_named(house.floor(), given["batch"])
    read = {_READ[name]: float(given[name]) for name in _READ if name in typed}
    if read and given["minute"] is None:
        message = "--minute says when it was read"
        raise click.UsageError(message)
    if given["minute"] is None:
        course = course_of(house, batch)
    else:
        course = log_reading(house, batch, given["minute"], read, ph_scale=given["ph_scale"])
    paths: list[Path] = []
    if given["minute"] is not None or given["out"]:
        from pathlib import Path as Folder

        out = Folder(given["out"]) if given["out"] else house.folder / "out"
        paths = print_checklists(house, out, [batch], house.site.farm.paper)
    answer = _answer(batch, course, paths)
    if json_:
        as_json(answer)
    else:
        _print(answer, course)


def _answer(batch: Batch, course: Course, paths: list[Path]) -> dict[str, Any]:
    now = course.now
    return {
        "batch": batch.id,
        "mode": now.mode,
        "reason": now.reason,
        "measured": course.planned.bag.measured,
        "planned": [_row(step) for step in course.planned.steps],
        "logged": [
            {
                "minute": one.minute,
                "at": one.at.isoformat(),
                "who": one.who,
                "read": dict(one.read),
                "ph_scale": one.ph_scale,
                "expected": _row(one.expected),
            }
            for one in course.logged
        ],
        "steps": [_row(step) for step in now.steps],
        "tubs": now.setup.tubs,
        "setup": now.setup.words,
        "water_used_l": round(now.water_used_l, 6),
        "minutes": now.minutes,
        "first_breach": now.first_breach,
        "warnings": list(now.warnings),
        "checklist": [str(path) for path in paths],
    }


def _row(step: Step) -> dict[str, Any]:
    from intake.cli.calculators.step_table_view import as_row

    return as_row(step)


def _print(answer: dict[str, Any], course: Course) -> None:
    from intake.cli.calculators.step_table_view import print_table

    click.echo(f"batch    {answer['batch']}, water of the bag {'read' if answer['measured'] else 'expected, not read'}")
    print_table({**answer, "source": ""}, course.now.steps)
    units = now_in()
    if course.logged:
        click.echo("read at the tub     planned    read  difference")
    for one in course.logged:
        for name, planned, unit in (
            ("temperature_c", one.expected.temperature_c, units.unit("temperature_c")),
            ("salinity_psu", one.expected.salinity_psu, units.unit("salinity_psu").split()[0]),
            ("ph", one.expected.ph_nbs if one.ph_scale == "nbs" else None, f"pH {one.ph_scale}"),
            ("volume_l", one.expected.volume_l, units.unit("volume_l")),
            ("tan_n_mg_per_l", None, "mg N/L"),
        ):
            if name in one.read:
                value, places = units.number(name, one.read[name]), 4 if unit == "SG" else 2
                aim = None if planned is None else units.number(name, planned)
                beside = f"{'–':>8}" if aim is None else f"{aim:8.{places}f}"
                gap = "" if aim is None else f"  {value - aim:+10.{places}f}"
                click.echo(f"  min {one.minute:4d} {unit:8} {beside} {value:7.{places}f}{gap}")
    for path in answer["checklist"]:
        click.echo(f"Saved {path}")
