"""Where a riding begins: the rider's hand against water, wind and turns."""

import numpy as np
import pytest

from onboard.efficiency.riding.like_blocks import LikeBlocks


def blocks(*stretches) -> np.ndarray:
    """Return blocks of stretches of (power, speed, count[, course, throttle])."""
    rows = []
    for power, speed, count, *more in stretches:
        course, throttle = [*more, 0.0, np.nan][:2] if len(more) < 2 else more
        angle = np.radians(course)
        row = [power, speed, 50.0, speed * np.sin(angle), speed * np.cos(angle), throttle, 1.0]
        rows += [row] * count
    return np.array(rows, float)


def count(*stretches) -> int:
    return len(LikeBlocks(blocks(*stretches)).found())


@pytest.mark.parametrize("power", [330, 275])
def test_a_step_of_held_power_begins_a_riding(power: float) -> None:
    assert count((300, 2.0, 20), (power, 2.0 * (power / 300) ** 0.3, 7)) == 7


def test_more_power_for_less_speed_is_the_water() -> None:
    # A speed over ground nearly held, after turning into the current.
    rough = [(200 * part, 2.0, 1, 0.0) for part in (1.0, 1.06, 0.95, 1.03, 0.98) * 4]
    against = [(280 * part, 1.8, 1, 180.0) for part in (1.0, 0.96, 1.05, 1.02, 0.97)]
    assert count(*rough, *against) == 25
    # The same power for more speed over ground at once would be the throttle.
    opened = [(power, 2.3, one, course) for power, _, one, course in against]
    assert count(*rough, *opened) == 5


def test_a_small_change_of_held_power_is_no_riding_of_its_own() -> None:
    # A turn or a tired arm makes as much as 3 %.
    assert count((300, 2.0, 20), (309, 2.05, 7)) == 27


@pytest.mark.parametrize(("throttle", "found"), [(0.5, 27), (0.53, 7)])
def test_the_throttle_tells_a_hand_from_a_load(throttle: float, found: int) -> None:
    # After a turn the same throttle takes 8 % more power.
    assert count((300, 2.0, 20, 0.0, 0.5), (324, 1.9, 7, 90.0, throttle)) == found


def test_a_transition_is_passed_over() -> None:
    # A burst of half a minute at full power, and as before again.
    assert count((200, 2.0, 20), (600, 2.9, 3), (200, 2.0, 5)) == 25
    # After two minutes of it, the riding began anew.
    assert count((200, 2.0, 20), (600, 2.9, 12), (200, 2.0, 5)) == 5


def test_recovering_after_a_turn_into_the_current_is_not_the_hand() -> None:
    rough = [(power, 2.0, 1, 90.0) for power in (100, 108, 95, 103, 110, 97) * 3]
    recovering = [(250, 1.6, 1, 270.0), (330, 1.75, 1, 270.0), (390, 1.9, 1, 270.0)]
    after = [(power, 2.0, 1, 270.0) for power in (400, 412, 388, 404, 396, 410)]
    # All but the transition.
    assert count(*rough, *recovering, *after) >= len(rough) + len(after)


def test_a_jump_of_power_on_a_straight_course_is_the_hand() -> None:
    rng = np.random.default_rng(2)
    steady = [(300 * (1 + 0.03 * rng.normal()), 2.0, 1) for _ in range(20)]
    jumped = [(400 * (1 + 0.03 * rng.normal()), 2.05, 1) for _ in range(4)]
    assert count(*steady, *jumped) == 4
