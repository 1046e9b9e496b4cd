"""The table made again when a reading comes in mid-way: what is done stays, the rest starts from what was read."""

from __future__ import annotations

from dataclasses import replace

from intake.errors import BadInput, Finding
from intake.receiving.acclimation import bag_water_modes
from intake.receiving.acclimation.breach import first_breach
from intake.receiving.acclimation.choice import KEEPS_BAG_WATER, facts, joined, made, toxic_ceiling_mg_per_l
from intake.receiving.acclimation.inside import Inside
from intake.receiving.acclimation.step_table import Acclimation, Step, Table
from intake.receiving.acclimation.waters import BagWater, Mode

__all__ = ["recompute"]


def _poured_by(steps: tuple[Step, ...], minute: int, mode: Mode) -> float:
    """Liters poured by a minute: between the rows of a drip in proportion, of an exchange those of the last row."""
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
    going_on = (
        later[0].action.removeprefix(f"{bag_water_modes.OPENING}; ").removeprefix(f"{bag_water_modes.OPENING}.").strip()
    )
    later[0] = replace(later[0], action=f"{bag_water_modes.AFTER_READING} {going_on or 'go on as below.'}")
    return tuple(later)


def recompute(acclimation: Acclimation, reading_minute: int, measured_bag: BagWater) -> Acclimation:
    """Make the table again from a reading taken mid-way; steps already done are kept.

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
    vat, limits = acclimation.vat, acclimation.limits
    bag = replace(measured_bag, measured=True)
    done = tuple(step for step in acclimation.steps if step.minute < reading_minute)
    opened = any(step.water == "tub" for step in done)
    mode, why = _mode_from_here(acclimation, done, bag)
    if mode == "overflow":
        bag = replace(bag, damp=False)
    table = made(mode, bag, vat, limits, _tub_from_here(acclimation, mode, bag), opened=opened)
    spent = _poured_by(acclimation.steps, reading_minute, acclimation.mode)
    steps = (*done, *_shifted(table.steps, reading_minute, spent))
    breach = first_breach(steps, limits, jumps=mode == "exchange")
    if breach is None and table.first_breach is not None:
        breach = f"after the reading, {table.first_breach}"
    remade = Table(steps, spent + table.water_used_l, steps[-1].minute, breach, table.warnings)
    reason = f"Read at minute {reading_minute}: {bag.temperature_c:.1f} °C and {bag.salinity_psu:.1f} PSU, and {why}."
    return joined(
        mode,
        reason,
        remade,
        facts(bag, vat, limits),
        (bag, vat, limits),
        setup=acclimation.setup,
        load=acclimation.load,
        tub=acclimation.tub,
    )


def _tub_from_here(acclimation: Acclimation, mode: Mode, bag: BagWater) -> Inside | None:
    """The tub the animals are in, with the water that was read, or the one they are to enter."""
    load, tubs = acclimation.load, max(1, acclimation.setup.tubs)
    if load is None:
        return None
    mine = load.shared(tubs)
    if mode in KEEPS_BAG_WATER:
        return Inside(bag.volume_l, bag.volume_l, mine, acclimation.tub)
    return Inside(acclimation.setup.litres, 0.0, mine, acclimation.tub)


def _mode_from_here(acclimation: Acclimation, done: tuple[Step, ...], bag: BagWater) -> tuple[Mode, str]:
    """How to go on after a reading, and why."""
    mode, limits, load = acclimation.mode, acclimation.limits, acclimation.load
    opened = any(step.water == "tub" for step in done)
    if load is not None and bag.o2_mg_per_l is not None and bag.o2_mg_per_l < load.alarm_mg_per_l and opened:
        return (
            "float_then_transfer",
            f"oxygen is {bag.o2_mg_per_l:.1f} mg/L, below the alarm: more air, and fresh water",
        )
    if mode not in KEEPS_BAG_WATER and opened:
        return "overflow", "the animals sit in clean water already, which is brought to the vat's"
    ceiling = toxic_ceiling_mg_per_l(bag, acclimation.vat)
    if mode in KEEPS_BAG_WATER and ceiling is not None and ceiling > limits.nh3_n_mg_per_l:
        return "float_then_transfer", f"un-ionised ammonia would reach {ceiling:.3f} mg N/L: leave this water"
    return mode, "the same way goes on"
