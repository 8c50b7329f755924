"""The trip's line: bounded, evenly thinned, and the same after a round trip through JSON."""

import functools
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.contract.codec import ContractError, plain, read
from onboard.contract.trip_line import POINTS_MOST, TripLine
from onboard.efficiency.trip.trip_line import GrowingLine
from tests.onboard.efficiency.test_engine_partition import fold, stream


def filled(seconds: int) -> GrowingLine:
    line = GrowingLine()
    for second in range(seconds):
        line.add(float(second), 2.0 * second, 0.1 * second)
    return line


@pytest.mark.parametrize("seconds", [1, 399, 400, 801, 100_000])
def test_it_stays_bounded_and_even(seconds: int) -> None:
    line = filled(seconds)
    assert len(line.t_s) < POINTS_MOST
    steps = {b - a for a, b in zip(line.t_s, line.t_s[1:], strict=False)}
    assert steps <= {line.every_s}
    assert seconds - 1 - line.t_s[-1] < line.every_s
    assert line.distance_m == [2.0 * t_s for t_s in line.t_s]


def test_time_that_goes_back_begins_a_new_line() -> None:
    line = filled(1000)
    line.add(5.0, 1.0, 2.0)
    assert (line.t_s, line.distance_m, line.energy_wh, line.every_s) == ([5.0], [1.0], [2.0], 1.0)


def test_it_survives_a_round_trip_through_json() -> None:
    line = filled(1000)
    back = GrowingLine.of(read(TripLine, json.loads(json.dumps(plain(line.record())))))
    assert (back.t_s, back.every_s) == (line.t_s, line.every_s)
    assert back.energy_wh == pytest.approx(line.energy_wh, abs=0.005)
    back.add(1000.0, 1.0, 2.0)
    assert back.t_s[-1] == 1000.0


@pytest.mark.parametrize(
    "change",
    [
        {"t_s": [0.0, 0.0]},
        {"t_s": [0.0, "1"]},
        {"t_s": [0.0, None]},
        {"t_s": [0.0]},
        {"t_s": 3},
        {"distance_m": [0.0, float("inf")]},
        {"every_s": None},
        {"t_s": [0.0, True]},
    ],
)
def test_nonsense_is_refused(change) -> None:
    sound = {"t_s": [0.0, 1.0], "distance_m": [0.0, 2.0], "energy_wh": [0.0, 0.1], "every_s": 1.0}
    read(TripLine, sound)
    with pytest.raises(ContractError):
        read(TripLine, {**sound, **change})


@functools.cache
def line_of_the_whole() -> TripLine:
    return fold(stream(11, 200.0), []).trip_line


@given(st.lists(st.floats(0, 1), max_size=20).map(sorted))
def test_the_engines_line_does_not_depend_on_the_partition(cuts) -> None:
    whole, pieces = line_of_the_whole(), fold(stream(11, 200.0), cuts).trip_line
    assert len(whole.t_s) > 100
    assert pieces.t_s == whole.t_s
    assert pieces.distance_m == pytest.approx(whole.distance_m, rel=1e-9)
    assert pieces.energy_wh == pytest.approx(whole.energy_wh, rel=1e-9)
