"""``vatside acclimate``: the step table for one bag, usable without a farm."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from intake.cli.quantities import ALKALINITY, FLOW, GRADIENT, LENGTH, SALINITY, TEMPERATURE, VOLUME, units_options

if TYPE_CHECKING:
    from intake.receiving.acclimation import Acclimation, BagWater, Limits, Load, Mode, Table, TubSetup, VatWater

__all__ = ["acclimate"]

F = TypeVar("F", bound=Callable[..., Any])

_MODES = ("auto", "float", "drip", "overflow", "exchange", "damp")
#: Used where no limit is given (common practice, no source; no published maximum exists).
_NO_ANIMALS = "No animals given: oxygen is that of the water alone. Give --animals, --group and --size-mm."
_DEFAULT_C_PER_H = 1.0
_DEFAULT_PSU_PER_H = 2.0


def _waters(command: F) -> F:
    """Options that describe the bag's water and the vat's."""
    for option in reversed(
        (
            click.option("--volume-l", type=VOLUME, default=1.0, show_default=True, help="Water in the bag or tub, L."),
            click.option(
                "--from-temp", type=TEMPERATURE, help="Temperature in the bag, °C (both temperatures or neither)."
            ),
            click.option("--to-temp", type=TEMPERATURE, help="Temperature in the vat, °C."),
            click.option("--from-salinity", type=SALINITY, help="Salinity in the bag, PSU (both or neither)."),
            click.option("--to-salinity", type=SALINITY, help="Salinity in the vat, PSU."),
            click.option("--from-ph", type=float, help="pH in the bag (both or neither; neither: no chemistry)."),
            click.option("--to-ph", type=float, help="pH in the vat."),
            click.option("--ph-scale", default="nbs", show_default=True, help="Scale of both: nbs or total."),
            click.option("--tan-n", type=float, default=0.0, show_default=True, help="Ammonia in the bag, mg N/L."),
            click.option(
                "--alkalinity", type=ALKALINITY, default=2.35, show_default=True, help="Vat alkalinity, meq/L."
            ),
            click.option("--hours-in-bag", type=float, default=0.0, show_default=True, help="Hours since packing."),
            click.option("--from-o2", type=float, help="Oxygen in the bag, mg/L (default 0.9 of saturation)."),
            click.option("--animals", type=click.IntRange(min=1), help="Animals in the tubs: they breathe."),
            click.option("--group", default="", help="Husbandry group of --animals, such as clam_small."),
            click.option("--size-mm", type=LENGTH, help="Size of one of --animals, mm."),
            click.option("--bags", type=click.IntRange(min=1), default=1, show_default=True, help="Bags they came in."),
            click.option("--tub-l", type=VOLUME, default=20.0, show_default=True, help="What one tub holds, L."),
            click.option(
                "--room", type=TEMPERATURE, help="Temperature of the room, °C (default: no heat is lost to it)."
            ),
        )
    ):
        command = option(command)
    return command


def _ways(command: F) -> F:
    """Options that bind how it is done."""
    for option in reversed(
        (
            click.option("--drip-l-per-h", type=FLOW, help="Fixed drip rate (default: as fast as the limits allow)."),
            click.option("--fraction", type=float, help="Share exchanged each time, above 0, at most 1."),
            click.option(
                "--every-minutes", type=click.IntRange(min=1), help="Minutes between exchanges (default: as allowed)."
            ),
            click.option("--minutes", type=click.IntRange(min=1), help="Length of a fixed drip, min."),
            click.option(
                "--max-c-per-h",
                type=GRADIENT,
                help="Limit, °C per h, or 1.8F (default 1 °C: common practice, no source).",
            ),
            click.option(
                "--max-psu-per-h", type=float, help="Limit, PSU per h (default 2: common practice, no source)."
            ),
            click.option("--nh3-limit", type=float, default=0.05, show_default=True, help="NH3-N limit, mg/L."),
        )
    ):
        command = option(command)
    return command


def _of_a_batch(command: F) -> F:
    """Options for a batch of the farm and a reading taken mid-way."""
    for option in reversed(
        (
            click.option("--batch", default="", help="Use a batch of the farm instead of entering values."),
            click.option("--minute", type=click.IntRange(min=0), help="Minute of a reading at the tub."),
            click.option("--temp", type=TEMPERATURE, help="Temperature read at that minute, °C."),
            click.option("--salinity", type=SALINITY, help="Read then, PSU."),
            click.option("--ph", type=float, help="Read then, on --ph-scale."),
            click.option("--out", default="", help="Folder for the checklist (default: the farm's out)."),
        )
    ):
        command = option(command)
    return command


@click.command()
@click.option(
    "--mode", type=click.Choice(_MODES), default="auto", show_default=True, help="auto chooses from the numbers."
)
@_waters
@_ways
@_of_a_batch
@units_options
@click.option("--json", "json_", is_flag=True, help="Print the answer as JSON, in SI.")
def acclimate(mode: str, json_: bool, **given: Any) -> None:
    """Step table that takes one bag's animals to the vat within limits.

    A fixed --drip-l-per-h is followed as given and the first limit it passes is
    reported; so is a float without --max-c-per-h, straight in the vat.

    With --batch: the table of a batch of the farm, planned beside read.  With
    --minute and what was read then, the reading is recorded, the rest of the
    table is made again from it, and a new checklist is printed.

    Example: vatside acclimate --mode drip --volume-l 5 --from-temp 24 --to-temp 26
    --from-salinity 32 --to-salinity 35 --from-ph 6.8 --to-ph 8.2 --tan-n 0.3

    Any figure takes its unit: 79F, 2gal, 1.2in, 1.8F.  Bare temperatures and salinities
    are in °C and PSU, or in the farm's own units; --units us: °F and ppt.

    With --animals, --group and --size-mm: tubs sized so that they can breathe.

    Example: vatside acclimate --animals 58 --group clam_small --size-mm 30
    --volume-l 1.5 --bags 4 --from-temp 24 --to-temp 26 --from-ph 6.7 --to-ph 8.2

    Example: vatside acclimate --batch S1-06 --minute 45 --temp 25.1 --salinity 33.9
    """
    from intake.cli.calculators.acclimate_batch import READ_OPTIONS, batch_table

    ctx = click.get_current_context()
    typed = {name for name in given if ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE}
    if given["batch"]:
        batch_table(ctx, given, typed, json_=json_)
        return
    if typed & READ_OPTIONS:
        message = "--minute, --temp, --salinity, --ph and --out go with --batch"
        raise click.UsageError(message)
    from intake.cli.calculators.step_table_view import as_row, print_table
    from intake.receiving.acclimation import NH3_LIMIT_SOURCE
    from intake.water.carbonate import CARBONATE_SOURCE
    from intake.water.floating import FLOAT_SOURCE
    from intake.water.mixing import MIXING_SOURCE

    assumed = _pairs(given)
    if given["minutes"] is not None and given["drip_l_per_h"] is None:
        message = "--minutes ends a drip fixed with --drip-l-per-h"
        raise click.UsageError(message)
    bag, vat, limits = _facts(mode, given)
    load = _load(given)
    made = _made(mode, bag, vat, limits, given) if load is None else _for_animals(mode, (bag, vat, limits), load, given)
    told_mode, reason, table, setup = made
    room = _in_room(given["room"], table, setup, limits)
    sources = [FLOAT_SOURCE if told_mode == "float_then_transfer" else MIXING_SOURCE]
    if table.steps[0].ph_nbs is not None:
        sources += [CARBONATE_SOURCE, NH3_LIMIT_SOURCE]
    answer = {
        "mode": told_mode,
        "reason": reason,
        "steps": [as_row(step) for step in table.steps],
        "water_used_l": round(table.water_used_l, 6),
        "minutes": table.minutes,
        "first_breach": table.first_breach,
        "warnings": [*assumed, *([] if load else [_NO_ANIMALS]), *room],
        "room_c": given["room"],
        "tubs": setup.tubs,
        "setup": setup.words if load else "",
        "source": "; ".join(sources),
    }
    if json_:
        from intake.cli.terminal import as_json

        as_json(answer)
    else:
        print_table(answer, table.steps)


def _in_room(room_c: float | None, table: Table, setup: TubSetup, limits: Limits) -> list[str]:
    """The table's warnings; with a room, which one it was made for and what it does to tub or bag."""
    from intake.receiving.acclimation import Tub
    from intake.receiving.acclimation.choice import in_the_room

    if room_c is None:
        return list(table.warnings)
    told = in_the_room(table, setup, Tub(room_c=room_c), limits.max_c_per_h)
    return [f"Room at {room_c:g} °C, as given with --room.", *told]


def _facts(mode: str, given: dict[str, Any]) -> tuple[BagWater, VatWater, Limits]:
    from intake.receiving.acclimation import BagWater, Limits, VatWater

    scale = given["ph_scale"]
    bag = BagWater(
        given["from_temp"],
        given["from_salinity"],
        given["from_ph"],
        scale,
        given["tan_n"],
        given["volume_l"],
        given["hours_in_bag"],
        damp=mode == "damp",
        o2_mg_per_l=given["from_o2"],
    )
    vat = VatWater(given["to_temp"], given["to_salinity"], given["to_ph"], scale, given["alkalinity"])
    limits = Limits(
        _or(given["max_c_per_h"], _DEFAULT_C_PER_H),
        _or(given["max_psu_per_h"], _DEFAULT_PSU_PER_H),
        nh3_n_mg_per_l=given["nh3_limit"],
    )
    return bag, vat, limits


def _pairs(given: dict[str, Any]) -> list[str]:
    """Fill in a pair of which neither was given, and say so; refuse half a pair."""
    assumed = []
    for what, default, unit in (("temp", 25.0, "°C"), ("salinity", 35.0, "PSU"), ("ph", None, "")):
        ends = given[f"from_{what}"], given[f"to_{what}"]
        if (ends[0] is None) != (ends[1] is None):
            message = f"give both --from-{what} and --to-{what}, or neither"
            raise click.UsageError(message)
        if ends[0] is None and default is not None:
            given[f"from_{what}"] = given[f"to_{what}"] = default
            assumed.append(f"No {what} given: taken as {default:g} {unit} in bag and vat.")
    return assumed


def _or(value: float | None, default: float) -> float:
    return default if value is None else value


def _load(given: dict[str, Any]) -> Load | None:
    """The animals, where they were given; refuse half of them."""
    asked = given["animals"], given["group"], given["size_mm"]
    if not any(asked):
        return None
    if not all(asked):
        message = "give --animals, --group and --size-mm together, or none"
        raise click.UsageError(message)
    from intake import library
    from intake.receiving.acclimation import load_of

    group = library.load().group(given["group"], "--group")
    return load_of(group, given["size_mm"], given["animals"], given["bags"])


_Made = tuple[str, str, "Table", "TubSetup"]
_ROOM_MODES: dict[str, Mode] = {
    "float": "float_then_transfer",
    "damp": "damp_direct",
    "drip": "drip",
    "overflow": "overflow",
    "exchange": "exchange",
}


def _table_of(answer: Acclimation) -> _Made:
    from intake.receiving.acclimation import Table

    table = Table(answer.steps, answer.water_used_l, answer.minutes, answer.first_breach, answer.warnings)
    return answer.mode, answer.reason, table, answer.setup


def _for_animals(mode: str, waters: tuple[BagWater, VatWater, Limits], load: Load, given: dict[str, Any]) -> _Made:
    """Tubs sized for the animals; a table in which they cannot breathe is refused with the liters they need."""
    from intake.errors import Finding, Refused
    from intake.receiving import acclimation as room

    tub = room.Tub(given["tub_l"], room_c=given["room"])
    if mode == "auto":
        made = _table_of(room.choose(*waters, load, tub))
    elif given["drip_l_per_h"] is None:
        made = _table_of(room.as_asked(_ROOM_MODES[mode], *waters, load, tub))
    else:
        litres = load.bags * waters[0].volume_l
        dripped = room.drip if mode == "drip" else room.overflow
        inside = room.Inside(litres, litres, load, tub)
        table = dripped(*waters, given["drip_l_per_h"], given["minutes"], inside=inside)
        made = mode, f"Asked for: {mode}.", table, room.TubSetup(1, litres, load.animals, 1, 2.0)
    breach = made[2].first_breach
    if breach is not None and "oxygen" in breach:
        warmest, saltiest = (max(getattr(waters[0], name), getattr(waters[1], name))
                             for name in ("temperature_c", "salinity_psu"))  # fmt: skip
        need = room.litres_needed(load, tub, warmest, saltiest)
        raise Refused(
            Finding("tub", breach, f"at least {need:.0f} L with air for these animals", "Leave out --drip-l-per-h.")
        )
    return made


def _made(mode: str, bag: BagWater, vat: VatWater, limits: Limits, given: dict[str, Any]) -> _Made:
    """The mode as the room calls it, why, the table, and no tubs: no one said what is in them."""
    from intake.receiving import acclimation as room

    why, none = f"Asked for: {mode}.", room.TubSetup()
    if mode == "auto":
        return _table_of(room.choose(bag, vat, limits, tub=room.Tub(room_c=given["room"])))
    if mode == "float":
        plain = given["max_c_per_h"] is None
        table = (
            room.float_plain(bag, vat, limits, given["room"])
            if plain
            else room.float_then_transfer(bag, vat, limits, float("inf"), room_c=given["room"])
        )
        return "float_then_transfer", why, table, none
    if mode == "damp":
        return "damp_direct", why, room.damp_direct(bag, vat, limits), none
    if mode == "exchange":
        return mode, why, room.exchange(bag, vat, limits, given["fraction"], given["every_minutes"]), none
    dripped = room.drip if mode == "drip" else room.overflow
    return mode, why, dripped(bag, vat, limits, given["drip_l_per_h"], given["minutes"]), none
