"""The simulated battery."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp, trapezoid

from tests.craft.battery import (
    Battery,
    OverloadError,
    load_amps_a,
    open_circuit_v,
    rest_energy_wh,
)
from tests.craft.recording import Recording

PACK = Battery("li-ion", 14, 23.5, 0.055, 0.025, 40.0)


def test_sag_at_constant_power() -> None:
    # Worked by hand, the quadratic R I^2 - V I + P = 0: 26.4 V, 0.03 ohm, 500 W.
    amps = load_amps_a(26.4, 0.03, 500.0)
    assert amps == pytest.approx(19.36556, abs=5e-6)


@pytest.mark.parametrize("open_v", [12.8, 26.4, 58.8])
@pytest.mark.parametrize("ohm", [0.0, 1e-9, 0.03, 0.4])
@pytest.mark.parametrize("share", [-0.5, 0.0, 1e-6, 0.3, 0.999])
def test_the_smaller_current_delivers_the_power(open_v, ohm, share) -> None:
    # Two currents deliver the power; the result is the one below V / 2 R. The maximum power is
    # V^2 / 4 R. Power into the pack is negative.
    most_w = open_v**2 / 4 / max(ohm, 0.03)
    amps = load_amps_a(open_v, ohm, share * most_w)
    assert (open_v - ohm * amps) * amps == pytest.approx(share * most_w, rel=1e-12)
    assert 2 * ohm * amps <= open_v


def test_more_than_the_maximum_power_is_refused() -> None:
    # The maximum is V^2 / 4 R = 5808 W.
    assert load_amps_a(26.4, 0.03, 5808.0 - 1e-6) == pytest.approx(440.0, rel=1e-4)
    with pytest.raises(OverloadError):
        load_amps_a(26.4, 0.03, 5808.1)


@pytest.mark.parametrize(
    ("chemistry", "fraction", "volts"),
    [
        ("lfp", 0.40, 3.252499),
        ("lfp", 0.70, 3.274028),
        ("li-ion", 0.5, 3.750874),
        ("lfp", 1.0, 3.6),
    ],
)
def test_open_circuit_curve(chemistry: str, fraction: float, volts: float) -> None:
    # PyBaMM 26.10.1.1, parameter sets Prada2013 and Chen2020 (tests/data/README.md).
    assert open_circuit_v(replace(PACK, chemistry=chemistry), fraction) == pytest.approx(14 * volts)


@pytest.mark.parametrize("fraction", [1.0, 0.93, 0.5, 0.123, 0.05, 0.0])
def test_rest_energy_is_the_area_of_the_curve(fraction: float) -> None:
    # Against scipy.integrate.quad.
    knots = [k / 20 for k in range(21) if 0.0 < k / 20 < fraction]
    area, _ = quad(
        lambda s: open_circuit_v(PACK, s), 0.0, fraction, points=knots or None, limit=200
    )
    assert rest_energy_wh(PACK, fraction) == pytest.approx(area * 23.5, rel=1e-9, abs=1e-9)


def test_ride_balances_its_energy(harbour: Recording) -> None:
    # First law: energy out of the cells equals energy at the terminals plus heat in the pack.
    truth, pack = harbour.truth, harbour.scenario.ride.craft.battery
    cells_wh = trapezoid(truth.open_circuit_v * truth.amps_a, truth.time_s) / 3600.0
    loss_w = truth.amps_a * (truth.amps_a * pack.resistance_ohm + truth.slow_sag_v)
    loss_wh = trapezoid(loss_w, truth.time_s) / 3600.0
    terminal_wh = trapezoid(truth.power_w, truth.time_s) / 3600.0
    assert terminal_wh + loss_wh == pytest.approx(cells_wh, rel=1e-12)
    assert 0.002 < loss_wh / cells_wh < 0.05
    used_wh = rest_energy_wh(pack, pack.start_fraction)
    used_wh -= rest_energy_wh(pack, float(truth.charge_fraction[-1]))
    assert cells_wh == pytest.approx(used_wh, rel=1e-6)


def test_stepped_pack_follows_its_differential_equations(harbour: Recording) -> None:
    # Against scipy.integrate.solve_ivp, given the ride's demand.
    truth, pack = harbour.truth, harbour.scenario.ride.craft.battery
    part = truth.time_s <= 300.0
    times, demand = truth.time_s[part], truth.power_w[part]

    def rates(time_s: float, state: np.ndarray) -> list[float]:
        power = float(np.interp(time_s, times, demand))
        amps = load_amps_a(open_circuit_v(pack, state[0]) - state[1], pack.resistance_ohm, power)
        return [
            -amps / 3600.0 / pack.capacity_ah,
            (amps * pack.slow_resistance_ohm - state[1]) / pack.slow_time_s,
        ]

    start = [pack.start_fraction, 0.0]
    solved = solve_ivp(rates, (0.0, 300.0), start, max_step=0.5, rtol=1e-8, atol=1e-10)
    assert truth.charge_fraction[part][-1] == pytest.approx(solved.y[0, -1], abs=1e-7)
    assert truth.slow_sag_v[part][-1] == pytest.approx(solved.y[1, -1], rel=5e-3)
