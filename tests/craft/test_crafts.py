"""The invented craft: each is of its stated kind."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from tests.craft.battery import load_amps_a, open_circuit_v
from tests.craft.crafts import CRAFTS, LAUNCH, SKIFF, TENDER, cold_and_weak
from tests.craft.steady import calm_power_w
from tests.craft.water import Water

STILL = Water()


def exponent(name: str, speed_mps: float) -> float:
    """Return the local exponent of the drive's power by speed, without the hotel load."""
    craft = CRAFTS[name]
    low, high = (
        calm_power_w(craft, STILL, factor * speed_mps) - craft.hotel_w for factor in (0.97, 1.03)
    )
    return math.log(high / low) / math.log(1.03 / 0.97)


def test_the_launch_is_a_displacement_hull_at_its_limit() -> None:
    # Near hull speed resistance of a displacement hull rises ever more steeply (Delft yacht series,
    # Fn 0.3 to 0.45): the exponent of power is far above a cubic's 3, and climbing.
    froude = 2.5 / math.sqrt(9.80665 * LAUNCH.hull.length_waterline_m)
    assert 0.40 < froude < 0.45
    assert exponent("launch", 2.0) < exponent("launch", 2.3) < exponent("launch", 2.5)
    assert exponent("launch", 2.3) > 4.0
    assert exponent("launch", 2.5) > 5.5


@pytest.mark.parametrize(
    ("name", "hump_mps", "past_mps"), [("board", 1.9, 3.8), ("tender", 1.3, 2.9)]
)
def test_light_hulls_pass_their_hump(name: str, hump_mps: float, past_mps: float) -> None:
    assert exponent(name, hump_mps) > 3.3
    assert exponent(name, past_mps) < 1.5


@pytest.mark.parametrize("name", sorted(CRAFTS))
def test_power_always_rises_with_speed(name: str) -> None:
    speeds = [0.5 + 0.1 * k for k in range(40)]
    powers = [calm_power_w(CRAFTS[name], STILL, speed) for speed in speeds]
    asked = [power for power in powers if power < 5000.0]
    assert len(asked) > 25
    assert all(after > before for before, after in pairwise(asked))


def test_a_cold_pack_sags_more_and_has_less_capacity() -> None:
    # Worked by hand: 600 W from 14 x 3.750874 V (Chen2020 at one half) behind 0.055 ohm, and behind
    # 2.3 times that.
    cold = cold_and_weak(SKIFF.battery)
    open_v = open_circuit_v(cold, 0.5)
    assert open_v == pytest.approx(14 * 3.750874)
    warm_sag_v = SKIFF.battery.resistance_ohm * load_amps_a(open_v, 0.055, 600.0)
    cold_sag_v = cold.resistance_ohm * load_amps_a(open_v, cold.resistance_ohm, 600.0)
    assert warm_sag_v == pytest.approx(0.6361, abs=2e-4)
    assert cold_sag_v == pytest.approx(1.4875, abs=2e-4)
    assert cold.capacity_ah == 0.875 * 23.5


def test_cells_can_be_chosen_and_differ() -> None:
    # PyBaMM 26.10.1.1, parameter sets Ai2020 and Prada2013 (tests/data/README.md).
    other = replace(SKIFF.battery, cell="Ai2020")
    assert open_circuit_v(other, 0.5) == pytest.approx(14 * 3.792508)
    shifted = replace(TENDER.battery, shift_v=0.01)
    assert open_circuit_v(shifted, 0.5) == pytest.approx(8 * (3.26603 + 0.01))
