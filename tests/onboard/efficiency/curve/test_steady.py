"""Steady stretches: what passes, what does not, whatever the cut of the stream."""

import csv
import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.efficiency.curve.steady import BLOCK_S, SteadyFinder, standard_error
from tests.onboard.efficiency.curve.made_blocks import settled

DATA = Path(__file__).parents[3] / "data"


def nist(name: str):
    with (DATA / f"nist_{name}.csv").open() as lines:
        rows = csv.DictReader(line for line in lines if not line.startswith("#"))
        return np.array([float(row["y"]) for row in rows])


# Certified mean, standard deviation and lag-1 autocorrelation (NIST StRD, univariate). A negative
# autocorrelation is ignored: it would make the mean of few values look too certain.
CERTIFIED = {
    "lew": (277.332168044316, -0.307304800605679),
    "michelson": (0.0790105478190518, 0.535199668621283),
    "mavro": (0.000429123454003053, 0.937989183438248),
}


@pytest.mark.parametrize(("name", "certified"), CERTIFIED.items())
def test_standard_error_of_autocorrelated_values(name: str, certified: tuple[float, float]) -> None:
    values, (sd, memory) = nist(name), certified
    remembered = max(memory, 0.0)
    effective = len(values) * (1 - remembered) / (1 + remembered)
    assert standard_error(values) == pytest.approx(sd / np.sqrt(effective), rel=1e-9)


def test_effective_number_of_michelsons_and_mavros_values() -> None:
    # n (1 - r) / (1 + r): 30.28 of 100, 1.60 of 50.
    for name, effective in (("michelson", 30.28), ("mavro", 1.60)):
        values = nist(name)
        assert (values.std(ddof=1) / standard_error(values)) ** 2 == pytest.approx(
            effective, abs=0.006
        )


@pytest.mark.parametrize("middle", [1.2, 1_000_000.2, 10_000_000.2])
def test_standard_error_far_from_zero(middle: float) -> None:
    # NumAcc2 to 4 (NIST StRD): the middle, then a tenth below and above in turn; sd 0.1.
    values = np.array([middle, *[middle - 0.1, middle + 0.1] * 500])
    assert standard_error(values) == pytest.approx(0.1 / np.sqrt(1001), rel=1e-7)


def steady_seconds(seconds: int, rng=None, wave_mps: float = 0.0):
    t = np.arange(1, seconds + 1)
    wave = wave_mps * np.sqrt(2) * np.sin(2 * np.pi * t / 3.3)
    noise = rng.normal(0, 1, (3, seconds)) if rng else np.zeros((3, seconds))
    return 200 + 4 * noise[0], 1.2 + 0.04 * noise[1] + wave, 1.6 + 0.04 * noise[2]


def found(power_w, east_mps, north_mps):
    return SteadyFinder().fold(settled(power_w, east_mps, north_mps))


def test_a_steady_ride_is_cut_into_blocks_of_means() -> None:
    blocks = found(*steady_seconds(120, np.random.default_rng(1)))
    assert [block.t_s for block in blocks] == [40.0, 60.0, 80.0, 100.0, 120.0]
    for block in blocks:
        assert block.power_w == pytest.approx(200, abs=4 * block.power_sd_w)
        assert block.east_mps == pytest.approx(1.2, abs=0.04)
        assert block.north_mps == pytest.approx(1.6, abs=0.04)
        assert 0.3 < block.power_sd_w < 3.0


def test_waves_pass_and_average_out() -> None:
    blocks = found(*steady_seconds(300, np.random.default_rng(2), wave_mps=0.15))
    assert len(blocks) == 14
    assert np.mean([block.east_mps for block in blocks]) == pytest.approx(1.2, abs=0.01)


def test_a_throttle_moved_slowly_by_hand_passes() -> None:
    power, east, north = steady_seconds(300)
    assert len(found(power * (1 + 0.002 * np.arange(300)), east, north)) == 14


@pytest.mark.parametrize("change", ["power", "turn", "speed"])
def test_a_change_drops_the_blocks_around_it_and_while_settling(change: str) -> None:
    power, east, north = steady_seconds(200)
    if change == "power":
        power[95:] *= 1.5
    elif change == "turn":
        east[95:], north[95:] = 1.6, -1.2
    else:
        east[95:] *= 1.3
        north[95:] *= 1.3
    times = [block.t_s for block in found(power, east, north)]
    # The change is within 80 to 100 s; the next block has it in the preceding ten seconds.
    assert times == [40.0, 60.0, 80.0, 140.0, 160.0, 180.0, 200.0]


def test_adrift_gliding_and_unknown_seconds_give_no_blocks() -> None:
    power, east, north = steady_seconds(200)
    assert found(power, 0.1 * east, 0.1 * north) == []
    assert found(np.zeros(200), east, north) == []
    gaps = power.copy()
    gaps[::6] = np.nan
    assert found(gaps, east, north) == []


def test_a_gap_in_time_is_not_a_steady_stretch() -> None:
    whole = settled(*steady_seconds(200))
    jumped = whole.part(0, 70), whole.part(110, 200)
    finder = SteadyFinder()
    times = [block.t_s for piece in jumped for block in finder.fold(piece)]
    assert times == [40.0, 60.0, 140.0, 160.0, 180.0, 200.0]


def test_a_glitch_within_a_block_is_left_out() -> None:
    power, east, north = steady_seconds(60, np.random.default_rng(3))
    plain = found(power, east, north)[0]
    power[30], north[33] = 260.0, 2.1
    glitch = found(power, east, north)[0]
    assert glitch.power_w == pytest.approx(plain.power_w, abs=1.0)
    assert glitch.north_mps == pytest.approx(plain.north_mps, abs=0.02)


@settings(max_examples=40)
@given(st.integers(0, 1000), st.lists(st.integers(0, 240), max_size=12))
def test_blocks_do_not_depend_on_the_cut(seed: int, cuts: list[int]) -> None:
    rng = np.random.default_rng(seed)
    power, east, north = steady_seconds(240, rng)
    power[rng.integers(0, 240, 2)] = np.nan
    power[int(rng.integers(0, 240)) :] *= 1.4
    whole = settled(power, east, north)
    finder = SteadyFinder()
    edges = [0, *sorted(cuts), 240]
    pieces = [
        block
        for begin, end in itertools.pairwise(edges)
        for block in finder.fold(whole.part(begin, end))
    ]
    assert pieces == SteadyFinder().fold(whole)
    assert all(block.t_s % BLOCK_S == 0 for block in pieces)
