"""Energy down to a limit: published discharges, the exact voltage under load, monotone in all."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from onboard.efficiency.battery.energy_left import UsableEnergy
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.efficiency.battery.pack import Pack
from onboard.profile import Battery, Sensors
from tests.onboard.efficiency.battery.made_packs import discharge

LI_ION = OCV_CURVES["li-ion"]
CUTOFF_V = 49.0
SAGGING = UsableEnergy(LI_ION, 14.0, 0.2, CUTOFF_V, 0.15, 0.03)


@pytest.mark.parametrize("name", ["Chen2020", "Mohtat2020", "Ai2020"])
def test_a_published_discharge_at_1c_lies_within_the_interval(name: str) -> None:
    # PyBaMM, DFN, 25 degC. Charge from the C/5 run, resistance from the drop of the mean voltage
    # from C/5 to 1C; the energy of the 1C run is to be predicted.
    slow, fast = discharge(name, 0.2), discharge(name, 1.0)
    amps = fast["nominal_Ah"]
    resistance = (slow["mean_V"] - fast["mean_V"]) / (0.8 * amps)
    battery = Battery(
        "li-ion", 1, slow["discharged_Ah"], reserve_fraction=0.0, resistance_ohm=resistance,
        cutoff_v=fast["lower_cutoff_V"], capacity_sd=0.0, start_sd=0.0,
    )  # fmt: skip
    left = Pack(battery, Sensors()).summary(fast["mean_V"] * amps).left_wh
    assert left.low < fast["discharged_Wh"] < left.high
    assert left.value == pytest.approx(fast["discharged_Wh"], rel=0.06)
    assert left.high - left.low < 0.25 * left.value


def test_the_cutoff_is_found_where_the_exact_voltage_crosses_it() -> None:
    # scipy: root of the terminal voltage, and adaptive quadrature above it.
    def volts(fraction: float, power: float) -> float:
        open_v = 14.0 * float(np.interp(fraction, LI_ION.fraction, LI_ION.ocv_v))
        return (open_v + np.sqrt(max(open_v**2 - 4 * 0.15 * power, 0.0))) / 2

    for power in (900.0, 1400.0, 1900.0):
        reserve = LI_ION.at_energy(0.2)
        cut = brentq(lambda s, power=power: volts(s, power) - CUTOFF_V, 0.02, 1.0)
        assert cut > reserve
        knots = np.linspace(0, 1, 21)
        exact = quad(volts, cut, 0.9, args=(power,), points=knots[(knots > cut) & (knots < 0.9)])
        integral, here = SAGGING.left(0.9, np.array([power]))
        assert integral[0] == pytest.approx(exact[0], rel=2e-3)
        assert here[0] == pytest.approx(volts(0.9, power), rel=1e-6)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 4000.0), st.floats(0.0, 4000.0))
def test_more_power_or_less_charge_never_leaves_more_energy(one, other, power, more) -> None:
    low, high = sorted((one, other))
    powers = np.array(sorted((power, more)))
    full, less = SAGGING.left(high, powers)[0], SAGGING.left(low, powers)[0]
    assert np.all(full >= less - 1e-9)
    assert full[0] >= full[1] - 1e-9
    assert np.all(less >= 0.0)


def test_many_powers_at_once_are_the_same_as_one_by_one() -> None:
    powers = np.linspace(0.0, 3000.0, 64)
    together = SAGGING.left(0.7, powers)
    for number, power in enumerate(powers):
        alone = SAGGING.left(0.7, np.array([power]))
        assert (together[0][number], together[1][number]) == (alone[0][0], alone[1][0])


def test_the_gradient_equals_a_finite_difference() -> None:
    # Above the cut-off the end stays where it is: the voltage there times the charge.
    up, down = (SAGGING.left(0.7 + step, np.array([500.0]))[0][0] for step in (1e-4, -1e-4))
    assert (up - down) / 2e-4 == pytest.approx(SAGGING.left(0.7, np.array([500.0]))[1][0], rel=1e-3)


def test_a_wider_resistance_widens_the_interval() -> None:
    powers = np.array([0.0, 500.0, 1500.0])
    sharp = replace(SAGGING, resistance_sd_ohm=0.0).variance(0.9, powers)
    wide = SAGGING.variance(0.9, powers)
    assert wide[0] == pytest.approx(sharp[0])
    assert np.all(wide[1:] > sharp[1:])
    assert wide[2] - sharp[2] > wide[1] - sharp[1]
