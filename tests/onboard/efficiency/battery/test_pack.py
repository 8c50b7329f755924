"""The battery against published cells, exact sag, and drawn errors."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import simpson

from onboard.efficiency.battery.charge_state import ChargeState
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.pack_errors import SIZE, prior
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.battery.resistance import LagResistance
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import CAPACITY, GAIN, START
from onboard.profile import Battery, Sensors
from tests.onboard.efficiency.battery.made_packs import LFP, LI_ION, load, published, seconds

DATA = Path(__file__).parents[3] / "data"
TABLE = OCV_CURVES["li-ion"]
NO_ZERO = Sensors(current_offset_sd_a=0.0)


def test_the_tables_are_the_published_curves() -> None:
    # PyBaMM 26.10: tests/data/README.md. On the LFP plateau 30 % of the charge are 21.5 mV.
    sets = published()
    at = np.linspace(0, 1, 21)
    li_ion, lfp = OCV_CURVES["li-ion"], OCV_CURVES["lfp"]
    mean = np.mean([sets[name] for name in ("Chen2020", "Mohtat2020", "Ai2020")], axis=0)
    assert np.interp(at, li_ion.fraction, li_ion.ocv_v) == pytest.approx(mean, abs=6e-4)
    assert np.interp(at, lfp.fraction, lfp.ocv_v)[:-1] == pytest.approx(
        sets["Prada2013"][:-1], abs=6e-4
    )
    flat = np.interp([0.4, 0.7], lfp.fraction, lfp.ocv_v)
    assert flat[1] - flat[0] == pytest.approx(0.0215, abs=1e-3)
    assert np.all(np.diff(li_ion.ocv_v) > 0)


@pytest.mark.parametrize(
    ("name", "chemistry"), [("Chen2020", "li-ion"), ("Mohtat2020", "li-ion"), ("Ai2020", "li-ion")]
)
def test_a_published_discharge_lies_within_the_interval(name: str, chemistry: str) -> None:
    # Simulated discharges at C/5 from full to the cell's own limit, DFN, 25 degC: the energy out is
    # the pack's stated energy, given the charge of that run.
    with (DATA / "pybamm_discharge_summary.csv").open(newline="") as file:
        row = next(
            row
            for row in csv.DictReader(file)
            if row["parameter_set"] == name and float(row["c_rate"]) == 0.2
        )
    charge, energy = float(row["discharged_Ah"]), float(row["discharged_Wh"])
    sag = float(OCV_CURVES[chemistry].mean_v) - energy / charge
    battery = Battery(
        chemistry, 1, charge, reserve_fraction=0.0, cutoff_v=float(row["lower_cutoff_V"]),
        resistance_ohm=max(sag, 0.02) / (0.2 * charge), capacity_sd=0.0, start_sd=0.0,
    )  # fmt: skip
    left = Pack(battery, Sensors()).summary(0.2 * charge * 3.7).left_wh
    assert left.low < energy < left.high
    assert left.high - left.low < 0.2 * energy


def test_energy_at_a_power_is_scipys_integral() -> None:
    # V = (E + sqrt(E^2 - 4 R P)) / 2. R by hand: stated as 0.05 ohm to a fifth; what lasts is 1.3
    # of it to 0.3 of it; their mean by weights of 1e4 and 4444: 0.05462 ohm.
    ohm = 0.05462
    pack = Pack(replace(LI_ION, cutoff_v=30.0), Sensors())
    chemistry = OCV_CURVES["li-ion"]
    reserve = chemistry.at_energy(0.2)
    for power in (0.0, 300.0, 900.0):

        def volts(s: float, power: float = power) -> float:
            open_v = 14 * np.interp(s, chemistry.fraction, chemistry.ocv_v)
            return (open_v + np.sqrt(open_v**2 - 4 * ohm * power)) / 2

        at = np.linspace(reserve, 1.0, 4001)
        exact = 25.0 * simpson([volts(s) for s in at], x=at)
        assert pack.left_spread(power).value == pytest.approx(exact, rel=2e-3)


def test_the_cutoff_comes_before_the_reserve_where_the_voltage_sags() -> None:
    weak = replace(LI_ION, resistance_ohm=0.4, cutoff_v=46.0)
    at_rest, at_work = (Pack(weak, Sensors()).left_spread(p).value for p in (1.0, 1000.0))
    assert at_work < 0.7 * at_rest
    assert Pack(weak, Sensors()).left_spread(5000.0).value == 0.0


def test_the_resistance_shown_is_the_immediate_one() -> None:
    shown = Pack(replace(LI_ION, resistance_ohm=0.1), Sensors()).summary(300.0)
    assert shown.resistance_ohm.value == pytest.approx(0.1, rel=0.05)
    assert shown.resistance_ohm.low < 0.1 < shown.resistance_ohm.high < 0.5
    assert shown.left_fraction.value > 0.5


def test_energy_left_falls_by_the_energy_drawn() -> None:
    pack = Pack(replace(LI_ION, resistance_ohm=1e-6), Sensors())
    before = pack.left_spread(0.0).value
    settled = load(replace(LI_ION, resistance_ohm=0.0), np.full(3600, 5.0))
    pack.fold(settled)
    drawn = float((settled.power_w / 3600).sum())
    assert before - pack.left_spread(0.0).value == pytest.approx(drawn, rel=1e-3)


def test_the_charge_is_of_the_whole_pack_whatever_the_reserve() -> None:
    # By hand: 25 Ah from full, 5 A for an hour leaves 20 of 25. A sensor 2 % off in 5 Ah and a
    # capacity 3 % off make 0.4 and 0.6 % of the charge; a start 1 % off comes on top.
    for reserve in (0.0, 0.3):
        battery = replace(LI_ION, capacity_ah=25.0, reserve_fraction=reserve, start_sd=0.01)
        pack = Pack(battery, NO_ZERO)
        pack.fold(load(battery, np.full(3600, 5.0)))
        charge = pack.summary(250.0).charge_fraction
        assert charge.value == pytest.approx(0.8, abs=1e-3)
        sd = np.sqrt(0.01**2 + 0.004**2 + 0.006**2)
        assert (charge.high - charge.low) / 2 == pytest.approx(1.96 * sd, rel=0.05)
    full = Pack(LI_ION, Sensors()).summary(0.0).charge_fraction
    assert (full.value, full.high) == (1.0, 1.0)


@pytest.mark.parametrize("cuts", [1, 7, 400])
def test_the_count_does_not_depend_on_the_cut(cuts: int) -> None:
    rng = np.random.default_rng(2)
    amps = np.repeat(rng.choice([0.0, 0.1, 4.0, 9.0, 20.0], 12), 200)
    whole, pieces = Pack(LI_ION, Sensors()), Pack(LI_ION, Sensors())
    settled = load(LI_ION, amps, start=0.8)
    whole.fold(settled)
    for part in np.array_split(np.arange(len(amps)), cuts):
        pieces.fold(settled.part(part[0], part[-1] + 1))
    assert pieces.summary(300.0) == whole.summary(300.0)


def test_resistance_at_once_and_lasting() -> None:
    # A pack with 0.05 ohm at once and 0.03 ohm more after half a minute.
    rng = np.random.default_rng(5)
    amps = np.repeat(rng.uniform(2, 25, 60), 60)
    slow = np.zeros(len(amps))
    for n in range(1, len(amps)):
        slow[n] = slow[n - 1] + (0.03 * amps[n] - slow[n - 1]) / 15.0
    volts = 50 - 0.05 * amps - slow + rng.normal(0, 0.01, len(amps))
    volts[500] = 20.0
    immediate, lasting = LagResistance(2, None), LagResistance(60, None)
    for slope in (immediate, lasting):
        assert slope.value_and_sd() is None
        slope.fold(volts, amps, np.full(len(amps), 50.0))
    value, sd = immediate.value_and_sd()
    assert value == pytest.approx(0.052, abs=0.004)
    assert 0 < sd < 0.005
    value, sd = lasting.value_and_sd()
    # Not all of it shows in a minute's mean.
    assert 0.065 < value < 0.085
    stated = LagResistance(2, 0.2).figure()
    assert (stated.value, stated.low) == pytest.approx((0.2, 0.2 * (1 - 0.2 * 1.959964)))


def test_a_rested_li_ion_pack_is_corrected_to_its_true_charge() -> None:
    pack = Pack(replace(LI_ION, start_sd=0.3), Sensors())
    pack.fold(load(LI_ION, np.full(30, 0.1), start=0.6))
    fraction, gradient = pack.count.state.fraction(0.0, 30.0)
    assert fraction == pytest.approx(0.6, abs=0.1)
    assert np.sqrt(gradient @ pack.count.state.covariance @ gradient) < 0.12
    assert not pack.contradicted


def test_a_pack_is_not_rested_right_after_a_load() -> None:
    # The voltage still recovers: 40 mV a cell low. Two minutes are uninformative, ten are not.
    vague = replace(LI_ION, start_sd=0.1)
    work = load(LI_ION, np.full(600, 20.0), start=0.8)
    for rest_s, moved in ((120, False), (600, True)):
        pack = Pack(vague, Sensors())
        pack.fold(work)
        before = pack.count.state
        pack.fold(seconds(np.full(rest_s, 52.0), 0.1, 600.0, 20.0 / 6))
        assert (pack.count.state is not before) is moved


def test_a_pack_wrongly_stated_full_is_contradicted() -> None:
    pack = Pack(LI_ION, Sensors())
    pack.fold(load(LI_ION, np.full(30, 0.1), start=0.5))
    assert pack.contradicted
    assert pack.count.state.fraction(0.0, 30.0)[0] == pytest.approx(0.5, abs=0.12)
    full = Pack(LI_ION, Sensors())
    full.fold(load(LI_ION, np.full(30, 0.1), start=1.0))
    assert not full.contradicted


def test_on_the_lfp_plateau_a_voltage_is_uninformative() -> None:
    vague = replace(LFP, start_fraction=0.55, start_sd=0.12)
    pack = Pack(vague, Sensors())
    before = pack.summary(200.0).left_fraction
    pack.fold(load(LFP, np.full(400, 0.1), start=0.55))
    after = pack.summary(200.0).left_fraction
    assert after.high - after.low > 0.85 * (before.high - before.low)
    # A rested LFP pack at 3.35 V a cell may well be full.
    full = Pack(LFP, Sensors())
    full.fold(seconds(np.full(30, 8 * 3.35), 0.1))
    assert not full.contradicted


def test_sensors_are_considered_and_never_corrected() -> None:
    state = ChargeState(25.0, 1.0, 0.0, 0.0, np.zeros(SIZE), prior(Sensors(), LI_ION, TABLE))
    after = state.anchored(OCV_CURVES["li-ion"], 3.70, 0.005, 14.5, 7200.0)
    assert np.all(after.mean[[GAIN, 3, 4]] == 0)
    assert after.covariance[GAIN, GAIN] == pytest.approx(0.02**2)
    assert after.covariance[CAPACITY, GAIN] != 0
    assert np.all(np.linalg.eigvalsh(after.covariance) > -1e-12)


def test_an_anchor_never_widens_the_interval() -> None:
    before = prior(Sensors(), LI_ION, TABLE)
    state = ChargeState(25.0, 1.0, 0.0, 0.0, np.zeros(SIZE), before)
    for charge in (0.5, 5.0, 14.5, 20.0):
        _, gradient = state.fraction(charge, 3600.0)
        volts = float(np.interp(1 - charge / 25, *_table("li-ion")))
        after = state.anchored(OCV_CURVES["li-ion"], volts, 0.005, charge, 3600.0)
        assert gradient @ after.covariance @ gradient <= gradient @ before @ gradient * 1.0001


def _table(chemistry: str) -> tuple[np.ndarray, np.ndarray]:
    return OCV_CURVES[chemistry].fraction, OCV_CURVES[chemistry].ocv_v


def test_charged_full_restarts_the_count() -> None:
    pack = Pack(LFP, Sensors())
    pack.fold(load(LFP, np.full(3600, 10.0)))
    pack.charged_full()
    assert pack.count.state.fraction(10.0, 3600.0)[0] == pytest.approx(1.0)
    assert pack.covariance[START, START] == pytest.approx(0.01**2)
    assert pack.covariance[START, GAIN] == 0


def test_the_count_survives_a_restart_of_the_daemon() -> None:
    # One pack is counted through; the other's daemon restarts after an hour and misses 0.4 Ah.
    amps = np.full(7200, 6.0)
    through, first, second = (Pack(LI_ION, NO_ZERO) for _ in range(3))
    through.fold(load(LI_ION, amps))
    first.fold(load(LI_ION, amps[:3600]))
    second.resume(first.count.as_dict(), Away(240.0, True, drawn_ah=0.4))
    second.fold(load(LI_ION, amps[3840:], start=1 - 6.4 / 25, begin_s=0.0))
    one, other = through.summary(300.0), second.summary(300.0)
    assert other.left_wh.value == pytest.approx(one.left_wh.value, rel=2e-3)
    width = [state.left_wh.high - state.left_wh.low for state in (one, other)]
    assert width[1] == pytest.approx(width[0], rel=0.03)
    unknown = Pack(LI_ION, NO_ZERO)
    unknown.resume(first.count.as_dict(), Away())
    assert unknown.covariance[START, START] > first.count.as_dict()["covariance"][START][START]


@pytest.mark.parametrize(
    "kept",
    [None, {}, {"fraction": 2.0, "capacity_error": 0.0, "covariance": [[0]], "contradicted": 0}],
)
def test_the_saved_state_is_validated(kept) -> None:
    with pytest.raises(ValueError, match="kept battery state"):
        Pack(LI_ION, Sensors()).resume(kept, Away())


@pytest.mark.parametrize("battery", [LI_ION, LFP])
def test_the_interval_of_the_energy_left_has_its_coverage(battery: Battery) -> None:
    # Start, capacity and sensors are drawn from the profile's uncertainties; the truth by charge.
    rng = np.random.default_rng(1)
    chemistry = OCV_CURVES[battery.chemistry]
    inside, count = 0, 400
    for _ in range(count):
        start, capacity, gain, offset = rng.normal(0, [0.02, 0.03, 0.02, 0.02])
        hours, amps = rng.uniform(0.5, 2.5), battery.capacity_ah * 0.25
        drawn = (amps * (1 + gain) + offset) * hours
        full = battery.capacity_ah * (1 + capacity)
        fraction = 1 + start - drawn / full
        cells = rng.normal()
        shape = chemistry.ocv_v + cells * chemistry.sd_v
        energy = np.concatenate([[0], np.cumsum((shape[1:] + shape[:-1]) / 2)]) / (len(shape) - 1)
        reserve = np.interp(0.2 * energy[-1], energy, chemistry.fraction)
        at = np.interp([min(fraction, 1.0), reserve], chemistry.fraction, energy)
        truth = max(at[0] - at[1], 0.0) * full * battery.cells
        pack = Pack(replace(battery, resistance_ohm=1e-6), Sensors())
        steps = np.full(20, amps * hours / 20 * 3600)
        nothing = np.full(20, np.nan)
        pack.fold(
            SettledSeconds(
                np.arange(1, 21) * hours * 180.0, nothing, nothing, nothing,
                np.cumsum(steps) / 3600, *([nothing] * 8),
            )
        )  # fmt: skip
        left = pack.summary(0.0).left_wh
        inside += left.low <= truth <= left.high
    # 95 % of 400 are 380; three standard deviations of that count are 13.
    assert inside >= 367


@pytest.mark.parametrize(
    ("name", "slope", "sd"),
    [("noint1", 2.07438016528926, 0.0165289256198347), ("noint2", 0.727272727272727, 0.42082731)],
)
def test_resistance_is_the_regression_through_the_origin(name, slope, sd) -> None:
    # NIST StRD NoInt1 and NoInt2, certified values as in GSL's fit/test.c. Each point stands
    # twice, as a step up and one down, many times over, so that all of them count; old steps count
    # for less, hence the tolerance.
    lines = (DATA / f"nist_{name}.csv").read_text().splitlines()
    points = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    x = np.array([float(row["x"]) for row in points] * 40)
    y = np.array([float(row["y"]) for row in points] * 40)
    amps = np.column_stack([np.zeros(len(x)), x]).ravel()
    volts = -np.column_stack([np.zeros(len(y)), y]).ravel()
    fitted = LagResistance(1, None)
    fitted.fold(volts, amps, np.zeros(len(volts)))
    value, _ = fitted.value_and_sd()
    assert value == pytest.approx(slope, abs=max(0.02 * slope, 0.1 * sd))
