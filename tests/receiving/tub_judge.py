"""A second account of what a tub holds, by an ODE solver and its own formulas; it reads only rows, bag, vat and animals.

Typed from the study again, not imported: 0.9 of saturation for unread water, 0.8 mol CO2 per mol O2, air at 450 µatm.
Oxygen saturation is the other published fit (Garcia & Gordon 1992 in gsw), the carbonate system is asked of PyCO2SYS.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import gsw
import numpy as np
import PyCO2SYS
from scipy.integrate import odeint

from intake.receiving.acclimation import Acclimation, Step

__all__ = ["Judged", "judge"]

OPTIONS = {
    "opt_k_carbonic": 10,
    "opt_total_borate": 1,
    "opt_k_bisulfate": 1,
    "opt_k_fluoride": 1,
    "opt_gas_constant": 3,
}
SCALES = {"total": 1, "seawater": 2, "free": 3, "nbs": 4}


@dataclass(frozen=True)
class Judged:
    """What the tub holds at a row: oxygen, total ammonia and un-ionised ammonia in mg/L, °C and PSU."""

    minute: float
    o2: float
    tan: float
    nh3: float
    temperature: float
    salinity: float


def _rho(salinity: Any, temperature: Any) -> Any:
    """Kilograms per litre."""
    absolute = np.asarray(salinity) * 35.16504 / 35.0
    return gsw.rho(absolute, gsw.CT_from_t(absolute, temperature, 0.0), 0.0) / 1000.0


def saturated(temperature: Any, salinity: Any) -> Any:
    """Milligrams per litre in balance with air."""
    return gsw.O2sol_SP_pt(salinity, temperature) * _rho(salinity, temperature) * 31.9988e-3


@dataclass
class _Water:
    """One water to be solved: alkalinity, what else is known (3: pH, 4: pCO2, 2: carbon), °C, PSU, ammonia; per kg."""

    alkalinity: float
    second: float
    kind: int
    temperature: float
    salinity: float
    tan: float
    scale: int = 1


def _solved(waters: Sequence[_Water], *names: str) -> list[Any]:
    """Named results for many waters in one call of the library."""
    rows = np.array([[w.alkalinity, w.second, w.kind, w.temperature, w.salinity, w.tan, w.scale] for w in waters])
    found = PyCO2SYS.sys(
        par1=rows[:, 0], par2=rows[:, 1], par1_type=1, par2_type=rows[:, 2].astype(int), temperature=rows[:, 3],
        salinity=rows[:, 4], total_ammonia=rows[:, 5], opt_pH_scale=rows[:, 6].astype(int), **OPTIONS,
    )  # fmt: skip
    return [np.atleast_1d(found[name]) for name in names]


def _known(answer: Acclimation) -> tuple[_Water, _Water]:
    """Vat and bag as they were read; an alkalinity not read is the vat's by salinity, plus the ammonia."""
    bag, vat = answer.bag, answer.vat
    rho_vat, rho_bag = (float(_rho(one.salinity_psu, one.temperature_c)) for one in (vat, bag))
    vat_ta, bag_tan = vat.alkalinity_meq_per_l * 1000.0 / rho_vat, bag.tan_n_mg_per_l / 14.007e-3 / rho_bag
    bag_ta = vat_ta * bag.salinity_psu / vat.salinity_psu + bag_tan
    if bag.alkalinity_meq_per_l is not None:
        bag_ta = bag.alkalinity_meq_per_l * 1000.0 / rho_bag
    assert vat.ph is not None
    assert bag.ph is not None
    return (
        _Water(vat_ta, vat.ph, 3, vat.temperature_c, vat.salinity_psu, vat.tan_n_mg_per_l / 14.007e-3 / rho_vat,
               SCALES[vat.ph_scale]),
        _Water(bag_ta, bag.ph, 3, bag.temperature_c, bag.salinity_psu, bag_tan, SCALES[bag.ph_scale]),
    )  # fmt: skip


def _saturated(temperature: float, salinity: float, rho: float) -> float:
    """The same fit written out, for one point: fast enough for a solver."""
    scaled = math.log((298.15 - temperature) / (273.15 + temperature))
    fresh = 5.80871 + scaled * (
        3.20291 + scaled * (4.17887 + scaled * (5.10006 + scaled * (-9.86643e-2 + scaled * 3.80369)))
    )
    salt = -7.01577e-3 + scaled * (-7.70028e-3 + scaled * (-1.13864e-2 - scaled * 9.51519e-3))
    return math.exp(fresh + salinity * salt - 2.75915e-7 * salinity**2) * rho * 31.9988e-3


GRID = 4
"""Moments kept between two rows, both ends included."""


@dataclass
class _Course:
    """The course of a tub over all its rows: hours, state (litres, °C, PSU, TAN, O2, alkalinity), flow, and jumps."""

    hours: list[float]
    states: list[Any]
    flows: list[float]
    jumps: dict[int, float]
    rows: list[int]


def judge(answers: Sequence[Acclimation]) -> list[list[Judged]]:
    """Every tub row of some tables with a pH, integrated from their own flows; empty where there is no tub."""
    inside = [one for one in answers if any(step.water == "tub" for step in one.steps)]
    rows = [[step for step in one.steps if step.water == "tub"] for one in inside]
    pairs = [_known(one) for one in inside]
    (pco2, carbon) = _solved([water for pair in pairs for water in pair], "pCO2", "dic")
    cleans = [
        _Water(vat.alkalinity * row[0].salinity_psu / vat.salinity, pco2[2 * n], 4, row[0].temperature_c,
               row[0].salinity_psu, vat.tan)
        for n, ((vat, _), row) in enumerate(zip(pairs, rows, strict=True))
    ]  # fmt: skip
    (clean_carbon,) = _solved(cleans, "dic")
    courses, ends = [], []
    for n, (one, row) in enumerate(zip(inside, rows, strict=True)):
        (vat, bag), clean, share = pairs[n], cleans[n], row[0].bag_share
        rho = [float(_rho(water.salinity, water.temperature)) for water in (vat, bag, clean)]
        start = share * carbon[2 * n + 1] * rho[1] + (1 - share) * clean_carbon[n] * rho[2]
        ends.append((start, carbon[2 * n] * rho[0]))
        alkalinity = share * bag.alkalinity * rho[1] + (1 - share) * clean.alkalinity * rho[2]
        courses.append(_course(one, row, alkalinity, vat.alkalinity * rho[0]))
    air = iter(_solved([water for course in courses for water in _at_every_moment(course)], "dic")[0])
    kept = []
    for one, course, pair in zip(inside, courses, ends, strict=True):
        settled = [next(air) * float(_rho(state[2], state[1])) for state in course.states]
        kept.append(_carbon(course, settled, pair, _eats(one), one.tub.co2_per_h))
    toxic = iter(
        _solved([w for course, dic in zip(courses, kept, strict=True) for w in _at_rows(course, dic)], "NH3")[0]
    )
    told = iter([_told(row, course, toxic) for row, course in zip(rows, courses, strict=True)])
    return [next(told) if any(step.water == "tub" for step in one.steps) else [] for one in answers]


def _eats(answer: Acclimation) -> float:
    load = answer.load
    if load is None:
        return 0.0
    return load.shared(max(1, answer.setup.tubs)).animals * load.uptake_mg_per_h * load.after_shipping


def _course(answer: Acclimation, rows: Sequence[Step], alkalinity: float, of_vat: float) -> _Course:
    bag, vat, share, eats = answer.bag, answer.vat, rows[0].bag_share, _eats(answer)
    gives = 0.0 if answer.load is None else eats * answer.load.mg_n_per_mg_o2
    made_up = 0.9 * float(saturated(rows[0].temperature_c, rows[0].salinity_psu))
    from_bag = (
        0.9 * float(saturated(bag.temperature_c, bag.salinity_psu)) if bag.o2_mg_per_l is None else bag.o2_mg_per_l
    )
    start = np.array([
        rows[0].volume_l, rows[0].temperature_c, rows[0].salinity_psu,
        share * bag.tan_n_mg_per_l + (1 - share) * vat.tan_n_mg_per_l,
        share * from_bag + (1 - share) * made_up, alkalinity,
    ])  # fmt: skip
    vat_o2 = 0.9 * float(saturated(vat.temperature_c, vat.salinity_psu))
    goal = np.array([0.0, vat.temperature_c, vat.salinity_psu, vat.tan_n_mg_per_l, vat_o2, of_vat])
    return _followed(rows, start, goal, (eats, gives), answer.tub.oxygen_per_h, jumps=answer.mode == "exchange")


def _at_every_moment(course: _Course) -> list[_Water]:
    """The tub in balance with air."""
    return [
        _Water(y[5] / rho, 450.0, 4, y[1], y[2], y[3] / 14.007e-3 / rho)
        for y in course.states
        for rho in [float(_rho(y[2], y[1]))]
    ]


def _at_rows(course: _Course, carbon: Sequence[float]) -> list[_Water]:
    """The tub at the rows of its table."""
    return [
        _Water(y[5] / rho, carbon[one] / rho, 2, y[1], y[2], y[3] / 14.007e-3 / rho)
        for one in course.rows
        for y in [course.states[one]]
        for rho in [float(_rho(y[2], y[1]))]
    ]


def _followed(
    rows: Sequence[Step], start: Any, goal: Any, animals: tuple[float, float], air_per_h: float, *, jumps: bool
) -> _Course:
    course = _Course([rows[0].minute / 60.0], [start], [0.0], {}, [0])
    for before, after in pairwise(rows):
        hours = (after.minute - before.minute) / 60.0
        flow = 0.0 if jumps or not hours else after.added_l / hours
        grows = 0.0 if jumps or not hours else (after.volume_l - before.volume_l) / hours
        state = course.states[-1]
        if hours:
            rho = float(_rho(state[2], state[1]))

            # without a drip only a heater warms the tub: as much as the rows say
            heater = 0.0 if flow or jumps else (after.temperature_c - before.temperature_c) / hours

            def slopes(
                _: float, y: Any, flow: float = flow, grows: float = grows, rho: float = rho, heater: float = heater
            ) -> Any:
                volume = y[0]
                change = flow / volume * (goal - y)
                change[1] += heater
                change[0] = grows
                change[3] += animals[1] / volume
                change[4] += air_per_h * (_saturated(y[1], y[2], rho) - y[4]) - animals[0] / volume
                change[5] += animals[1] / 14.007e-3 / volume
                return change

            grid = np.linspace(0.0, hours, GRID)
            solved = odeint(slopes, state, grid, tfirst=True, rtol=1e-8, atol=1e-9)
            course.hours += [before.minute / 60.0 + float(one) for one in grid[1:]]
            course.states += [solved[one] for one in range(1, GRID)]
            course.flows += [flow] * (GRID - 1)
        if jumps:
            part = after.added_l / after.volume_l
            course.jumps[len(course.hours) - 1] = part
            state = course.states[-1].copy()
            state[1:] += part * (goal[1:] - state[1:])
            course.hours.append(course.hours[-1])
            course.states.append(state)
            course.flows.append(0.0)
        course.rows.append(len(course.hours) - 1)
    return course


def _carbon(
    course: _Course, settled: Sequence[float], carbon: tuple[float, float], eats: float, per_h: float
) -> list[float]:
    """Carbon per litre at every moment: dripped in, breathed out, its excess over balance with the air stripped."""
    litres = [float(state[0]) for state in course.states]
    values, vat_dic = [carbon[0]], carbon[1]
    for one in range(1, len(course.hours)):
        if one - 1 in course.jumps:
            values.append(values[-1] + course.jumps[one - 1] * (vat_dic - values[-1]))
            continue
        length = course.hours[one] - course.hours[one - 1]

        def slope(t: float, c: Any, one: int = one, length: float = length) -> Any:
            share = t / length
            volume = litres[one - 1] + share * (litres[one] - litres[one - 1])
            goal = settled[one - 1] + share * (settled[one] - settled[one - 1])
            return course.flows[one] / volume * (vat_dic - c) - per_h * (c - goal) + 0.8 * eats / 31.9988e-3 / volume

        ends = odeint(slope, values[-1:], (0.0, length), tfirst=True, rtol=1e-7) if length else [values[-1:]]
        values.append(float(ends[-1][0]))
    return values


def _told(rows: Sequence[Step], course: _Course, toxic: Iterator[float]) -> list[Judged]:
    told = []
    for row, one in zip(rows, course.rows, strict=True):
        y = course.states[one]
        nh3 = float(next(toxic)) * float(_rho(y[2], y[1])) * 14.007e-3
        told.append(Judged(row.minute, float(y[4]), float(y[3]), nh3, float(y[1]), float(y[2])))
    return told
