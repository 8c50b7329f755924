"""Energy and charge, against scipy's trapezoid and simulated discharges of published cells."""

import csv
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid, trapezoid

from onboard.efficiency.meters.energy import EnergyMeter
from onboard.profile import Sensors

PLAIN = Sensors()
DATA = Path(__file__).parents[3] / "data"


def meter(t_s, volts, amps, sensors=PLAIN, blocks=1) -> EnergyMeter:
    counted = EnergyMeter(sensors)
    columns = (np.asarray(column, float) for column in (t_s, volts, amps))
    for part in zip(*(np.array_split(column, blocks) for column in columns), strict=True):
        counted.fold(*part)
    return counted


def test_energy_and_charge_equal_scipys_trapezoid() -> None:
    rng = np.random.default_rng(4)
    t_s = np.cumsum(rng.uniform(0.05, 2.0, 5000))
    volts, amps = rng.uniform(50, 58, 5000), rng.uniform(-2, 60, 5000)
    counted = meter(t_s, volts, amps, blocks=37)
    assert counted.curves.total("energy_wh") == pytest.approx(
        trapezoid(volts * amps, t_s) / 3600, rel=1e-12
    )
    assert counted.curves.total("charge_ah") == pytest.approx(
        trapezoid(amps, t_s) / 3600, rel=1e-12
    )
    curve = cumulative_trapezoid(volts * amps, t_s, initial=0) / 3600
    for n in (4999, 4990, 4000):
        assert counted.curves.at("energy_wh", t_s[n]) == pytest.approx(curve[n], rel=1e-12)
    assert counted.bridged_wh == 0.0


def discharges() -> list[tuple[str, float, np.ndarray, float, float]]:
    """Return curves at 5 % steps of published cell models, simulated with PyBaMM (DFN, 25 degC).

    PyBaMM 26.10. Each row: set, rate, [charge, terminal voltage], and the run's own Ah and Wh,
    integrated by that program over its own fine steps.
    """
    curves = defaultdict(list)
    with (DATA / "pybamm_discharge_curves.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            key = row["parameter_set"], float(row["c_rate"])
            curves[key].append((float(row["Ah_out"]), float(row["terminal_V"])))
    with (DATA / "pybamm_discharge_summary.csv").open(newline="") as file:
        return [
            (*key, np.array(curves[key]), float(row["discharged_Ah"]), float(row["discharged_Wh"]))
            for row in csv.DictReader(file)
            if (key := (row["parameter_set"], float(row["c_rate"]))) in curves
        ]


@pytest.mark.parametrize(("name", "rate", "curve", "charge_ah", "energy_wh"), discharges())
def test_a_published_discharge_gives_its_watt_hours(
    name: str, rate: float, curve: np.ndarray, charge_ah: float, energy_wh: float
) -> None:
    # The table has a point every 5 % of the charge; between them the voltage is taken as straight,
    # which costs up to 1 % where it falls steeply at the end.
    amps = 10.0
    t_s = np.linspace(0, charge_ah / amps * 3600, 4000)
    volts = np.interp(t_s * amps / 3600, curve[:, 0], curve[:, 1])
    counted = meter(t_s, volts, np.full(4000, amps), blocks=5)
    assert counted.curves.total("charge_ah") == pytest.approx(charge_ah, rel=1e-5)
    assert counted.curves.total("energy_wh") == pytest.approx(energy_wh, rel=0.01)


def test_a_steady_power_for_an_hour() -> None:
    # 100 W for an hour.
    counted = meter(np.arange(3601.0), np.full(3601, 50.0), np.full(3601, 2.0))
    assert counted.curves.total("energy_wh") == pytest.approx(100.0)
    assert counted.curves.total("charge_ah") == pytest.approx(2.0)


def test_corrections_of_the_profile_are_applied() -> None:
    sensors = Sensors(current_scale=1.1, current_offset_a=-0.5, voltage_scale=0.98)
    counted = meter([0.0, 3.0], [50.0, 50.0], [10.0, 10.0], sensors)
    assert counted.curves.total("energy_wh") == pytest.approx(
        3 * (0.98 * 50) * (1.1 * 10 - 0.5) / 3600
    )


def test_a_gap_is_bridged_by_the_mean_of_both_sides_and_counted() -> None:
    counted = meter([0, 1, 2, 62, 63], [50] * 5, [10, 10, 10, 20, 20])
    assert counted.bridged_wh == pytest.approx(60 * 50 * 15 / 3600)
    assert counted.curves.total("energy_wh") == pytest.approx(
        (2 * 500 + 60 * 750 + 1 * 1000) / 3600
    )
    assert counted.curves.total("measured_s") == 3.0


def test_unknown_impossible_and_late_samples_change_nothing_but_their_counts() -> None:
    clean = meter([0, 1, 2, 3], [50] * 4, [10] * 4)
    dirty = meter(
        [0, 0.5, 1, 1.5, 0.7, 2, 2, 2.5, 3],
        [50, np.nan, 50, 50, 50, 50, 50, 65_000, 50],
        [10, 10, 10, np.nan, 99, 10, 99, 10, 10],
        blocks=4,
    )
    assert dirty.curves.total("energy_wh") == pytest.approx(
        clean.curves.total("energy_wh"), rel=1e-12
    )
    assert (dirty.gate.unknown, dirty.gate.impossible, dirty.gate.late) == (2, 1, 2)


def over_gap(charge_out, energy_out, sensors=PLAIN) -> EnergyMeter:
    """Return a steady 500 W at 50 V on both sides of an unknown minute."""
    counted = EnergyMeter(sensors)
    t_s = np.array([0.0, 1.0, 61.0, 62.0])
    counted.fold(
        t_s, np.full(4, 50.0), np.full(4, 10.0), np.array(charge_out), np.array(energy_out)
    )
    return counted


UNKNOWN = [np.nan] * 4
AN_HOUR_S = 3600


def test_a_gap_is_filled_from_the_energy_counter() -> None:
    counted = over_gap([0, 0, 0.4, 0.4], [0, 0, 20.0, 20.0])
    assert counted.curves.total("energy_wh") == pytest.approx(2 * 500 / AN_HOUR_S + 20.0)
    assert counted.curves.total("charge_ah") == pytest.approx(2 * 10 / AN_HOUR_S + 0.4)
    assert (counted.bridged_wh, counted.counted_wh) == (0.0, 20.0)


def test_a_gap_is_filled_from_the_charge_counter_where_there_is_no_other() -> None:
    counted = over_gap([0, 0, 0.4, 0.4], UNKNOWN)
    assert counted.curves.total("energy_wh") == pytest.approx(2 * 500 / AN_HOUR_S + 0.4 * 50)
    assert counted.bridged_wh == 0.0
    by_energy = over_gap(UNKNOWN, [0, 0, 20.0, 20.0])
    assert by_energy.curves.total("charge_ah") == pytest.approx(2 * 10 / AN_HOUR_S + 20 / 50)


def test_counters_get_the_same_corrections_as_the_current() -> None:
    sensors = Sensors(current_scale=1.1, current_offset_a=0.5, voltage_scale=0.98)
    counted = over_gap([0, 0, 0.4, 0.4], [0, 0, 20.0, 20.0], sensors)
    # A meter that saw the same minute sample by sample: 0.4 Ah at 50 V within 60 s.
    seen = meter([0, 1, 1.001, 60.999, 61, 62], [50] * 6, [10, 10, 24, 24, 10, 10], sensors)
    assert counted.curves.total("energy_wh") == pytest.approx(
        seen.curves.total("energy_wh"), rel=1e-3
    )
    assert counted.curves.total("charge_ah") == pytest.approx(
        seen.curves.total("charge_ah"), rel=1e-3
    )


def test_a_counter_that_was_reset_does_not_count() -> None:
    counted = over_gap([1.0, 1.0, 0.1, 0.1], [50.0, 50.0, 5.0, 5.0])
    assert counted.bridged_wh == pytest.approx(60 * 500 / AN_HOUR_S)
    assert counted.counted_wh == 0.0


def test_a_counter_that_stands_still_while_current_flows_is_rejected() -> None:
    counted = over_gap([0, 0, 0, 0], [0, 0, 0, 0])
    assert counted.bridged_wh == pytest.approx(60 * 500 / AN_HOUR_S)
    idle = EnergyMeter(PLAIN)
    zero = np.zeros(2)
    idle.fold(np.array([0.0, 60.0]), np.full(2, 50.0), np.full(2, 0.05), zero, zero)
    assert (idle.curves.total("energy_wh"), idle.bridged_wh) == (0.0, 0.0)


def test_a_counter_that_jumped_is_rejected() -> None:
    counted = over_gap([0, 0, 2_147_483.0, 2_147_483.0], UNKNOWN)
    assert counted.bridged_wh == pytest.approx(60 * 500 / AN_HOUR_S)


def test_a_bridged_gap_widens_the_interval() -> None:
    # A minute between 500 W and 1000 W after a steady half hour: a quarter of the mean as prior
    # (half of its variance at this length), and a step at any time (uniform: 500 W over sqrt 12).
    t_s = np.concatenate([np.arange(1800.0), [1859.0, 1860.0]])
    amps = np.where(t_s < 1800, 10.0, 20.0)
    counted = meter(t_s, np.full(len(t_s), 50.0), amps)
    guess = (0.25 * 750) ** 2 * 60 / 120 + 500**2 / 12
    assert counted.bridged_variance_wh2 == pytest.approx((60 / 3600) ** 2 * guess, rel=1e-6)
    # With power that changes all the time, the gap is more uncertain.
    varied = meter(t_s, np.full(len(t_s), 50.0), np.where(t_s % 60 < 30, amps - 8, amps + 8))
    assert varied.bridged_variance_wh2 > 2 * counted.bridged_variance_wh2
