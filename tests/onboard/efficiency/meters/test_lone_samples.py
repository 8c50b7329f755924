"""Lone samples of a power sensor are left out; a blip of the throttle is not."""

import numpy as np
import pytest

from onboard.efficiency.meters.energy import EnergyMeter
from onboard.efficiency.meters.lone_samples import LoneSamples
from onboard.profile import Sensors
from tests.craft.craft import Ride
from tests.craft.crafts import BOARD, SKIFF, TENDER
from tests.craft.ride import simulate
from tests.craft.rider import Leg, Rider
from tests.craft.scenarios import HARBOUR_LOOP
from tests.craft.sensors import read

STEADY = [(50.0, 10.0)] * 5
HARD = [(46.5, 80.0)] * 3
"""The same pack, 50 milliohm, under load."""


@pytest.mark.parametrize(
    ("between", "left_out"),
    [
        ([(50.0, 327.67)], 1),
        ([(50.0, -327.0)], 1),
        ([(50.0, -40.0)], 1),
        ([(50.0, 150.0)], 1),
        ([(65.5, 10.0)], 1),
        ([(0.4, 10.0)], 1),
        ([(65.5, 327.0)], 1),
        ([(50.0, -327.0), (50.0, 10.0), (50.0, 327.0)], 2),
        ([(50.0, 327.0), (50.0, 327.0)], 0),  # not alone
        ([(48.0, 50.0)], 0),  # a blip of half a second: the pack answers
        ([(34.2, 327.0)], 0),
        ([(50.0, 50.0)], 0),  # from a monitor whose voltage is not known to follow the current
        ([(50.0, 29.0)], 0),
        ([(42.5, 160.0)], 0),
        ([(50.0, 50.0), (48.0, 50.0), (48.0, 10.0)], 0),  # voltage and current one sample apart
        ([(48.9, 10.0)], 0),
    ],
)
@pytest.mark.parametrize("blocks", [1, 40])
def test_samples_that_differ_from_both_neighbours(between, left_out: int, blocks: int) -> None:
    samples = [*STEADY, *between, *STEADY]
    rows = np.array([(n / 2, *one) for n, one in enumerate(samples)]).T
    lone = LoneSamples()
    counted = [lone.passes(part) for part in np.array_split(rows, blocks, axis=1)]
    assert sum(len(times) for _, times in counted) == left_out
    assert sum(part.shape[1] for part, _ in counted) == len(samples) - left_out


def test_a_voltage_known_to_follow_reveals_a_smaller_fault() -> None:
    samples = [*STEADY, *HARD, *STEADY, *HARD, *STEADY, (49.6, 190.0), *STEADY]
    rows = np.array([(n / 2, *one) for n, one in enumerate(samples)]).T
    assert LoneSamples().passes(rows)[1] == [rows[0, 22]]  # known from the next on


def test_an_odd_current_adds_nothing_and_a_step_counts_in_full() -> None:
    def energy_wh(amps) -> float:
        meter = EnergyMeter(Sensors())
        t_s = np.arange(len(amps)) * 0.1
        for n in range(len(amps)):
            meter.fold(t_s[n : n + 1], np.array([26.0]), np.array(amps[n : n + 1], float))
        return meter.curves.total("energy_wh")

    steady = energy_wh([10.0] * 100)
    assert energy_wh([10.0] * 50 + [-327.0] + [10.0] * 49) == pytest.approx(steady, abs=1e-9)
    step = energy_wh([10.0] * 50 + [327.0] * 50)
    assert step == pytest.approx(26.0 * (4.9 * 10 + 0.1 * 168.5 + 4.9 * 327) / 3600)


def test_the_newest_sample_waits_only_if_odd_and_keeps_the_sensor_active() -> None:
    meter = EnergyMeter(Sensors())
    for t_s, amps in ((0.0, 10.0), (1.0, 10.0), (2.0, 327.0)):
        meter.fold(np.array([t_s]), np.array([50.0]), np.array([amps]))
    assert (meter.curves.last_s, meter.last_seen_s, meter.gate.impossible) == (1.0, 2.0, 0)
    meter.fold(np.array([3.0]), np.array([50.0]), np.array([10.0]))
    assert (meter.curves.last_s, meter.gate.impossible) == (3.0, 1)
    assert list(meter.gate.impossible_s) == [3.0]  # when it was known


@pytest.mark.parametrize(("craft", "most_w"), [(SKIFF, 1500), (BOARD, 2000), (TENDER, 700)])
def test_blips_of_the_throttle_are_not_lost(craft, most_w: float) -> None:
    rng = np.random.default_rng(5)
    plan = [Leg("rest", 5.0, power_w=0.0)]
    for _ in range(30):
        hold_w, blip_w = float(rng.choice([0, 150, 400])), float(rng.uniform(0.5, 1) * most_w)
        plan.append(Leg("hold", float(rng.uniform(1.5, 5)), power_w=hold_w, ramp_s=0.2))
        plan.append(Leg("blip", float(rng.uniform(0.2, 0.7)), power_w=blip_w, ramp_s=0.05))
    water = HARBOUR_LOOP.ride.water
    truth = simulate(Ride(craft, water, Rider(float(most_w)), tuple(plan), 45.0, -30.0), 3)
    found = read(truth, HARBOUR_LOOP.sensors, 3)
    smoothed = np.convolve(found.volts_v, np.full(20, 1 / 20))[: len(found.volts_v)]
    smoothed[:20] = found.volts_v[:20]
    for volts in (found.volts_v, np.round(found.volts_v, 1), smoothed, 0 * smoothed + 50.0):
        for every in (20, 10, 4, 2):  # 1, 2, 5 and 10 Hz
            rows = np.stack([truth.time_s, volts, found.amps_a])[:, ::every]
            assert LoneSamples().passes(rows)[1] == []
    # Odd samples among them, far apart, are nearly all found.
    rows = np.stack([truth.time_s, found.volts_v, found.amps_a])[:, ::10]
    places = np.arange(8, rows.shape[1] - 2, 11)
    rows[2, places] = rng.choice([-327.67, 327.67], len(places))
    assert len(LoneSamples().passes(rows)[1]) > 0.8 * len(places)
