"""Stream time from stamps: restarts, damage, any partition."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.telemetry.logs.boot_clock import BootClock

NAN = float("nan")


def whole(stamps: list[float]) -> list[float]:
    return list(BootClock().push(np.array(stamps, np.float64), final=True))


@pytest.mark.parametrize(
    ("stamps", "expected"),
    [
        ([42.0, 42.5, 43.0], [0.0, 0.5, 1.0]),
        # Late by less than two seconds: written out of order, kept as it is.
        ([42.0, 44.0, 42.5, 44.5], [0.0, 2.0, 0.5, 2.5]),
        # Logging paused.
        ([42.0, 43.0, 600.0, 601.0], [0.0, 1.0, 558.0, 559.0]),
        # Restarts follow at once: how long the craft was off is not recorded.
        ([42.0, 43.0, 5.0, 6.0, 1.0, 2.0], [0.0, 1.0, 1.0, 2.0, 2.0, 3.0]),
        # A damaged stamp is ignored, wherever it is.
        ([42.0, 43.0, 9e12, 43.5], [0.0, 1.0, NAN, 1.5]),
        ([42.0, 43.0, 2.0, 43.5], [0.0, 1.0, NAN, 1.5]),
        ([9e12, 42.0, 43.0], [NAN, 0.0, 1.0]),
        ([42.0], [0.0]),
        ([42.0, 43.0, 9.0], [0.0, 1.0, 1.0]),
        ([], []),
    ],
)
def test_stream_time(stamps: list[float], expected: list[float]) -> None:
    np.testing.assert_allclose(whole(stamps), expected, atol=1e-9)


def test_restarts_are_counted() -> None:
    clock = BootClock()
    clock.push(np.array([50.0, 51.0, 1.0, 2.0, 0.5, 9e9, 2.5]), final=True)
    assert clock.restarts == 1


@given(
    st.lists(
        st.one_of(st.floats(0.0, 3.0), st.sampled_from([-50.0, 90.0, 0.1, 0.1, 0.1])), max_size=40
    ),
    st.lists(st.integers(0, 40), max_size=8),
)
def test_any_partition_gives_the_same(steps: list[float], cuts: list[int]) -> None:
    stamps = 100.0 + np.cumsum(np.array(steps, np.float64))
    clock = BootClock()
    parts = [clock.push(part) for part in np.split(stamps, sorted(cuts))]
    parts.append(clock.push(np.empty(0), final=True))
    got = np.concatenate(parts)
    assert len(got) == len(stamps)
    np.testing.assert_allclose(got, whole(stamps.tolist()), rtol=0, atol=1e-9)
