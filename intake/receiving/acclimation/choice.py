"""Which way to acclimate a bag, why, and the table made anew when a reading comes in mid-way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from intake.errors import BadInput, Finding
from intake.receiving.acclimation import tables
from intake.receiving.acclimation.breach import first_breach
from intake.receiving.acclimation.ramps import close_enough
from intake.receiving.acclimation.waters import Acclimation, BagWater, Limits, Mode, Step, Table, VatWater
from intake.water.ammonia import ammonia_share

__all__ = ["choose", "recompute", "toxic_ceiling_mg_per_l"]

#: A filling tub is given up for an overflowing one beyond so many bag volumes (design default).
_MOST_BAG_VOLUMES = 4.0
_SHORT_NAME = {
    "float_then_transfer": "match the temperature, then transfer without bag water",
    "drip": "drip",
    "overflow": "drip into an overflowing tub",
    "exchange": "exchange in steps",
    "damp_direct": "rinse and place",
}


def toxic_ceiling_mg_per_l(bag: BagWater, vat: VatWater) -> float | None:
    """NH3-N the bag's ammonia would come to at the vat's pH, which opening the bag leads to; None without a pH.

    Raises
    ------
    OutOfRange
        Outside the ammonia formula, see :func:`intake.water.ammonia.ammonia_share`.

    References
    ----------
    Emerson et al. 1975; Clegg & Whitfield 1995.
    """
    if vat.ph is None:
        return None
    share = ammonia_share(vat.temperature_c, vat.salinity_psu, vat.ph, vat.ph_scale).fraction
    return bag.tan_n_mg_per_l * share


def _toxic_now_mg_per_l(bag: BagWater) -> float | None:
    if bag.ph is None:
        return None
    return bag.tan_n_mg_per_l * ammonia_share(bag.temperature_c, bag.salinity_psu, bag.ph, bag.ph_scale).fraction


def _must_leave(bag: BagWater, limits: Limits, ceiling: float | None) -> str | None:
    """Why the animals must leave their bag water at once, or None."""
    out = "match temperature closed, then transfer without bag water."
    if ceiling is not None and ceiling > limits.nh3_n_mg_per_l:
        now = _toxic_now_mg_per_l(bag)
        was = f" from {now:.3f}" if now is not None else ""
        return (
            f"Once open, {bag.tan_n_mg_per_l:g} mg N/L of ammonia would take un-ionised ammonia{was} to {ceiling:.3f} "
            f"mg N/L, above {limits.nh3_n_mg_per_l:g}: {out}"
        )
    if bag.hours_in_bag >= limits.hours_in_bag_red:
        return f"{bag.hours_in_bag:g} h in the bag is at or past the red {limits.hours_in_bag_red:g} h: {out}"
    if not bag.measured and bag.hours_in_bag >= limits.hours_in_bag_amber:
        return (
            f"{bag.hours_in_bag:g} h in the bag is at or past the amber {limits.hours_in_bag_amber:g} h and its water "
            f"was not read: {out}"
        )
    return None


def _decide(bag: BagWater, vat: VatWater, limits: Limits) -> tuple[Mode, str]:
    """The mode and the sentence that says why."""
    gap_c, gap_psu = abs(vat.temperature_c - bag.temperature_c), abs(vat.salinity_psu - bag.salinity_psu)
    if bag.damp:
        return "damp_direct", f"Packed damp, {gap_c:.1f} °C from the vat: there is no bag water to match."
    ceiling = toxic_ceiling_mg_per_l(bag, vat)
    leave = _must_leave(bag, limits, ceiling)
    if leave is not None:
        return "float_then_transfer", leave
    low = "no pH was given"
    if ceiling is not None:
        low = f"un-ionised ammonia stays at or under {ceiling:.3f} mg N/L, limit {limits.nh3_n_mg_per_l:g}"
    preferred = limits.preferred_mode
    if preferred is not None and preferred != "damp_direct":
        return preferred, f"The group asks to {_SHORT_NAME[preferred]}, and {low}."
    if close_enough(bag.temperature_c, bag.salinity_psu, vat, limits):
        return "float_then_transfer", (
            f"Bag and vat differ by only {gap_c:.1f} °C and {gap_psu:.1f} PSU, so there is nothing to drip for."
        )
    volumes = max(gap_c / limits.transfer_gap_c, gap_psu / limits.transfer_gap_psu)
    gaps = f"With {gap_c:.1f} °C and {gap_psu:.1f} PSU to close ({low})"
    if volumes > _MOST_BAG_VOLUMES:
        return "overflow", f"{gaps}, a filling tub would grow {volumes:.0f}-fold, so let it overflow."
    return "drip", f"{gaps}, the tub grows {volumes:.1f}-fold, so drip."


def _table(mode: Mode, bag: BagWater, vat: VatWater, limits: Limits) -> Table:
    makers: dict[Mode, Callable[[BagWater, VatWater, Limits], Table]] = {
        "float_then_transfer": tables.float_then_transfer,
        "drip": tables.drip,
        "overflow": tables.overflow,
        "exchange": tables.exchange,
        "damp_direct": tables.damp_direct,
    }
    return makers[mode](bag, vat, limits)


def _facts(bag: BagWater, vat: VatWater, limits: Limits) -> list[str]:
    told = []
    if not bag.measured:
        told.append("The bag's values are expected, not read: read temperature, salinity, pH and ammonia at opening.")
    if bag.hours_in_bag >= limits.hours_in_bag_red:
        told.append(f"{bag.hours_in_bag:g} h in the bag: red, at or past {limits.hours_in_bag_red:g} h.")
    elif bag.hours_in_bag >= limits.hours_in_bag_amber:
        told.append(f"{bag.hours_in_bag:g} h in the bag: amber, at or past {limits.hours_in_bag_amber:g} h.")
    if not bag.damp and bag.ph is not None and bag.alkalinity_meq_per_l is None:
        told.append(
            f"The bag's alkalinity is taken as the vat's {vat.alkalinity_meq_per_l:g} meq/L scaled by salinity, "
            "plus its ammonia."
        )
    if bag.ph is None or vat.ph is None:
        told.append("No pH given: toxic ammonia is not told.")
    return told


def _joined(
    mode: Mode, reason: str, table: Table, facts: list[str], waters: tuple[BagWater, VatWater, Limits]
) -> Acclimation:
    return Acclimation(
        mode=mode,
        reason=reason,
        steps=table.steps,
        water_used_l=table.water_used_l,
        minutes=table.minutes,
        first_breach=table.first_breach,
        warnings=(*facts, *table.warnings),
        bag=waters[0],
        vat=waters[1],
        limits=waters[2],
    )


def choose(bag: BagWater, vat: VatWater, limits: Limits) -> Acclimation:
    """Choose the mode from the numbers and make its table.

    Damp packs go straight in.  Where the bag's ammonia at the vat's pH would pass the limit, or the bag has been shut
    past its red hours (past amber, if nothing was read), the temperature is matched and animals leave the bag water.
    Otherwise the group's preferred mode, or a drip, overflowing where a filling tub would grow more than four-fold.

    Raises
    ------
    OutOfRange
        Outside 2 to 35 °C or salinity 19 to 40 where a pH was given.
    BadInput
        For an acclimation beyond four days.

    References
    ----------
    Decision rule: total ammonia × toxic share at the vat's pH against 0.05 mg/L (Francis-Floyd & Watson, UF/IFAS
    FA-16); hours are the group's; the rest common practice, no source.

    Examples
    --------
    >>> bag = BagWater(23.0, 33.0, 6.6, "nbs", 2.0, 1.5, 30.0)
    >>> choose(bag, VatWater(26.0, 35.0, 8.2), Limits()).mode
    'float_then_transfer'
    """
    mode, reason = _decide(bag, vat, limits)
    return _joined(mode, reason, _table(mode, bag, vat, limits), _facts(bag, vat, limits), (bag, vat, limits))


def _poured_by(steps: tuple[Step, ...], minute: int, mode: Mode) -> float:
    """Litres poured by a minute: between the rows of a drip in proportion, of an exchange those of the last row."""
    before = [step for step in steps if step.minute <= minute]
    after = [step for step in steps if step.minute > minute]
    if not before:
        return 0.0
    last = before[-1]
    if mode == "exchange" or not after:
        return last.poured_l
    return last.poured_l + (after[0].poured_l - last.poured_l) * (minute - last.minute) / (
        after[0].minute - last.minute
    )


def _shifted(steps: tuple[Step, ...], minute: int, poured_l: float) -> tuple[Step, ...]:
    later = [replace(step, minute=step.minute + minute, poured_l=step.poured_l + poured_l) for step in steps]
    going_on = later[0].action.removeprefix(f"{tables.OPENING}; ").removeprefix(f"{tables.OPENING}.").strip()
    later[0] = replace(later[0], action=f"{tables.AFTER_READING} {going_on or 'go on as below.'}")
    return tuple(later)


def recompute(acclimation: Acclimation, reading_minute: int, measured_bag: BagWater) -> Acclimation:
    """Make the table anew from a reading taken mid-way; steps already done are kept.

    ``measured_bag`` is what the animals sit in at that minute: volume, temperature, salinity, pH and ammonia.  A drip
    or exchange whose water now holds too much ammonia turns into a transfer; animals already out of their bag water are
    ramped on by an overflowing drip.

    Raises
    ------
    BadInput
        For a minute before the first step or after the last.
    OutOfRange
        As :func:`choose`.

    References
    ----------
    As :func:`choose`.
    """
    if not 0 <= reading_minute <= acclimation.minutes:
        raise BadInput(Finding("minute of the reading", str(reading_minute), f"0 to {acclimation.minutes}"))
    vat, limits, mode = acclimation.vat, acclimation.limits, acclimation.mode
    bag = replace(measured_bag, measured=True)
    done = tuple(step for step in acclimation.steps if step.minute < reading_minute)
    mode, why = _mode_from_here(mode, done, bag, vat, limits)
    if mode == "overflow":
        bag = replace(bag, damp=False)
    table = _table(mode, bag, vat, limits)
    spent = _poured_by(acclimation.steps, reading_minute, acclimation.mode)
    steps = (*done, *_shifted(table.steps, reading_minute, spent))
    breach = first_breach(steps, limits, jumps=mode == "exchange")
    remade = Table(steps, spent + table.water_used_l, steps[-1].minute, breach, table.warnings)
    reason = f"Read at minute {reading_minute}: {bag.temperature_c:.1f} °C and {bag.salinity_psu:.1f} PSU, and {why}."
    return _joined(mode, reason, remade, _facts(bag, vat, limits), (bag, vat, limits))


def _mode_from_here(
    mode: Mode, done: tuple[Step, ...], bag: BagWater, vat: VatWater, limits: Limits
) -> tuple[Mode, str]:
    """How to go on after a reading, and why."""
    if mode in {"float_then_transfer", "damp_direct"} and any(tables.CLEAN_WATER in step.action for step in done):
        return "overflow", "the animals sit in clean water already, which is brought to the vat's"
    ceiling = toxic_ceiling_mg_per_l(bag, vat)
    if mode in {"drip", "overflow", "exchange"} and ceiling is not None and ceiling > limits.nh3_n_mg_per_l:
        return "float_then_transfer", f"un-ionised ammonia would reach {ceiling:.3f} mg N/L: leave this water"
    return mode, "the same way goes on"
