"""Jumps of velocity that no craft can make."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from onboard.efficiency.meters.jumps import JumpGate


def passes(t_s, speed, cuts=()) -> list[bool]:
    gate = JumpGate()
    t_s, speed = np.asarray(t_s, float), np.asarray(speed, float)
    parts = zip([0, *cuts], [*cuts, len(t_s)], strict=True)
    kept = [gate.passes(t_s[a:b], speed[a:b], np.zeros(b - a)) for a, b in parts]
    return np.concatenate(kept).tolist()


def test_a_spike_is_rejected_and_what_follows_is_not() -> None:
    assert passes(np.arange(6) * 0.2, [2, 2, 15, 15, 2, 2]) == [
        True,
        True,
        False,
        False,
        True,
        True,
    ]


def test_a_hard_start_passes() -> None:
    t_s = np.arange(0, 3, 0.2)
    assert all(passes(t_s, np.minimum(5 * t_s, 6)))


def test_a_lasting_jump_is_accepted_in_the_end() -> None:
    kept = passes(np.arange(0, 4, 0.5), [2, 2, 12, 12, 12, 12, 12, 12])
    assert kept == [True, True, False, False, True, True, True, True]


@given(
    st.lists(st.sampled_from([0.0, 2.0, 2.5, 9.0, 30.0]), min_size=1, max_size=40),
    st.lists(st.integers(0, 40), max_size=6),
)
def test_the_result_does_not_depend_on_the_partition(speeds, cuts) -> None:
    t_s = np.arange(len(speeds)) * 0.4
    inside = sorted(min(cut, len(speeds)) for cut in cuts)
    assert passes(t_s, speeds, inside) == passes(t_s, speeds)


@given(st.lists(st.sampled_from([0.0, 2.0, 2.5, 9.0, 30.0]), min_size=1, max_size=40))
def test_it_equals_a_plain_loop(speeds) -> None:
    last_t, last = 0.0, speeds[0]
    expected = []
    for n, speed in enumerate(speeds):
        good = abs(speed - last) <= 3.0 + 5.0 * (n * 0.4 - last_t)
        expected.append(good)
        if good:
            last_t, last = n * 0.4, speed
    assert passes(np.arange(len(speeds)) * 0.4, speeds) == expected
