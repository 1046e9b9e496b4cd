"""What a tub holds against an ODE solver, tubs against the study's table, and that no printed table starves anybody."""

from __future__ import annotations

import csv
import hashlib
from dataclasses import replace
from functools import cache
from importlib.resources import files
from typing import Any

import pytest

from intake import library as shipped
from intake.errors import BadInput
from intake.library import Library
from intake.receiving.acclimation import (
    Acclimation,
    BagWater,
    Inside,
    Limits,
    Load,
    Tub,
    VatWater,
    choose,
    drip,
    exchange,
    litres_needed,
    load_of,
    most_in_tub,
    overflow,
    recompute,
)
from intake.receiving.acclimation.load import airless_minutes
from tests.receiving.tub_judge import judge, saturated

VAT = VatWater(26.0, 35.0, 8.2)
TUBS = list(csv.DictReader((files("tests") / "reference" / "tubs.csv").read_text(encoding="utf-8").splitlines()))


@cache
def library() -> Library:
    """The shipped library."""
    return shipped.load()


def _drawn(seed: str, low: float, high: float) -> float:
    return low + (high - low) * int.from_bytes(hashlib.sha256(seed.encode()).digest()[:6], "big") / 2**48


def bag_batch(number: int) -> tuple[BagWater, VatWater, Limits, Load]:
    """An invented batch: any group of the library, bag and vat drawn from wide but possible ranges."""
    groups = sorted(library().groups)
    group = library().group(groups[int(_drawn(f"{number}/group", 0, len(groups)))])

    def at(what: str, low: float, high: float) -> float:
        return round(_drawn(f"{number}/{what}", low, high), 3)

    tan, ph = at("tan", 0.0, 3.0), at("ph", 6.3, 7.6)
    if at("stale", 0, 1) < 0.15:
        tan, ph = at("tan", 3.0, 8.0), at("ph", 6.2, 6.9)
    damp = at("damp", 0, 1) < 0.15
    oxygen = at("o2", 1.0, 14.0) if at("read", 0, 1) < 0.3 else None
    bag = BagWater(
        at("c", 19.0, 29.0), at("psu", 29.0, 37.0), ph, "nbs", tan, at("litres", 0.5, 4.0), at("hours", 4, 50),
        damp=damp, measured=at("measured", 0, 1) < 0.5, o2_mg_per_l=oxygen,
    )  # fmt: skip
    vat = VatWater(at("vat c", 24.0, 27.0), at("vat psu", 33.0, 36.0), at("vat ph", 7.9, 8.4))
    mode = group.acclimation.mode
    limits = Limits(
        group.change.max_c_per_h,
        group.change.max_psu_per_h,
        hours_in_bag_amber=group.bag_hours.amber,
        hours_in_bag_red=group.bag_hours.red,
        preferred_mode=None if mode == "damp_direct" else mode,
    )
    if at("prefers", 0, 1) < 0.3:
        limits = replace(limits, preferred_mode=("drip", "overflow", "exchange")[number % 3])
    load = load_of(group, at("size", 15, 140), int(at("animals", 1, 200)), bags=1 + int(at("bags", 0, 8)))
    return bag, vat, limits, load


def _agree(answers: list[Acclimation]) -> int:
    """Every tub row against the judge; how many there were."""
    count = 0
    for answer, judged in zip(answers, judge(answers), strict=True):
        rows = [step for step in answer.steps if step.water == "tub"]
        count += len(rows)
        for step, other in zip(rows, judged, strict=True):
            where = (answer.mode, step.minute)
            assert step.temperature_c == pytest.approx(other.temperature, abs=0.01), where
            assert step.salinity_psu == pytest.approx(other.salinity, abs=0.01), where
            assert step.o2_mg_per_l == pytest.approx(other.o2, abs=0.02), where
            assert step.tan_n_mg_per_l == pytest.approx(other.tan, rel=0.002, abs=1e-5), where
            assert step.nh3_n_mg_per_l == pytest.approx(other.nh3, rel=0.02, abs=1e-4), where
    return count


def test_oxygen_and_ammonia_agree_with_an_ode_solver_over_two_hundred_bags() -> None:
    """200 invented batches, every tub row: oxygen, total and toxic ammonia by scipy's solver and other formulas."""
    assert _agree([choose(*bag_batch(number), Tub()) for number in range(200)]) > 1500


@pytest.mark.parametrize("way", [drip, overflow, exchange])
def test_each_way_in_bag_water_agrees_with_the_solver(way: object) -> None:
    """Growing, spilling and exchanging tubs, crowded enough that breathing and giving off show."""
    answers = []
    for number in range(12):
        bag, vat, limits, load = bag_batch(1000 + number)
        bag = replace(bag, damp=False)
        table = way(bag, vat, limits, inside=Inside(6.0, 2.0, load, Tub()))  # type: ignore[operator]
        mode: Any = {drip: "drip", overflow: "overflow", exchange: "exchange"}[way]  # type: ignore[index]
        answer = choose(bag, vat, limits)
        answers.append(replace(answer, mode=mode, steps=table.steps, load=load, setup=replace(answer.setup, tubs=1)))
    assert _agree(answers) > 24


def test_no_chosen_table_starves_or_poisons_anybody_over_five_hundred_batches() -> None:
    """By the judge's own balance: oxygen at or above the alarm, ammonia at or under the limit, or a refusal with reason.

    A sealed bag is as it came; what is judged begins when it is opened.
    """
    lawful, refused = [], 0
    for number in range(500):
        bag, vat, limits, load = bag_batch(2000 + number)
        answer = choose(bag, vat, limits, load)
        if answer.first_breach is None:
            lawful.append(answer)
            continue
        assert "Refused" in answer.reason
        refused += 1
    assert refused <= 25
    for answer, judged in zip(lawful, judge(lawful), strict=True):
        assert answer.load is not None
        for row in judged:
            assert row.o2 >= answer.load.alarm_mg_per_l - 0.01, (answer.mode, row)
            assert row.nh3 <= answer.limits.nh3_n_mg_per_l * 1.01, (answer.mode, row)
        assert answer.setup.litres == 0 or 10 <= answer.setup.litres <= answer.tub.litres + 1e-9
        assert answer.setup.tubs * answer.setup.animals >= answer.load.animals or answer.setup.tubs == 0
        assert answer.setup.airstones >= 1 or answer.tub_minutes <= 10


def test_the_balance_sees_a_tub_with_eight_times_the_animals() -> None:
    """A judge that finds no fault in an overfull tub would make the five hundred batches worthless."""
    starved = 0
    for number in range(12):
        bag, vat, limits, load = bag_batch(2000 + number)
        answer = choose(bag, vat, limits, load)
        if answer.load is None or not answer.setup.litres:
            continue
        crowd = replace(answer, load=replace(answer.load, animals=answer.load.animals * 8))
        rows = judge([crowd])[0]
        starved += any(row.o2 < answer.load.alarm_mg_per_l - 0.01 for row in rows)
    assert starved >= 10  # 11 of these 12 do


@pytest.mark.parametrize("room", [6.0, 18.0, 34.0])
def test_no_table_made_for_a_room_starves_or_poisons_anybody(room: float) -> None:
    """The same balance over 40 batches whose bags float, and whose tubs stand, in a cold, a cool and a hot room."""
    lawful = [choose(*bag_batch(5000 + number), Tub(room_c=room)) for number in range(40)]
    lawful = [answer for answer in lawful if answer.first_breach is None]
    assert len(lawful) >= 36
    for answer, judged in zip(lawful, judge(lawful), strict=True):
        assert answer.load is not None
        for row in judged:
            assert row.o2 >= answer.load.alarm_mg_per_l - 0.01, (answer.mode, row)
            assert row.nh3 <= answer.limits.nh3_n_mg_per_l * 1.01, (answer.mode, row)


@pytest.mark.parametrize("row", TUBS, ids=lambda row: f"{row['group_id']} {row['size_mm']} mm")
def test_the_table_of_tubs_comes_out(row: dict[str, str]) -> None:
    """50 worked rows of the safety study: uptake, minutes to the alarm, litres, and animals in 20 L at half."""
    load = load_of(library().group(row["group_id"]), float(row["size_mm"]), 1)
    assert load.uptake_mg_per_h == pytest.approx(float(row["uptake_mg_o2_per_h"]), rel=1e-3, abs=6e-5)
    assert load.mg_o2_per_h == pytest.approx(float(row["uptake_after_shipping_x2"]), rel=1e-3, abs=6e-5)
    assert load.alarm_mg_per_l == float(row["alarm_mg_per_l"])
    start = 0.9 * float(saturated(26.0, 35.0))
    for litres in ("0_1", "0_5", "1", "5"):
        told = airless_minutes(load, float(litres.replace("_", ".")), start)
        assert told == pytest.approx(float(row[f"minutes_to_alarm_{litres}_L_each"]), rel=0.01, abs=0.06)
    assert most_in_tub(load, Tub(20.0), 26.0, 35.0) == int(row["max_animals_20_L_use_half"])
    crowd = replace(load, animals=int(row["max_animals_20_L_use_half"]))
    assert litres_needed(crowd, Tub(20.0), 26.0, 35.0) <= 20.0 + 1e-9
    assert litres_needed(replace(crowd, animals=crowd.animals + 1), Tub(20.0), 26.0, 35.0) > 20.0


def test_fifty_eight_clams_never_stand_in_a_litre_and_a_half() -> None:
    """The audit's case, 30, 40 and 50 mm: alarm after 4.0, 2.2 and 1.4 min in 1.5 L; tubs with air instead."""
    for size, minutes, tubs in ((30.0, 4.0, 1), (40.0, 2.2, 2), (50.0, 1.4, 3)):
        load = load_of(library().group("clam_small"), size, 58)
        assert airless_minutes(load, 1.5, 0.9 * float(saturated(26.0, 35.0))) == pytest.approx(minutes, abs=0.06)
        bag = BagWater(24.0, 34.0, 6.7, "nbs", 1.0, 1.5, 20.0)
        answer = choose(bag, VAT, Limits(preferred_mode="drip"), load)
        assert answer.first_breach is None
        assert answer.setup.tubs == tubs
        assert answer.setup.airstones == 1
        in_bag = drip(bag, VAT, Limits(), inside=Inside(1.5, 1.5, load, Tub()))
        assert in_bag.first_breach is not None
        assert "oxygen" in in_bag.first_breach


def test_a_small_tub_is_refused() -> None:
    """No tub under 10 L."""
    with pytest.raises(BadInput, match="10 L or more"):
        Tub(1.5)
    with pytest.raises(BadInput, match="cooler"):
        litres_needed(Load(5, 1.0, 0.0, 6.5), Tub(), 28.0, 35.0)


def test_a_large_gap_is_a_heated_airy_tub_and_says_what_else_could_be_done() -> None:
    """Six degrees at 1 °C/h: six hours in a sized tub with air and a heater, its water turned over, and the other way."""
    load = load_of(library().group("clam_small"), 30.0, 58)
    answer = choose(BagWater(20.0, 33.0, 6.7, "nbs", 1.0, 1.5, 20.0), VAT, Limits(most_open_minutes=60), load)
    assert answer.first_breach is None
    assert answer.setup.litres >= 10
    assert answer.setup.heater_w >= 50
    assert answer.water_used_l > 2 * answer.setup.litres
    fresh = choose(BagWater(20.0, 35.0, 6.7, "nbs", 1.0, 1.5, 20.0), VAT, Limits(), load)
    assert fresh.water_used_l == fresh.setup.litres, "with no salinity to change the heater alone warms the tub"
    assert any("heater to 20.2" in step.action for step in fresh.steps)
    assert any("set the vat to 20.0 °C" in warning for warning in answer.warnings)
    colder = choose(BagWater(28.0, 35.0, 6.7, "nbs", 1.0, 1.5, 20.0), VAT, Limits(), load)
    assert colder.setup.heater_w == 0, "a heater cannot cool"


def test_every_litre_a_table_takes_is_a_draw_with_its_water() -> None:
    """The first filling at the bag's own temperature and salinity, then the vat's water, and both add up."""
    for number in range(60):
        bag, vat, limits, load = bag_batch(4000 + number)
        answer = choose(bag, vat, limits, load)
        assert sum(draw.litres for draw in answer.draws) == pytest.approx(answer.water_used_l)
        tub = [step for step in answer.steps if step.water == "tub"]
        if tub and answer.draws:
            first = answer.draws[0]
            assert first.minute == tub[0].minute
            assert (first.temperature_c, first.salinity_psu) == (tub[0].temperature_c, tub[0].salinity_psu)
            assert all(draw.temperature_c == vat.temperature_c for draw in answer.draws[1:])


def test_low_oxygen_read_at_the_tub_means_fresh_water_and_more_air() -> None:
    """A reading under the alarm mid-way ends the drip: the animals go into fresh water, and the reason says why."""
    load = load_of(library().group("decapod_crustacean"), 40.0, 20)
    limits = Limits(preferred_mode="drip")
    first = choose(BagWater(24.0, 33.0, 7.2, "nbs", 0.2, 1.5, 10.0), VAT, limits, load)
    assert first.mode in {"drip", "overflow"}
    read = BagWater(24.6, 33.4, 7.9, "nbs", 0.2, first.setup.litres, 11.0, o2_mg_per_l=3.1)
    again = recompute(first, 30, read)
    assert again.mode == "float_then_transfer"
    assert "3.1 mg/L" in again.reason
    assert not any("Float" in step.action for step in again.steps), "an opened bag cannot float sealed"


def test_a_stale_bag_is_left_at_once() -> None:
    """Oxygen read below the alarm, or ammonia toxic already: no float, no drip in that water."""
    load = load_of(library().group("fish_reef_safe"), 50.0, 6)
    low = choose(BagWater(25.5, 34.5, 6.7, "nbs", 0.5, 2.0, 20.0, o2_mg_per_l=2.0), VAT, Limits(), load)
    toxic = choose(BagWater(25.0, 34.0, 8.1, "nbs", 4.0, 2.0, 20.0), VAT, Limits(), load)
    for answer in (low, toxic):
        assert answer.steps[0].water == "tub"
        assert answer.steps[0].bag_share == 0
        assert answer.first_breach is None
