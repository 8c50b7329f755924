"""The simulated sensors."""

import numpy as np
import pytest

from tests.craft.chance import gauss_markov, generator
from tests.craft.earth import radii_m
from tests.craft.recording import Recording
from tests.craft.sensors import Sensors, drawn, read, reported_energy_wh
from tests.craft.truth import totals


def test_gauss_markov_has_the_stated_spread_and_memory() -> None:
    # Theory of the first-order process: correlation exp(-t / memory) at a lag of t.
    series = gauss_markov(400_000, 0.1, 1.5, 2.0, np.random.default_rng(1))
    assert series.std() == pytest.approx(1.5, rel=0.02)
    for lag_s in (0.5, 2.0, 4.0):
        lag = round(lag_s / 0.1)
        correlation = np.corrcoef(series[:-lag], series[lag:])[0, 1]
        assert correlation == pytest.approx(np.exp(-lag_s / 2.0), abs=0.03)


def test_gauss_markov_starts_in_its_steady_state() -> None:
    starts = [gauss_markov(2, 0.1, 1.5, 60.0, generator(seed, "x"))[0] for seed in range(2000)]
    assert np.std(starts) == pytest.approx(1.5, rel=0.06)


def test_parts_draw_independently() -> None:
    one, two = (generator(1, part).standard_normal(5000) for part in ("gps", "waves"))
    assert abs(np.corrcoef(one, two)[0, 1]) < 0.06


def test_truth_is_scale_times_reading_plus_offset(harbour: Recording) -> None:
    # The sensors' own definition, inverted.
    sensors = Sensors(current_scale=1.03, current_offset_a=0.2, voltage_scale=0.99)
    readings = read(harbour.truth, sensors, 1)
    driven = harbour.truth.drive_w > 50.0
    amps = sensors.current_scale * readings.amps_a + sensors.current_offset_a
    assert np.mean(amps[driven] - harbour.truth.amps_a[driven]) == pytest.approx(0.0, abs=2e-3)
    volts = sensors.voltage_scale * readings.volts_v
    assert np.mean(volts - harbour.truth.volts_v) == pytest.approx(0.0, abs=1e-3)
    assert readings.amps_a.min() >= 0.0


def test_reported_energy(harbour: Recording) -> None:
    truth, sums = harbour.truth, totals(harbour.truth)
    assert reported_energy_wh(truth, Sensors()) == pytest.approx(sums.energy_wh, rel=1e-12)
    double = Sensors(current_scale=0.5, voltage_scale=2.0)
    assert reported_energy_wh(truth, double) == pytest.approx(sums.energy_wh, rel=1e-12)
    sensors = harbour.scenario.sensors
    noisy_wh = read(truth, sensors, harbour.seed).used_wh[-1]
    assert noisy_wh == pytest.approx(reported_energy_wh(truth, sensors), rel=5e-4)


def test_position_error_wanders_and_velocity_error_stays_small(harbour: Recording) -> None:
    truth = harbour.truth
    norths, easts, fused = [], [], []
    for seed in range(25):
        readings = read(truth, Sensors(), seed)
        off_deg = readings.latitude_deg - truth.latitude_deg
        norths.append(np.radians(off_deg) * radii_m(truth.latitude_deg)[0])
        easts.append(readings.east_mps - truth.east_mps)
        fused.append(readings.fused_east_mps - truth.east_mps)
    assert np.sqrt(np.mean(np.square(norths))) == pytest.approx(np.hypot(1.2, 0.03), rel=0.2)
    assert np.sqrt(np.mean(np.square(easts))) == pytest.approx(np.hypot(0.04, 0.02), rel=0.05)
    assert 0.0 < np.sqrt(np.mean(np.square(fused))) < np.hypot(0.04, 0.02)
    assert abs(np.diff(norths[0][::20])).mean() < 0.5 * np.std(norths)


def test_drawn_sensors_spread_as_stated() -> None:
    sensors = [drawn(seed, current_offset_sd_a=0.1) for seed in range(1500)]
    scales = np.array([(s.current_scale, s.voltage_scale, s.current_offset_a) for s in sensors])
    assert scales.mean(axis=0) == pytest.approx([1.0, 1.0, 0.0], abs=0.01)
    assert scales.std(axis=0) == pytest.approx([0.02, 0.005, 0.1], rel=0.07)
