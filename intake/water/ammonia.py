"""The toxic share of total ammonia, in fresh and in sea water, with the pH scale and the nitrogen unit said aloud."""

from __future__ import annotations

from dataclasses import dataclass

from intake.errors import UnknownName
from intake.water.equilibrium import PH_SCALES, PhScale, ammonium_constant
from intake.water.ranges import PublishedRange, require_between, require_not_negative
from intake.water.salinity import density

__all__ = [
    "FRESH_AMMONIA_SOURCE",
    "SEA_AMMONIA_SOURCE",
    "AmmoniaShare",
    "ammonia_share",
    "as_ph_scale",
    "fresh_ammonia_fraction",
    "nh3_mg_per_l",
    "nh3_n_mg_per_l",
    "sea_ammonia_fraction",
    "tan_mg_per_l",
    "tan_umol_per_kg",
]

FRESH_AMMONIA_SOURCE = "Emerson et al. 1975 (fresh water, 0 to 50 C)"
SEA_AMMONIA_SOURCE = "Clegg & Whitfield 1995 (sea water, S 0 to 40, -2 to 40 C), per kg sea water"
#: g/mol, standard atomic weights (IUPAC).
NITROGEN_G_PER_MOL = 14.007
AMMONIA_G_PER_MOL = 17.031

_FRESH_T = PublishedRange("temperature in °C", 0.0, 50.0, "Emerson et al. 1975")
_SEA_T = PublishedRange("temperature in °C", -2.0, 40.0, "Clegg & Whitfield 1995")
_SEA_S = PublishedRange("salinity (PSS-78)", 0.0, 40.0, "Clegg & Whitfield 1995")
_NBS_S = PublishedRange(
    "salinity (PSS-78) with pH on the NBS scale",
    19.0,
    43.0,
    "no range published for the NBS conversion of Takahashi et al. 1982, uncertain in dilute water; that of Lueker "
    "et al. 2000 is used; read pH on the total scale there",
)


@dataclass(frozen=True, slots=True)
class AmmoniaShare:
    """The toxic share (0 to 1) and the formula it came from."""

    fraction: float
    source: str


def as_ph_scale(name: str) -> PhScale:
    """The pH scale called so.

    Raises
    ------
    UnknownName
        If it is none of nbs, total, seawater, free.
    """
    for scale in PH_SCALES:
        if name.strip().lower() == scale:
            return scale
    raise UnknownName("pH scale", name, PH_SCALES, "pH scale")


def fresh_ammonia_fraction(temperature_c: float, ph: float) -> float:
    """Toxic share (NH3 of total ammonia, 0 to 1) in fresh water.

    Notes
    -----
    pKa = 0.09018 + 2729.92/K, f = 1/(1 + 10^(pKa - pH)), K = t + 273.15; 0 to 50 °C; pH from ordinary buffers.  (A
    public package prints 2727.92, a misprint that adds 1.5 %.)

    Raises
    ------
    OutOfRange
        Outside 0 to 50 °C.
    BadInput
        For a pH outside 0 to 14.

    References
    ----------
    Emerson et al. 1975, J. Fish. Res. Board Can. 32:2379-2383.

    Examples
    --------
    >>> round(fresh_ammonia_fraction(24.0, 8.0), 4)
    0.0502
    """
    _FRESH_T.check(temperature_c)
    require_between("pH", ph, 0.0, 14.0)
    return float(1 / (1 + 10 ** (0.09018 + 2729.92 / (temperature_c + 273.15) - ph)))


def sea_ammonia_fraction(temperature_c: float, salinity_psu: float, ph: float, ph_scale: str) -> float:
    """Toxic share (NH3 of total ammonia, 0 to 1) in sea water; the pH scale has no default on purpose.

    Notes
    -----
    f = K/(K + [H]) with K on the scale of the pH.  At S 35 and 25 °C "pH 8.0" means 0.0537 on the total scale and
    0.0398 on NBS.  The published constant is per kg of pure water; per kg of sea water, as here, it is 3.4 % lower at S 35.

    Raises
    ------
    OutOfRange
        Outside salinity 0 to 40 or -2 to 40 °C, or below salinity 19 with pH on NBS.
    UnknownName
        For the scale.
    BadInput
        For a pH outside 0 to 14.

    References
    ----------
    Clegg & Whitfield 1995, Geochim. Cosmochim. Acta 59:2403-2421, eq. 18.

    Examples
    --------
    >>> round(sea_ammonia_fraction(25.0, 35.0, 8.0, "total"), 4)
    0.0537
    """
    scale = as_ph_scale(ph_scale)
    _SEA_T.check(temperature_c)
    _SEA_S.check(salinity_psu)
    require_between("pH", ph, 0.0, 14.0)
    if scale == "nbs":
        _NBS_S.check(salinity_psu)
    constant = ammonium_constant(temperature_c, salinity_psu, scale)
    return float(constant / (constant + 10**-ph))


def ammonia_share(temperature_c: float, salinity_psu: float, ph: float, ph_scale: str) -> AmmoniaShare:
    """The toxic share with the right formula: Emerson at salinity 0, Clegg & Whitfield in anything salty.

    Notes
    -----
    At salinity 0 the pH scales coincide within a meter's error, so the scale is checked but changes nothing.

    Raises
    ------
    OutOfRange, UnknownName, BadInput
        As in the two formulas.

    References
    ----------
    Emerson et al. 1975; Clegg & Whitfield 1995.
    """
    scale = as_ph_scale(ph_scale)
    if salinity_psu == 0:
        return AmmoniaShare(fresh_ammonia_fraction(temperature_c, ph), FRESH_AMMONIA_SOURCE)
    return AmmoniaShare(sea_ammonia_fraction(temperature_c, salinity_psu, ph, scale), SEA_AMMONIA_SOURCE)


def nh3_n_mg_per_l(fraction: float, tan_n_mg_per_l: float) -> float:
    """Un-ionised ammonia as N, mg/L, from the toxic share and total ammonia as N.

    Raises
    ------
    BadInput
        For a share outside 0 to 1 or a negative concentration.

    References
    ----------
    Definition.
    """
    require_between("toxic share", fraction, 0.0, 1.0)
    return fraction * require_not_negative("total ammonia, mg N/L", tan_n_mg_per_l)


def nh3_mg_per_l(nh3_n: float) -> float:
    """Un-ionised ammonia as NH3, mg/L, from the same as N (times 1.2159).

    References
    ----------
    Standard atomic weights: 17.031/14.007.

    Examples
    --------
    >>> round(nh3_mg_per_l(1.0), 4)
    1.2159
    """
    return nh3_n * AMMONIA_G_PER_MOL / NITROGEN_G_PER_MOL


def tan_umol_per_kg(tan_n_mg_per_l: float, temperature_c: float, salinity_psu: float) -> float:
    """Total ammonia from mg N/L to µmol per kg of water.

    Raises
    ------
    OutOfRange
        Outside the range of the density.

    References
    ----------
    Standard atomic weight of N; TEOS-10 density.

    Examples
    --------
    >>> round(tan_umol_per_kg(2.0, 25.0, 35.0), 2)
    139.53
    """
    return tan_n_mg_per_l / NITROGEN_G_PER_MOL * 1e6 / density(temperature_c, salinity_psu)


def tan_mg_per_l(umol_per_kg: float, temperature_c: float, salinity_psu: float) -> float:
    """Ammonia from µmol per kg of water to mg N/L.

    Raises
    ------
    OutOfRange
        Outside the range of the density.

    References
    ----------
    Standard atomic weight of N; TEOS-10 density.
    """
    return umol_per_kg * NITROGEN_G_PER_MOL * 1e-6 * density(temperature_c, salinity_psu)
