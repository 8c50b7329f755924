"""Means of a leg and their standard errors."""

import math
from pathlib import Path

import numpy as np
import pytest

from onboard.efficiency.trial.leg import leg
from tests.onboard.efficiency.trial.made_legs import made_seconds

DATA = Path(__file__).parents[3] / "data"


# NIST StRD, univariate: standard deviation and lag-1 autocorrelation (certified; values as in the
# GNU Scientific Library's tests); effective sample size n (1 - r) / (1 + r) by algebra. Mavro's is
# beyond what a leg's memory is taken for.
@pytest.mark.parametrize(
    ("name", "sd", "memory", "worth"),
    [
        ("michelson", 0.0790105478190518, 0.535199668621283, 30.28),
        ("mavro", 0.000429123454003053, 0.937989183438248, 1.60),
    ],
)
def test_autocorrelated_samples_count_for_their_effective_number(
    name: str, sd: float, memory: float, worth: float
) -> None:
    values = np.loadtxt(DATA / f"nist_{name}.csv", comments="#", skiprows=2)
    assert len(values) * (1.0 - memory) / (1.0 + memory) == pytest.approx(worth, abs=0.005)
    found = leg(made_seconds(values), "a")
    assert found.speed_sd_mps == pytest.approx(sd / math.sqrt(worth), rel=2e-3)
    assert found.speed_mps == pytest.approx(values.mean(), rel=1e-12)
    by_power = leg(made_seconds(np.full(len(values), 2.0), power_w=values), "a")
    assert by_power.power_sd_w == pytest.approx(sd / math.sqrt(worth), rel=2e-3)


def test_alternating_samples_do_not_count_for_more() -> None:
    # NIST StRD Lew: its lag-1 autocorrelation is negative, -0.307 (certified).
    values = 1000.0 + np.loadtxt(DATA / "nist_lew.csv", comments="#", skiprows=2)
    assert leg(made_seconds(values), "a").speed_sd_mps == pytest.approx(
        277.332168044316 / math.sqrt(200.0), rel=1e-9
    )


def test_means_times_and_course() -> None:
    found = leg(made_seconds(np.full(60, -1.2), 1.6, t_s=np.arange(60.0) + 101.0), "a", "log")
    assert found.speed_mps == pytest.approx(2.0)
    assert found.course_deg == pytest.approx(math.degrees(math.atan2(-1.2, 1.6)) % 360.0)
    assert (found.start_s, found.seconds_s, found.middle_s) == (100.0, 60.0, 130.0)
    assert (found.setup, found.place, found.power_w) == ("a", "log", 400.0)
    moved = found.at(3, 1000.0)
    assert (moved.outing, moved.start_s, moved.power_w) == (3, 1100.0, 400.0)


def test_speed_is_that_made_good_not_the_mean_of_speeds() -> None:
    # Weaving by 30 degrees to both sides: the distance made good is shorter than the track.
    north = np.full(60, 2.0 * math.cos(math.radians(30.0)))
    east = np.where(np.arange(60) % 2, 1.0, -1.0)
    assert leg(made_seconds(east, north), "a").speed_mps == pytest.approx(math.sqrt(3.0))


def test_unknown_seconds_are_skipped() -> None:
    east, power = np.full(60, 2.0), np.full(60, 400.0)
    east[10], power[20:22] = np.nan, np.nan
    found = leg(made_seconds(east, power_w=power), "a")
    assert (found.speed_mps, found.power_w, found.seconds_s) == (2.0, 400.0, 60.0)
    assert math.isnan(found.rpm)
    assert math.isnan(found.pack_degc)
    half = np.where(np.arange(60) < 30, 1000.0, np.nan)
    assert leg(made_seconds(np.full(60, 2.0), rpm=half), "a").rpm == 1000.0


def test_power_that_rises_and_power_that_swings() -> None:
    rising = leg(made_seconds(np.full(60, 2.0), power_w=np.linspace(380.0, 420.0, 60)), "a")
    assert rising.power_drift_fraction == pytest.approx(0.1)
    tens = np.where(np.arange(60) // 10 % 2, 440.0, 360.0)
    swinging = leg(made_seconds(np.full(60, 2.0), power_w=tens), "a")
    assert swinging.power_swing_fraction == pytest.approx(0.1 * math.sqrt(6 / 5))
    seconds = np.where(np.arange(60) % 2, 440.0, 360.0)
    rippled = leg(made_seconds(np.full(60, 2.0), power_w=seconds), "a")
    assert rippled.power_swing_fraction == pytest.approx(0.0, abs=1e-12)
