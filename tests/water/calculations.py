"""How each row of the reference table is computed by the water room: one function per quantity."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from intake import units
from intake.water import ammonia, carbonate, dosing, equilibrium, floating, mixing, oxygen, salinity, seawater
from intake.water.equilibrium import PhScale

__all__ = ["CALCULATIONS", "Inputs", "molal_fraction", "numbers", "value_of"]

Inputs = dict[str, float]
FOOT_CM, FOOT3_L, GALLON_L = 30.48, 28.316846592, 3.785411784
POUND_G, OUNCE_G, ACRE_FOOT_L = 453.59237, 28.349523125, 1233481.83754752
PSS_REFERENCE_MS_PER_CM = 42.9140  # C(35, 15, 0), Culkin & Smith 1980


def numbers(text: str) -> Inputs:
    """Read ``T=5 C;S=35`` into a dictionary; words are left out."""
    found = {}
    for name, value in re.findall(r"([A-Za-z_0-9:]+)=(-?[0-9.]+)", text):
        found[name] = float(value)
    return found


def _t90(given: Inputs) -> float:
    """ITS-90 temperature of a row that gives IPTS-68 (published) or ITS-90 (the trap)."""
    if "T90" in given:
        return given["T90"]
    return given["t90"] if "t90" in given else given["T68"] / 1.00024


def _oxygen_mass(given: Inputs, text: str) -> float:
    pressure = 1.0 if "kPa" in text else given.get("P", 1.0)
    return oxygen.oxygen_mg_per_l(given["T"], given["S"], pressure)


def _pss(given: Inputs, _text: str) -> float:
    raw = given["R"] * PSS_REFERENCE_MS_PER_CM
    return seawater.practical_salinity_raw(raw, _t90(given), given["p"])


def _sea_fraction(given: Inputs, text: str) -> float:
    scale = "nbs" if "pH_NBS" in text else "total"
    ph = given["pH_NBS"] if scale == "nbs" else given["pH_T"]
    return ammonia.sea_ammonia_fraction(given["T"], given["S"], ph, scale)


def _molal_fraction(given: Inputs, _text: str) -> float:
    scale: PhScale = "free" if "pH_free" in given else "total"
    constant = equilibrium.ammonium_constant(given["T"], given["S"], scale)
    return molal_fraction(constant, given["S"], given[f"pH_{scale}"])


def molal_fraction(constant: float, salinity_psu: float, ph: float) -> float:
    """Share of NH3 with the constant per kg of pure water, as Clegg & Whitfield print it."""
    molal = constant / (1 - 0.001005 * salinity_psu)
    return molal / (molal + 10**-ph)


def _packing() -> carbonate.SeaWater:
    return carbonate.water_from_pco2(25.0, 35.0, 2300.0, 450.0)


def _arrived() -> carbonate.SeaWater:
    tan = ammonia.tan_umol_per_kg(2.0, 25.0, 35.0)
    return carbonate.water_from_dic(25.0, 35.0, 2300.0 + tan, _packing().dic_umol_per_kg + 1000.0, tan)


def _diluted() -> carbonate.SeaWater:
    return carbonate.mix_waters([(1.0, _arrived()), (1.0, _packing())])


def _aired() -> carbonate.SeaWater:
    mixed = _diluted()
    return carbonate.water_from_pco2(25.0, 35.0, mixed.alkalinity_umol_per_kg, 450.0, mixed.tan_umol_per_kg)


def _implied_ph(given: Inputs) -> float:
    """NBS pH at which a water of TA 2300 µmol/kg with its ammonia holds 95 mg/L of CO2, by halving."""
    alkalinity = 2300.0 + ammonia.tan_umol_per_kg(11.0, given["T"], given["S"])
    low, high = 5.0, 8.0
    for _ in range(40):
        middle = (low + high) / 2
        water = carbonate.water_from_ph(
            given["T"], given["S"], alkalinity, ph=middle, ph_scale="nbs", tan_n_mg_per_l=11.0
        )
        low, high = (middle, high) if water.co2_mg_per_l > 95.0 else (low, middle)
    return low


def _part(water: carbonate.SeaWater, quantity: str) -> float:
    """The figure a row names after its colon."""
    fields = {
        "pH_T": water.ph_total,
        "pH_NBS": water.ph_nbs,
        "pCO2": water.pco2_uatm,
        "DIC": water.dic_umol_per_kg,
        "CO2_mgL": water.co2_mg_per_l,
        "fNH3": water.nh3_fraction,
        "NH3N_mgL": water.nh3_n_mg_per_l,
    }
    return fields[quantity.rsplit(": ", 1)[1]]


def _opened(quantity: str) -> float:
    share = float(quantity.split("opened, ")[1].split("%")[0]) / 100
    return _part(carbonate.opened_bag(_arrived(), [share])[0].water, quantity)


def _headspace(quantity: str, text: str) -> float:
    produced = float(text.split("produced ")[1].split()[0])
    ratio = float(text.split("gas:water=")[1].split(";")[0])
    packed = _packing()
    bag = carbonate.closed_bag(packed, produced_umol_per_l=produced, gas_per_water=ratio, tan_n_mg_per_l=2.0)
    if quantity.endswith("pH_T"):
        return bag.ph_total
    return bag.dic_umol_per_kg - packed.dic_umol_per_kg


def _volume(text: str) -> float:
    return float(text.split("V=")[1].split()[0])


def _goal(text: str) -> tuple[float, float]:
    start, end = re.search(r"(\d+)->(\d+)", text).groups()  # type: ignore[union-attr]
    return float(start), float(end)


def _drip(quantity: str, given: Inputs) -> float:
    law = mixing.growing if "growing" in quantity else mixing.overflowing
    start, incoming = (given["S0"], given["Sin"]) if "S(t)" in quantity else (given["T0"], given["Tin"])
    return law(start, incoming, given.get("V0", given.get("V", 0.0)), given["Q"], given["t"])


def _salt(quantity: str, given: Inputs, text: str) -> float:
    mix = dosing.salt_for(_volume(text), given["SP"], given["T"])
    if quantity.startswith("anhydrous"):
        return mix.salt_kg
    return mix.fresh_water_l if quantity.startswith("fresh") else mix.salt_g_per_l


def _per(units: str) -> float:
    """Grams of one ppm in a unit of volume."""
    volume_l = {"ft3": FOOT3_L, "acre-ft": ACRE_FOOT_L, "gal": GALLON_L, "L": 1.0}[units.split("/")[1]]
    weight_g = {"g": 1.0, "lb": POUND_G, "kg": 1000.0, "oz": OUNCE_G}[units.split("/")[0]]
    return dosing.dose_grams(volume_l, 1.0) / weight_g


def _rectangle(units: str) -> float:
    litres = dosing.tank_litres_rectangle(12 * FOOT_CM, 3 * FOOT_CM, 3 * FOOT_CM)
    return litres / FOOT3_L if units == "ft3" else litres


Calculation = Callable[[str, Inputs, str, str], float]

#: Start of the quantity's text → the room's figure, from (quantity, numbers, inputs as text, units).
CALCULATIONS: dict[str, Calculation] = {
    "O2 saturation": lambda q, g, i, u: _oxygen_mass(g, i),
    "Garcia & Gordon 1992 published check value (Benson-Krause fit)": lambda q, g, i, u: oxygen.oxygen_umol_per_kg(
        g["T"], g["S"]
    ),
    "G&G92": lambda q, g, i, u: oxygen.oxygen_umol_per_kg(g["T"], g["S"]),
    "gsw.O2sol": lambda q, g, i, u: oxygen.oxygen_umol_per_kg(g.get("pt", 0.0) * 1.00024, g["SP"]),
    "EOS-80 density": lambda q, g, i, u: salinity.density(_t90(g), g["S"]),
    "PSS-78": lambda q, g, i, u: _pss(g, i),
    "C(35,15,0)": lambda q, g, i, u: salinity.conductivity_ms_per_cm(g["SP"], _t90(g)),
    "Practical salinity": lambda q, g, i, u: salinity.salinity_from_conductivity(g["C"], g["t90"]),
    "Conductivity of": lambda q, g, i, u: salinity.conductivity_ms_per_cm(g["SP"], g["t90"]),
    "gsw_SP_from_C": lambda q, g, i, u: salinity.salinity_from_conductivity(g["C"], g["t"], g["p"]),
    "Reference salinity": lambda q, g, i, u: seawater.reference_salinity(g["SP"]),
    "TEOS-10 density": lambda q, g, i, u: salinity.density(g["t90"], g["SP"]),
    "Specific gravity": lambda q, g, i, u: salinity.specific_gravity(g["SP"], q.rsplit(" ", 1)[1]),
    "Salinity from SG": lambda q, g, i, u: salinity.salinity_from_gravity(g["SG"], q.rsplit(" ", 1)[1]),
    "un-ionized NH3 fraction freshwater": lambda q, g, i, u: ammonia.fresh_ammonia_fraction(g["T"], g["pH"]),
    "un-ionized NH3 percent freshwater": lambda q, g, i, u: 100 * ammonia.fresh_ammonia_fraction(g["T"], g["pH"]),
    "un-ionized NH3 percent seawater S=34": lambda q, g, i, u: (
        100 * ammonia.sea_ammonia_fraction(g["T"], 34.0, g["pH"], "free")
    ),
    "worked example": lambda q, g, i, u: ammonia.nh3_n_mg_per_l(
        ammonia.fresh_ammonia_fraction(g["T"], g["pH"]), g["TAN"]
    ),
    "un-ionized NH3 fraction Clegg": lambda q, g, i, u: _molal_fraction(g, i),
    "un-ionized NH3 fraction, PyCO2SYS": lambda q, g, i, u: _sea_fraction(g, i),
    "packing water": lambda q, g, i, u: _part(_packing(), q),
    "bag on arrival": lambda q, g, i, u: _part(_arrived(), q),
    "opened": lambda q, g, i, u: _opened(q),
    "bag diluted": lambda q, g, i, u: _part(_diluted(), q),
    "same, then equilibrated": lambda q, g, i, u: _part(_aired(), q),
    "closed bag with headspace": lambda q, g, i, u: _headspace(q, i),
    "pH_T reference": lambda q, g, i, u: carbonate.water_from_dic(25.0, 35.0, g["TA"], g["DIC"], g["TAN"]).ph_total,
    "NH3 reference": lambda q, g, i, u: (
        carbonate.water_from_dic(25.0, 35.0, g["TA"], g["DIC"], g["TAN"]).nh3_fraction * g["TAN"]
    ),
    "cross-check: pH_NBS": lambda q, g, i, u: _implied_ph(g),
    "drip": lambda q, g, i, u: _drip(q, g),
    "growing volume: time": lambda q, g, i, u: mixing.growing_hours(g["Sin"] - g["S0"], 1.0, g["V0"], g["Q"]),
    "overflow: time": lambda q, g, i, u: mixing.overflowing_hours(g["Sin"] - g["S0"], 1.0, g["V"], g["Q"]),
    "overflow: half": lambda q, g, i, u: mixing.overflowing_hours(2.0, 1.0, g["V"], g["Q"]),
    "stepwise 25%": lambda q, g, i, u: mixing.exchanged(g["S0"], g["Sin"], g["f"], int(g["n"])),
    "Newton k": lambda q, g, i, u: floating.floating_rate_per_min(5.0, 2.0, 30.0),
    "floating bag": lambda q, g, i, u: floating.floating(g["T0"], g["Ta"], g["t"], g["k"]),
    "initial rate": lambda q, g, i, u: 5.0 * floating.FLOAT_RATE_PER_MIN * 60,
    "anhydrous": lambda q, g, i, u: _salt(q, g, i),
    "fresh water needed": lambda q, g, i, u: _salt(q, g, i),
    "salt per": lambda q, g, i, u: _salt(q, g, i),
    "salt to raise": lambda q, g, i, u: dosing.salt_to_raise_kg(_volume(i), *_goal(i), g["T"]),
    "fresh water added": lambda q, g, i, u: dosing.fresh_water_to_lower_l(_volume(i), *_goal(i), g["T"]),
    "1 ppm": lambda q, g, i, u: _per(u),
    "1 gallon": lambda q, g, i, u: GALLON_L * salinity.density(15.0, 0.0) / POUND_G,
    "1 acre-foot": lambda q, g, i, u: ACRE_FOOT_L * salinity.density(15.0, 0.0) / POUND_G,
    "ft3 to": lambda q, g, i, u: FOOT3_L / units.volume_l("1", "gal"),
    "dose": lambda q, g, i, u: dosing.dose_grams(units.volume_l("500", "gal"), 25.0),
    "rectangular": lambda q, g, i, u: _rectangle(u),
    "round tank": lambda q, g, i, u: dosing.tank_litres_cylinder(12 * FOOT_CM, 4.5 * FOOT_CM),
    "dose with 80%": lambda q, g, i, u: dosing.dose_grams(250.0, 20.0, 80.0),
    "stock volume": lambda q, g, i, u: dosing.stock_ml(250.0, 5.0, 10.0),
}


def value_of(quantity: str, inputs: str, units: str) -> float:
    """The room's figure for a row; the longest matching start of its quantity decides how.

    Raises
    ------
    KeyError
        If no calculation covers the quantity, so that no row is passed over in silence.
    """
    starts = [start for start in CALCULATIONS if quantity.startswith(start)]
    if not starts:
        raise KeyError(quantity)
    value = CALCULATIONS[max(starts, key=len)](quantity, numbers(inputs), inputs, units)
    assert math.isfinite(value)
    return value
