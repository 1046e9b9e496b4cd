"""What a tub loses to the room, against hand-computed cases and limits, and the heater that holds it."""

from __future__ import annotations

import math

import pytest

from intake.errors import BadInput
from intake.library import load
from intake.receiving.acclimation import BagWater, Limits, Tub, VatWater, choose, load_of
from intake.receiving.acclimation.heat import cooled, cooling_per_h, holding_w
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
