"""What a tub loses to the room, against hand-computed cases and limits, and the heater that holds it."""

from __future__ import annotations

import json
import math

import pytest
from click.testing import CliRunner
from scipy.integrate import solve_ivp

from intake.cli.calculators.acclimate import acclimate
from intake.errors import BadInput
from intake.library import load
from intake.receiving.acclimation import (
    BagWater,
    Limits,
    Tub,
    VatWater,
    choose,
    float_plain,
    float_then_transfer,
    load_of,
)
from intake.receiving.acclimation.heat import (
    bag_loss_per_h,
    cooled,
    cooling_per_h,
    floating_in_room,
    floating_short_c,
    holding_w,
)
from intake.receiving.acclimation.load import TubSetup, equipped

VAT = VatWater(26.0, 35.0, 8.2)
BAG = BagWater(24.0, 33.0, 6.7, "nbs", 1.0, 1.5, 20.0)
CLAMS = load_of(load().group("clam_small"), 30.0, 58)


def test_twenty_litres_by_hand() -> None:
    """0.12 m² of lid, 0.231 m² of walls (1/6 m deep): 3.51 W/°C at 10 W/m²; 22.8 Wh/°C in 20 L."""
    per_c = 10 * (0.12 + 4 * math.sqrt(0.12) / 6)
    assert per_c == pytest.approx(3.5094, abs=1e-4)
    assert holding_w(20.0, 26.0, 20.0) == pytest.approx(6 * per_c)
    assert cooling_per_h(20.0) == pytest.approx(per_c / 22.8)
    assert cooled(26.0, 20.0, 60.0, 20.0) == pytest.approx(20 + 6 * math.exp(-per_c / 22.8))


def test_limits_of_the_model() -> None:
    """No time: no loss; a warm room: none; for ever: the room's temperature; a lid and a larger tub lose less."""
    assert cooled(26.0, 20.0, 0.0, 20.0) == 26.0
    assert holding_w(20.0, 26.0, 26.0) == 0.0
    assert holding_w(20.0, 26.0, 30.0) == 0.0
    assert cooled(26.0, 20.0, 1e6, 20.0) == pytest.approx(20.0)
    assert cooling_per_h(20.0, lid=False) > cooling_per_h(20.0) > cooling_per_h(200.0)
    with pytest.raises(BadInput):
        cooling_per_h(0.0)


@pytest.mark.parametrize(
    ("room", "minutes", "course", "watts"),
    [
        (28.0, 120, (26.0, 26.0), 0),  # a warm room
        (20.0, 10, (26.0, 26.0), 0),  # 0.15 °C in ten minutes
        (20.0, 60, (26.0, 26.0), 50),  # 2 × 21.1 W, to the next 25
        (20.0, 60, (25.0, 26.0), 100),  # 2 × (22.8 + 21.1) W
        (28.0, 60, (25.0, 26.0), 50),  # 2 × 22.8 W
        (18.0, 60, (28.0, 26.0), 75),  # held from falling too fast: 2 × 35.1 W
        (None, 60, (25.0, 26.0), 50),
        (None, 60, (26.0, 26.0), 25),  # half a degree an hour: 2 × 11.4 W
        (None, 60, (28.0, 26.0), 0),
    ],
)
def test_the_heater_holds_what_the_room_takes(
    room: float | None, minutes: int, course: tuple[float, float], watts: int
) -> None:
    """Twice the watts that warm 20 L at 1 °C/h and hold it at its warmest."""
    assert equipped(TubSetup(1, 20.0, 5), minutes, course, 1.0, room).heater_w == watts


def test_a_table_says_what_the_room_does_or_that_nobody_said() -> None:
    """A cold room, a warm room, and none given: the course of the water is the same, heater and words are not."""
    cold, warm, unsaid = (choose(BAG, VAT, Limits(), CLAMS, Tub(room_c=room)) for room in (15.0, 30.0, None))
    assert cold.steps == warm.steps == unsaid.steps
    assert cold.setup.heater_w > warm.setup.heater_w
    assert any("to the room at 15 °C" in one and f"{cold.setup.heater_w} W" in one for one in cold.warnings)
    assert f"a heater of {cold.setup.heater_w} W for a room at 15 °C" in cold.setup.words
    assert "room" not in unsaid.setup.words
    assert any("it loses no heat" in one for one in warm.warnings)
    assert any("room, whose temperature is not known" in one for one in unsaid.warnings)
    assert not any("not known" in one for one in (*cold.warnings, *warm.warnings))


# ── floating bags ───────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("start", "bath", "room"), [(20.0, 26.0, 12.0), (28.0, 25.0, 10.0), (24.0, 26.0, 35.0), (26.0, 26.0, 18.0)]
)
def test_a_floating_bag_follows_the_balance_of_bath_and_room(start: float, bath: float, room: float) -> None:
    """The closed form against an ODE solved apart: ln(5/2)/30 a minute to the bath, 60 cm² a liter at 10 W/m² to the room."""
    bath_k, room_k = math.log(2.5) / 30, 0.006 * 10 / 1.14 / 60

    def slope(_: float, at: list[float]) -> list[float]:
        return [bath_k * (bath - at[0]) + room_k * (room - at[0])]

    solved = solve_ivp(slope, (0.0, 240.0), [start], t_eval=[15.0, 60.0, 240.0], rtol=1e-10, atol=1e-10).y[0]
    assert [floating_in_room(start, bath, room, minutes) for minutes in (15.0, 60.0, 240.0)] == pytest.approx(
        list(solved), abs=1e-6
    )
    assert bag_loss_per_h() == pytest.approx(60 * room_k)


def test_limits_of_a_floating_bag() -> None:
    """No room: the bath alone; for ever: short of the bath by its share; a room as warm as the bath changes nothing."""
    assert floating_in_room(20.0, 25.0, None, 30.0) == pytest.approx(23.0)
    assert floating_in_room(20.0, 26.0, 12.0, 1e5) == pytest.approx(26.0 - floating_short_c(26.0, 12.0))
    assert floating_in_room(20.0, 26.0, 26.0, 1e5) == pytest.approx(26.0)
    assert floating_short_c(26.0, 26.0) == 0.0
    assert floating_short_c(26.0, 30.0) < 0


@pytest.mark.parametrize("room", [-5.0, 8.0, 20.0, 40.0])
@pytest.mark.parametrize(("start", "end"), [(20.0, 26.0), (28.0, 25.0), (25.0, 26.0)])
def test_no_room_makes_a_lawful_float_pass_its_limit(room: float, start: float, end: float) -> None:
    """The steepest moment of each row lies in the limit, the room's pull counted; the table ends in any room."""
    limits = Limits(max_c_per_h=2.0)
    bag, vat = BagWater(start, 35.0, None, "nbs", 0.0, 1.5, 20.0), VatWater(end, 35.0, None)
    table = float_then_transfer(bag, vat, limits, math.inf, room_c=room)
    for step in table.steps[:-2]:
        bath = float(step.action.split(" at ")[1].split(" ")[0]) if " at " in step.action else end
        pull = 60 * math.log(2.5) / 30 * (bath - step.temperature_c) + bag_loss_per_h() * (room - step.temperature_c)
        assert pull * math.copysign(1.0, end - start) <= 2.0 + 0.02, (step, room)  # the bath is printed to 0.01 °C
    assert any("floating bag" in one for one in table.warnings)


def test_a_float_in_a_room_nobody_told_is_as_before() -> None:
    """Steps and words without a room do not change; in a cold one the bag stays short of the vat, and it is said."""
    bag, vat = BagWater(20.0, 35.0, None, "nbs", 0.0, 1.5, 20.0), VatWater(26.0, 35.0, None)
    assert float_plain(bag, vat, Limits()).steps == float_plain(bag, vat, Limits(), None).steps
    cold = float_plain(bag, vat, Limits(), 5.0)
    assert cold.steps[-2].temperature_c < float_plain(bag, vat, Limits()).steps[-2].temperature_c
    assert any("stays 0.6 °C below its bath" in one for one in cold.warnings)


@pytest.mark.parametrize("mode", ["float", "drip", "auto"])
def test_the_room_is_an_option_of_the_calculator_and_is_echoed(mode: str) -> None:
    """`--room`: said again with what it does; out of range refused; the words without it do not speak of one."""
    asked = ["--mode", mode, "--from-temp", "23", "--to-temp", "26", "--json"]
    cold = json.loads(CliRunner().invoke(acclimate, [*asked, "--room", "12"], catch_exceptions=False).output)
    assert cold["room_c"] == 12.0
    assert "Room at 12 °C, as given with --room." in cold["warnings"]
    assert any("to the room at 12 °C" in one for one in cold["warnings"])
    unsaid = json.loads(CliRunner().invoke(acclimate, asked, catch_exceptions=False).output)
    assert unsaid["room_c"] is None
    assert not any("Room at" in one for one in unsaid["warnings"])
    with pytest.raises(BadInput):
        CliRunner().invoke(acclimate, [*asked, "--room", "99"], catch_exceptions=False)


def test_a_tub_without_animals_told_still_needs_its_heater() -> None:
    """5 L that grow, cooled by a room at 12 °C: the heater is not said to be unneeded."""
    asked = ["--mode", "drip", "--volume-l", "5", "--from-temp", "24", "--to-temp", "26", "--room", "12", "--json"]
    told = json.loads(CliRunner().invoke(acclimate, asked, catch_exceptions=False).output)
    assert not any("none is needed" in one for one in told["warnings"])
    assert any("the heater has" in one for one in told["warnings"])
