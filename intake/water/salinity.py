"""Density, and salinity from what people read: hydrometers on their own scale, and conductivity meters."""

from __future__ import annotations

from dataclasses import dataclass

from intake.errors import OutOfRange, UnknownName
from intake.water.ranges import PublishedRange
from intake.water.seawater import conductivity_raw, density_raw, practical_salinity_raw

__all__ = [
    "CONDUCTIVITY_SOURCE",
    "DENSITY_SOURCE",
    "GRAVITY_SCALES",
    "GRAVITY_SOURCE",
    "HYDROMETER_SOURCE",
    "GravityScale",
    "conductivity_ms_per_cm",
    "density",
    "gravity_scale",
    "hydrometer_salinity",
    "salinity_from_conductivity",
    "salinity_from_density",
    "salinity_from_gravity",
    "specific_gravity",
]

DENSITY_SOURCE = "TEOS-10 (gsw), reference salinity, surface; within 0.005 kg/m3 of UNESCO 1983 EOS-80"
GRAVITY_SOURCE = "ratio of TEOS-10 densities at the two temperatures of the scale"
CONDUCTIVITY_SOURCE = "PSS-78 (UNESCO 1983, Tech. Pap. Mar. Sci. 44), gsw; ITS-90 temperature"
HYDROMETER_SOURCE = "TEOS-10 density; soda glass expands 25e-6 per °C (from memory)"
#: Cubic expansion of soda glass per °C (from memory).
GLASS_EXPANSION_PER_C = 25e-6

_DENSITY_T = PublishedRange("temperature in °C", -2.0, 40.0, "UNESCO 1983, EOS-80 range; TEOS-10 covers it")
_DENSITY_S = PublishedRange("salinity (PSS-78)", 0.0, 42.0, "UNESCO 1983, EOS-80 range; TEOS-10 covers it")
_PSS_T = PublishedRange("temperature in °C", -2.0, 35.0, "PSS-78, UNESCO 1983")
_PSS_S = PublishedRange("salinity (PSS-78)", 2.0, 42.0, "PSS-78, UNESCO 1983")


@dataclass(frozen=True, slots=True)
class GravityScale:
    """The two temperatures without which a specific gravity means nothing: of the sample and of the pure water."""

    name: str
    sample_c: float
    water_c: float


_SIXTY_F_IN_C = (60.0 - 32.0) / 1.8
#: The five conventions met on instruments; one and the same 1.025 spans 2.7 PSU over them.
GRAVITY_SCALES: dict[str, GravityScale] = {
    scale.name: scale
    for scale in (
        GravityScale("20C/4C", 20.0, 4.0),
        GravityScale("20C/20C", 20.0, 20.0),
        GravityScale("25C/25C", 25.0, 25.0),
        GravityScale("15C/4C", 15.0, 4.0),
        GravityScale("60F/60F", _SIXTY_F_IN_C, _SIXTY_F_IN_C),
    )
}


def gravity_scale(name: str) -> GravityScale:
    """The scale called so, as marked on the instrument.

    Raises
    ------
    UnknownName
        If no scale is called so; all five are offered.
    """
    try:
        return GRAVITY_SCALES[name.strip().upper().replace("°", "").replace(" ", "")]
    except KeyError:
        raise UnknownName("specific gravity scale", name, GRAVITY_SCALES, "scale") from None


def density(temperature_c: float, salinity_psu: float, pressure_dbar: float = 0.0) -> float:
    """Density of sea water in kg/m³.

    Notes
    -----
    Temperature in-situ on ITS-90, -2 to 40 °C; practical salinity 0 to 42; pressure in dbar below the surface.

    Raises
    ------
    OutOfRange
        Outside those ranges.

    References
    ----------
    TEOS-10 (Roquet et al. 2015), SR = 35.16504/35 × SP.

    Examples
    --------
    >>> round(density(25.0, 35.0), 3)
    1023.343
    """
    _DENSITY_T.check(temperature_c)
    _DENSITY_S.check(salinity_psu)
    return density_raw(temperature_c, salinity_psu, pressure_dbar)


def salinity_from_density(temperature_c: float, density_kg_per_m3: float) -> float:
    """Practical salinity of water of this density at this temperature.

    Raises
    ------
    OutOfRange
        If the density lies outside that of salinity 0 to 42.

    References
    ----------
    TEOS-10 density, inverted by bisection to 1e-9.
    """
    _DENSITY_T.check(temperature_c)
    low, high = _DENSITY_S.low, _DENSITY_S.high
    lightest, heaviest = density_raw(temperature_c, low), density_raw(temperature_c, high)
    if not lightest - 1e-9 <= density_kg_per_m3 <= heaviest + 1e-9:
        quantity = f"density in kg/m³ at {temperature_c:g} °C (salinity 0 to 42)"
        raise OutOfRange(quantity, density_kg_per_m3, round(lightest, 3), round(heaviest, 3), _DENSITY_S.source)
    while high - low > 1e-9:
        middle = (low + high) / 2
        if density_raw(temperature_c, middle) < density_kg_per_m3:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def specific_gravity(salinity_psu: float, scale: str) -> float:
    """What an instrument of this scale shows in this water at the scale's own sample temperature.

    Notes
    -----
    SG(t/tref) = ρ(S, t) / ρ(pure water, tref); practical salinity 0 to 42.

    Raises
    ------
    OutOfRange, UnknownName
        For the salinity and for the scale.

    References
    ----------
    Definition of specific gravity; TEOS-10 densities.

    Examples
    --------
    >>> round(specific_gravity(35.0, "20C/4C"), 5)
    1.02479
    """
    known = gravity_scale(scale)
    return density(known.sample_c, salinity_psu) / density_raw(known.water_c, 0.0)


def salinity_from_gravity(specific_gravity_read: float, scale: str) -> float:
    """Practical salinity from a specific gravity read at the scale's own sample temperature.

    Raises
    ------
    OutOfRange, UnknownName
        For a gravity beyond salinity 0 to 42 and for the scale.

    References
    ----------
    Definition of specific gravity; TEOS-10 densities.

    Examples
    --------
    >>> round(salinity_from_gravity(1.025, "60F/60F"), 1)
    32.6
    """
    known = gravity_scale(scale)
    least, most = specific_gravity(0.0, scale), specific_gravity(42.0, scale)
    if not least - 1e-9 <= specific_gravity_read <= most + 1e-9:
        quantity = f"specific gravity {known.name} (salinity 0 to 42)"
        raise OutOfRange(quantity, specific_gravity_read, round(least, 5), round(most, 5), _DENSITY_S.source)
    return salinity_from_density(known.sample_c, specific_gravity_read * density_raw(known.water_c, 0.0))


def hydrometer_salinity(specific_gravity_read: float, scale: str, water_temperature_c: float) -> float:
    """Practical salinity from a glass hydrometer read in water that is not at its calibration temperature.

    Notes
    -----
    ρ = SG × ρ_water(tref) × (1 - 25e-6 (t - tcal)), tcal the sample temperature of the scale.  Plastic swing-arm
    devices follow no published law and must not be put through this.

    Raises
    ------
    OutOfRange, UnknownName
        For a density beyond salinity 0 to 42, a temperature beyond -2 to 40 °C, and for the scale.

    References
    ----------
    TEOS-10 densities; expansion of soda glass from memory.
    """
    known = gravity_scale(scale)
    glass = 1 - GLASS_EXPANSION_PER_C * (water_temperature_c - known.sample_c)
    return salinity_from_density(water_temperature_c, specific_gravity_read * density_raw(known.water_c, 0.0) * glass)


def salinity_from_conductivity(
    conductivity_ms_per_cm_read: float, temperature_c: float, pressure_dbar: float = 0.0
) -> float:
    """Practical salinity from a meter's raw conductivity in mS/cm (not referred to 25 °C) and its temperature.

    Raises
    ------
    OutOfRange
        Outside -2 to 35 °C or if the salinity comes out beyond 2 to 42.

    References
    ----------
    PSS-78, UNESCO 1983, Technical Papers in Marine Science 44.

    Examples
    --------
    >>> round(salinity_from_conductivity(53.0710, 25.0), 3)
    35.0
    """
    _PSS_T.check(temperature_c)
    return _PSS_S.check(practical_salinity_raw(conductivity_ms_per_cm_read, temperature_c, pressure_dbar))


def conductivity_ms_per_cm(salinity_psu: float, temperature_c: float, pressure_dbar: float = 0.0) -> float:
    """Conductivity a meter should show, in mS/cm at the water's own temperature.

    Raises
    ------
    OutOfRange
        Outside -2 to 35 °C or salinity 2 to 42.

    References
    ----------
    PSS-78, UNESCO 1983, Technical Papers in Marine Science 44.
    """
    _PSS_T.check(temperature_c)
    _PSS_S.check(salinity_psu)
    return conductivity_raw(salinity_psu, temperature_c, pressure_dbar)
