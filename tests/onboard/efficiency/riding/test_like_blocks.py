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


def test_a_step_of_held_power_begins_a_riding() -> None:
    assert count((300, 2.0, 20), (330, 2.05, 7)) == 7
    # Three per cent are within what a turn or a tired arm does.
    assert count((300, 2.0, 20), (309, 2.05, 7)) == 27


@pytest.mark.parametrize(("throttle", "found"), [(0.5, 27), (0.53, 7)])
def test_the_throttle_tells_a_hand_from_a_load(throttle: float, found: int) -> None:
    # After a turn the same throttle takes 8 % more power.
    assert count((300, 2.0, 20, 0.0, 0.5), (324, 1.9, 7, 90.0, throttle)) == found


def test_a_transition_is_passed_over() -> None:
    # A burst of half a minute at full power, and as before again.
    assert count((200, 2.0, 20), (600, 2.9, 3), (200, 2.0, 5)) == 25
    # Of two minutes: the riding began after it.
    assert count((200, 2.0, 20), (600, 2.9, 12), (200, 2.0, 5)) == 5


def test_recovering_after_a_turn_into_the_current_is_no_hand() -> None:
    rough = [(power, 2.0, 1, 90.0) for power in (100, 108, 95, 103, 110, 97) * 3]
    recovering = [(250, 1.6, 1, 270.0), (330, 1.75, 1, 270.0), (390, 1.9, 1, 270.0)]
    after = [(power, 2.0, 1, 270.0) for power in (400, 412, 388, 404, 396, 410)]
    # All but blocks of the transition.
    assert count(*rough, *recovering, *after) >= len(rough) + len(after)


def test_a_jump_of_power_on_a_straight_course_is_the_hand() -> None:
    rng = np.random.default_rng(2)
    steady = [(300 * (1 + 0.03 * rng.normal()), 2.0, 1) for _ in range(20)]
    jumped = [(400 * (1 + 0.03 * rng.normal()), 2.05, 1) for _ in range(4)]
    assert count(*steady, *jumped) == 4
