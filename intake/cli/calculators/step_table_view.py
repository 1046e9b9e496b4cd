"""How a step table is shown: as plain data and at 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from intake.cli.farm_units import in_farm_units, now_in

if TYPE_CHECKING:
    from intake.receiving.acclimation import Step

__all__ = ["as_row", "print_table"]


def as_row(step: Step) -> dict[str, Any]:
    """One row as plain data, for ``--json``."""

    def short(value: float | None) -> float | None:
        return None if value is None else round(value, 6)

    return {
        "minute": step.minute,
        "action": step.action,
        "volume_l": short(step.volume_l),
        "temperature_c": short(step.temperature_c),
        "salinity_psu": short(step.salinity_psu),
        "ph_nbs": short(step.ph_nbs),
        "nh3_n_mg_per_l": short(step.nh3_n_mg_per_l),
        "poured_l": short(step.poured_l),
        "o2_mg_per_l": short(step.o2_mg_per_l),
        "tan_n_mg_per_l": short(step.tan_n_mg_per_l),
        "added_l": short(step.added_l),
        "removed_l": short(step.removed_l),
    }


def print_table(answer: dict[str, Any], steps: tuple[Step, ...]) -> None:
    """Print mode, rows, water, limits, notes and source at 80 columns."""
    import textwrap

    def fold(head: str, text: str) -> None:
        click.echo(textwrap.fill(in_farm_units(text), 80, initial_indent=head, subsequent_indent=" " * len(head)))

    fold("mode     ", f"{answer['mode']}: {answer['reason']}")
    units = now_in()
    liters, degrees, salt = units.unit("volume_l"), units.unit("temperature_c"), units.unit("salinity_psu")
    short = "L" if liters == "L" else "gal"
    head = f"{short if short == 'gal' else 'liters':>9} {f'+{short}':>5} {f'-{short}':>5}  {degrees:>5} {salt.split()[0]:>6}"
    click.echo(f"  min{head}  pH NBS  NH3-N mg/L  O2 mg/L")
    for step in steps:
        ph = "-" if step.ph_nbs is None else f"{step.ph_nbs:.2f}"
        toxic = "-" if step.nh3_n_mg_per_l is None else f"{step.nh3_n_mg_per_l:.4f}"
        oxygen = "-" if step.o2_mg_per_l is None else f"{step.o2_mg_per_l:.2f}"
        click.echo(
            f"{step.minute:5d}  {units.figure('volume_l', step.volume_l, 2):>7} {units.figure('volume_l', step.added_l):>5}"
            f" {units.figure('volume_l', step.removed_l):>5}  {units.figure('temperature_c', step.temperature_c, 2):>5}"
            f" {units.figure('salinity_psu', step.salinity_psu, 2):>6}  {ph:>6}  {toxic:>10}  {oxygen:>7}"
        )
        fold("       ", step.action)
    fold("water    ", f"{answer['water_used_l']:.2f} L poured over {answer['minutes']} min, rinsing not counted")
    if answer.get("setup"):
        fold("tubs     ", answer["setup"])
    fold("limits   ", f"passed first at {answer['first_breach']}" if answer["first_breach"] else "none passed")
    for warning in answer["warnings"]:
        fold("note     ", warning)
    if answer["source"]:
        fold("source   ", answer["source"])
