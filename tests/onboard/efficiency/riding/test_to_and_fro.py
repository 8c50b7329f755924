"""Riding to and fro: what turning round does, and whether it will go on."""

import math

import pytest

from onboard.efficiency.riding.common_practice import CHANCES
from onboard.efficiency.riding.to_and_fro import turning
from tests.onboard.efficiency.riding.test_like_blocks import blocks

UP, DOWN = (400, 2.0, 12, 180.0), (100, 2.0, 12, 0.0)


def test_turning_round_changes_power_and_consumption_as_it_did_before() -> None:
    found = turning(blocks(UP, DOWN, UP, DOWN))
    assert found.chance == CHANCES[-1]
    # From the present, down, to the other direction.
    assert found.ln_power == pytest.approx(math.log(4.0))
    assert found.ln_cost == pytest.approx(math.log(4.0))
    back = turning(blocks(DOWN, UP, DOWN, UP))
    assert back.ln_power == pytest.approx(-math.log(4.0))


def test_at_held_power_only_the_consumption_changes() -> None:
    found = turning(blocks((300, 2.4, 12, 90.0), (300, 1.6, 12, 270.0), (300, 2.4, 12, 90.0)))
    assert found.ln_power == pytest.approx(0.0)
    assert found.ln_cost == pytest.approx(math.log(2.4 / 1.6))


def test_one_turn_is_not_yet_a_habit() -> None:
    once, often = turning(blocks(UP, DOWN)), turning(blocks(UP, DOWN, UP))
    assert once.chance == CHANCES[0] < often.chance
    assert once.variance > 1.5 * often.variance


@pytest.mark.parametrize(
    "ridden",
    [
        [UP],
        # Round a lake: no leg is the way back of the one before.
        [(300, 2.0, 12, course) for course in (0.0, 90.0, 180.0, 270.0)],
        # A new course, just begun, after going to and fro.
        [UP, DOWN, UP, DOWN, (300, 2.0, 1, 90.0)],
        # Back, and then straight on for four times as long.
        [(300, 2.0, 12, 90.0), (300, 2.0, 48, 270.0)],
    ],
)
def test_other_courses_are_no_coming_back(ridden: list) -> None:
    assert turning(blocks(*ridden)) is None
