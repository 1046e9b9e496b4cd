"""``vatside water``: the sea-water calculators, usable without a farm."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from intake.cli.farm_units import in_farm_units, now_in
from intake.cli.quantities import ALKALINITY, CM, SALINITY, TEMPERATURE, VOLUME, units_options

__all__ = ["water"]

F = TypeVar("F", bound=Callable[..., Any])

_SCALES = ("20C/4C", "20C/20C", "25C/25C", "15C/4C", "60F/60F")


def _json(command: F) -> F:
    return click.option("--json", "json_", is_flag=True, help="Print the answer as JSON, in SI.")(
        units_options(command)
    )


def _temp(command: F) -> F:
    return click.option(
        "--temp", "temp_c", type=TEMPERATURE, required=True, help="Temperature of the water, °C (or 79F)."
    )(command)


def _salinity(command: F) -> F:
    return click.option("--salinity", type=SALINITY, required=True, help="Salinity, PSU (or 1.0264 SG 60F/60F).")(
        command
    )


def _litres(command: F) -> F:
    return click.option("--litres", type=VOLUME, required=True, help="Volume, L (or 50gal).")(command)


def _tell(json_: bool, lines: list[tuple[str, str]], answer: dict[str, Any]) -> None:
    """Print the answer as JSON, or as aligned lines with the source last, at most 80 columns."""
    if json_:
        from intake.cli.terminal import as_json

        as_json(answer)
        return
    import textwrap

    lines = [*lines, ("source", str(answer["source"]))]
    wide = max(len(name) for name, _ in lines)
    for name, text in lines:
        head = f"{name.ljust(wide)}  "
        told = text if name == "source" else in_farm_units(text)
        click.echo(textwrap.fill(told, 80, initial_indent=head, subsequent_indent=" " * len(head)))


def _density(kg_per_m3: float) -> str:
    """A density for people; in pounds a gallon beside it where the farm measures so."""
    metric = f"{kg_per_m3:.3f} kg/m³"
    if now_in().system != "us":
        return metric
    from intake.units import mass_kg, volume_l

    return f"{kg_per_m3 / 1000 * volume_l('1 gal') / mass_kg('1 lb'):.4f} lb/US gal ({metric})"


def _grams(grams: float, digits: str = ".4g") -> str:
    """A mass for a scale: grams, with ounces beside them where the farm measures so."""
    if now_in().system != "us":
        return f"{grams:{digits}} g"
    from intake.units import mass_kg

    return f"{grams:{digits}} g ({grams / 1000 / mass_kg('1 oz'):.3g} oz)"


@click.group()
def water() -> None:
    """Seawater calculators, each with its source and its range.

    Any figure takes its unit: 79F, 50gal, 24in.  A bare one is in the unit the option
    names, otherwise in °C and PSU, or in the farm's own units; --units us: °F and ppt.

    Example: vatside water oxygen --temp 26 --salinity 35

    Example: vatside water salt --units us --litres 100gal --salinity 35 --temp 77
    """


@water.command()
@_temp
@_salinity
@click.option("--pressure", "pressure_atm", type=float, default=1.0, show_default=True, help="Air pressure, atm.")
@_json
def oxygen(temp_c: float, salinity: float, pressure_atm: float, json_: bool) -> None:
    """Oxygen that water holds in balance with air.

    Example: vatside water oxygen --temp 26 --salinity 35 --json
    """
    from intake.water import oxygen as room

    mass = room.oxygen_mg_per_l(temp_c, salinity, pressure_atm)
    amount = room.oxygen_umol_per_kg(temp_c, salinity, pressure_atm)
    source = f"{room.OXYGEN_MASS_SOURCE}; {room.OXYGEN_AMOUNT_SOURCE}"
    lines = [("oxygen", f"{mass:.3f} mg/L"), ("", f"{amount:.2f} µmol/kg")]
    _tell(json_, lines, {"mg_per_l": mass, "umol_per_kg": amount, "source": source})


@water.command()
@_temp
@_salinity
@_json
def density(temp_c: float, salinity: float, json_: bool) -> None:
    """Density of sea water.

    Example: vatside water density --temp 25 --salinity 35
    """
    from intake.water import salinity as room

    value = room.density(temp_c, salinity)
    _tell(json_, [("density", _density(value))], {"kg_per_m3": value, "source": room.DENSITY_SOURCE})


@water.command()
@click.option("--scale", required=True, help=f"Scale marked on the instrument: {', '.join(_SCALES)}.")
@click.option("--salinity", type=SALINITY, help="Practical salinity, to get the gravity.")
@click.option("--sg", type=float, help="Specific gravity, to get the salinity.")
@click.option(
    "--temp", "temp_c", type=TEMPERATURE, help="Temperature of the sample, °C, if a glass hydrometer is off its own."
)
@_json
def gravity(scale: str, salinity: float | None, sg: float | None, temp_c: float | None, json_: bool) -> None:
    """Specific gravity to salinity, or back, on the scale of the instrument.

    A gravity without its scale means nothing: 1.025 spans 2.7 PSU over the five scales.

    Example: vatside water gravity --scale 20C/4C --sg 1.0248
    """
    from intake.water import salinity as room

    if (salinity is None) == (sg is None):
        message = "give exactly one of --salinity and --sg"
        raise click.UsageError(message)
    source = f"{room.GRAVITY_SOURCE}, scale {room.gravity_scale(scale).name}"
    if sg is None:
        assert salinity is not None  # noqa: S101  # one of the two is given, checked above
        if temp_c is not None:
            message = "--temp corrects a reading: give it with --sg"
            raise click.UsageError(message)
        sg = room.specific_gravity(salinity, scale)
    elif temp_c is not None:
        salinity = room.hydrometer_salinity(sg, scale, temp_c)
        source = f"{source}; {room.HYDROMETER_SOURCE}"
    else:
        salinity = room.salinity_from_gravity(sg, scale)
    lines = [("gravity", f"{sg:.5f} on {room.gravity_scale(scale).name}"), ("salinity", f"{salinity:.2f} PSU")]
    _tell(json_, lines, {"sg": sg, "salinity": salinity, "scale": room.gravity_scale(scale).name, "source": source})


@water.command()
@_temp
@_salinity
@click.option("--ph", type=float, required=True, help="pH as read.")
@click.option("--ph-scale", required=True, help="Scale of that pH: nbs (meters set with ordinary buffers) or total.")
@click.option("--tan-n", "tan_n", type=float, help="Total ammonia as N, mg/L.")
@_json
def ammonia(temp_c: float, salinity: float, ph: float, ph_scale: str, tan_n: float | None, json_: bool) -> None:
    """Toxic share of total ammonia; salinity 0 is fresh water.

    Example: vatside water ammonia --temp 26 --salinity 35 --ph 8.1 --ph-scale nbs --tan-n 0.5
    """
    from intake.water import ammonia as room

    share = room.ammonia_share(temp_c, salinity, ph, ph_scale)
    toxic = None if tan_n is None else room.nh3_n_mg_per_l(share.fraction, tan_n)
    lines = [("toxic share", f"{share.fraction * 100:.3f} %")]
    if toxic is not None:
        lines += [("NH3 as N", f"{toxic:.4f} mg/L"), ("NH3 as NH3", f"{room.nh3_mg_per_l(toxic):.4f} mg/L")]
    answer = {
        "fraction": share.fraction,
        "nh3_n_mg_per_l": toxic,
        "ph_scale": room.as_ph_scale(ph_scale),
        "source": share.source,
    }
    _tell(json_, lines, answer)


@water.command()
@_litres
@_salinity
@_temp
@click.option("--moisture-factor", type=float, default=1.0, show_default=True, help="kg of mix per kg of dry salt.")
@_json
def salt(litres: float, salinity: float, temp_c: float, moisture_factor: float, json_: bool) -> None:
    """Salt and fresh water for a volume of finished sea water.

    Example: vatside water salt --litres 1000 --salinity 35 --temp 25
    """
    from intake.water import dosing as room

    mix = room.salt_for(litres, salinity, temp_c, moisture_factor)
    lines = [
        ("salt", f"{mix.salt_kg:.3f} kg (anhydrous times {moisture_factor:g})"),
        ("fresh water", f"{mix.fresh_water_l:.2f} L at {temp_c:g} °C"),
        ("per liter", _grams(mix.salt_g_per_l, ".3f")),
    ]
    answer = {
        "salt_kg": mix.salt_kg,
        "fresh_water_l": mix.fresh_water_l,
        "salt_g_per_l": mix.salt_g_per_l,
        "source": room.SALT_SOURCE,
    }
    _tell(json_, lines, answer)


@water.command()
@_litres
@click.option("--mg-per-l", type=float, required=True, help="Strength wanted, mg/L (ppm) of active substance.")
@click.option("--active-percent", type=float, default=100.0, show_default=True, help="Active share of the product, %.")
@click.option("--stock-g-per-l", type=float, help="Strength of a stock solution, g/L, to get mL of it.")
@_json
def dose(litres: float, mg_per_l: float, active_percent: float, stock_g_per_l: float | None, json_: bool) -> None:
    """Grams of product for a bath of a given strength, mg/L; no product or dose is suggested.

    Example: vatside water dose --litres 250 --mg-per-l 20 --active-percent 80
    """
    from intake.water import dosing as room

    grams = room.dose_grams(litres, mg_per_l, active_percent)
    answer: dict[str, Any] = {"grams": grams}
    lines = [("product", f"{_grams(grams)} for {litres:g} L at {mg_per_l:g} mg/L")]
    if stock_g_per_l is not None:
        answer["stock_ml"] = room.stock_ml(litres, mg_per_l * 100 / active_percent, stock_g_per_l)
        lines.append(("or stock", f"{answer['stock_ml']:.4g} mL of {stock_g_per_l:g} g/L"))
    _tell(json_, lines, {**answer, "source": room.DOSE_SOURCE})


@water.command()
@_temp
@click.option("--ms-per-cm", type=float, help="Raw conductivity, mS/cm, to get the salinity.")
@click.option("--salinity", type=SALINITY, help="Practical salinity, to get the conductivity.")
@_json
def conductivity(temp_c: float, ms_per_cm: float | None, salinity: float | None, json_: bool) -> None:
    """Raw conductivity (not referred to 25 °C) to salinity, or back.

    Example: vatside water conductivity --temp 25 --ms-per-cm 53.07
    """
    from intake.water import salinity as room

    if (salinity is None) == (ms_per_cm is None):
        message = "give exactly one of --salinity and --ms-per-cm"
        raise click.UsageError(message)
    if ms_per_cm is None:
        assert salinity is not None  # noqa: S101  # one of the two is given, checked above
        ms_per_cm = room.conductivity_ms_per_cm(salinity, temp_c)
    else:
        salinity = room.salinity_from_conductivity(ms_per_cm, temp_c)
    lines = [("conductivity", f"{ms_per_cm:.3f} mS/cm"), ("salinity", f"{salinity:.3f} PSU")]
    _tell(json_, lines, {"ms_per_cm": ms_per_cm, "salinity": salinity, "source": room.CONDUCTIVITY_SOURCE})


@water.command()
@click.argument("parts", nargs=-1, required=True, metavar="LITRES,TEMP,SALINITY...")
@_json
def mix(parts: tuple[str, ...], json_: bool) -> None:
    """Blend waters by mass, each written LITRES,TEMP,SALINITY.

    Example: vatside water mix 200,25,30 50,20,38

    Example: vatside water mix --units us 50gal,77,30 10gal,68,38
    """
    from intake.errors import BadInput, Finding
    from intake.water import mixing as room

    read, findings = [], []
    for text in parts:
        try:
            litres, temp_c, salinity = (
                kind.convert(piece, None, None)
                for kind, piece in zip((VOLUME, TEMPERATURE, SALINITY), text.split(","), strict=True)
            )
        except (ValueError, click.BadParameter):
            expected = "three figures LITRES,TEMP,SALINITY such as 200,25,30 or 50gal,77F,30ppt"
            findings.append(Finding("water to mix", text, expected, "Write all three with commas between them."))
        else:
            read.append(room.Part(litres, temp_c, salinity))
    if findings:
        raise BadInput(findings)
    whole = room.blend(read)
    lines = [
        ("volume", f"{whole.volume_l:.3f} L"),
        ("temperature", f"{whole.temperature_c:.2f} °C"),
        ("salinity", f"{whole.salinity_psu:.3f} PSU"),
    ]
    answer = {
        "litres": whole.volume_l,
        "temp_c": whole.temperature_c,
        "salinity": whole.salinity_psu,
        "source": "mass-weighted blend, TEOS-10 densities, equal heat capacity",
    }
    _tell(json_, lines, answer)


@water.command()
@click.option(
    "--shape", type=click.Choice(["rectangle", "cylinder", "oval", "frustum"]), required=True, help="Shape from above."
)
@click.option("--length-cm", type=CM, help="Length, or diameter (top diameter of a frustum), inside, cm (or 48in).")
@click.option("--width-cm", type=CM, help="Width (bottom diameter of a frustum), inside, cm (or 24in).")
@click.option("--depth-cm", type=CM, required=True, help="Depth of the water, cm (or 12in).")
@_json
def volume(shape: str, length_cm: float | None, width_cm: float | None, depth_cm: float, json_: bool) -> None:
    """Water in a tank from inside measures, in liters (and gallons).

    Example: vatside water volume --shape cylinder --length-cm 120 --depth-cm 60
    """
    from intake.water import dosing as room

    if length_cm is None or (width_cm is None and shape != "cylinder"):
        message = "give --length-cm and, unless the tank is a cylinder, --width-cm"
        raise click.UsageError(message)
    if width_cm is None:
        litres = room.tank_litres_cylinder(length_cm, depth_cm)
    elif shape == "cylinder":
        message = "a cylinder has one diameter: leave --width-cm out, or say --shape oval"
        raise click.UsageError(message)
    else:
        law = {
            "rectangle": room.tank_litres_rectangle,
            "oval": room.tank_litres_oval,
            "frustum": room.tank_litres_frustum,
        }[shape]
        litres = law(length_cm, width_cm, depth_cm)
    _tell(json_, [("volume", f"{litres:.2f} L")], {"litres": litres, "source": "geometry, inside measures"})


@water.command()
@_temp
@_salinity
@click.option("--ph", type=float, required=True, help="pH in the closed bag, as read at once on opening.")
@click.option("--ph-scale", required=True, help="Scale of that pH: nbs or total.")
@click.option("--tan-n", "tan_n", type=float, required=True, help="Total ammonia as N, mg/L.")
@click.option(
    "--alkalinity", type=ALKALINITY, default=2.35, show_default=True, help="Alkalinity, meq/L, without the ammonia."
)
@_json
def bag(temp_c: float, salinity: float, ph: float, ph_scale: str, tan_n: float, alkalinity: float, json_: bool) -> None:
    """What opening a bag does to its pH and its toxic ammonia.

    Example: vatside water bag --temp 25 --salinity 35 --ph 6.6 --ph-scale nbs --tan-n 2
    """
    from intake.water import carbonate as room
    from intake.water.ammonia import tan_umol_per_kg

    packed = room.alkalinity_umol_per_kg(alkalinity, temp_c, salinity)
    excreted = tan_umol_per_kg(tan_n, temp_c, salinity)
    shut = room.water_from_ph(temp_c, salinity, packed + excreted, ph=ph, ph_scale=ph_scale, tan_n_mg_per_l=tan_n)
    rows = room.opened_bag(shut)
    source = f"{room.CARBONATE_SOURCE}; ammonia excreted as NH3; air at {room.AIR_PCO2_UATM:g} µatm CO2"
    if not json_:
        click.echo("excess CO2 lost  pH total  pH NBS  CO2 mg/L  toxic share  NH3-N mg/L")
        for row in rows:
            w = row.water
            click.echo(
                f"{row.share_lost:>14.0%}  {w.ph_total:8.3f}  {w.ph_nbs:6.3f}  {w.co2_mg_per_l:8.2f}"
                f"  {w.nh3_fraction:>11.2%}  {w.nh3_n_mg_per_l:10.4f}"
            )
    stages = [
        {
            "share_lost": row.share_lost,
            "ph_total": row.water.ph_total,
            "ph_nbs": row.water.ph_nbs,
            "co2_mg_per_l": row.water.co2_mg_per_l,
            "fraction": row.water.nh3_fraction,
            "nh3_n_mg_per_l": row.water.nh3_n_mg_per_l,
        }
        for row in rows
    ]
    _tell(json_, [], {"stages": stages, "source": source})
