"""Gaps of power and of position: how they are bridged, and with what variance, by hand."""

import numpy as np
import pytest

from onboard.efficiency.common_practice import BRIDGE_LINE_SD_FRACTION
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.energy import EnergyMeter
from onboard.profile import Sensors
from tests.onboard.efficiency.meters.test_energy import meter, over_gap

Z_95 = 1.959964
METRES_PER_DEGREE = 111_131.8
"""Of latitude at 45 degrees north (WGS 84)."""


def steady_with_gaps(gaps_s: list[float], amps_a: float = 10.0) -> EnergyMeter:
    """Return ten minutes at 50 V and constant current before each gap, and after the last."""
    t_s = np.arange(600.0)
    for gap_s in gaps_s:
        t_s = np.concatenate([t_s, t_s[-1] + gap_s + np.arange(600.0)])
    return meter(t_s, np.full(len(t_s), 50.0), np.full(len(t_s), amps_a))


def test_the_variances_of_two_gaps_add_up() -> None:
    # Constant 500 W: the guess has a standard deviation of a quarter of it, of whose variance half
    # counts at a minute, more over a longer gap: hours^2 (125 W)^2 s / (s + 60 s).
    def alone(gap_s: float) -> float:
        return (gap_s / 3600) ** 2 * 125.0**2 * gap_s / (gap_s + 60)

    one, other = 60.0, 180.0
    assert steady_with_gaps([one]).bridged_variance_wh2 == pytest.approx(alone(one))
    both = steady_with_gaps([one, other])
    assert both.bridged_variance_wh2 == pytest.approx(alone(one) + alone(other))
    assert both.bridged_wh == pytest.approx((one + other) * 500 / 3600)


def test_the_order_of_two_gaps_does_not_matter_at_constant_power() -> None:
    there, back = steady_with_gaps([30.0, 120.0]), steady_with_gaps([120.0, 30.0])
    assert there.bridged_variance_wh2 == pytest.approx(back.bridged_variance_wh2)


def test_energy_from_counters_does_not_enter_the_variance_of_power() -> None:
    # Two gaps: over the first the counter shows 40 Wh (2400 W for a minute), over the second it
    # stands still though current flows on both sides. The trip's own power went from 400 W to 600 W
    # and back every 50 s: its variance is (100 W)^2, whatever the counter shows.
    t_s = np.concatenate([np.arange(100.0), 159.0 + np.arange(100.0), 318.0 + np.arange(100.0)])
    amps = np.where(np.arange(300) % 100 < 50, 8.0, 12.0)
    counter = np.where(t_s < 150.0, 0.0, 40.0)
    counted = EnergyMeter(Sensors())
    counted.fold(t_s, np.full(300, 50.0), amps, np.full(300, np.nan), counter)
    assert counted.counted_wh == pytest.approx(40.0)
    guess = (100.0**2 + 125.0**2) * 0.5 + 200.0**2 / 12
    assert counted.bridged_variance_wh2 == pytest.approx((60 / 3600) ** 2 * guess, rel=0.01)


def test_an_energy_counter_that_jumped_is_rejected() -> None:
    counted = over_gap([np.nan] * 4, [0, 0, 20_000.0, 20_000.0])
    assert counted.counted_wh == 0.0
    assert counted.bridged_wh == pytest.approx(60 * 500 / 3600)


@pytest.mark.parametrize("scale", [0.8, 1.0, 1.25])
@pytest.mark.parametrize("offset_a", [0.0, -0.4])
def test_the_counter_is_corrected_as_the_current_is(scale: float, offset_a: float) -> None:
    # The autopilot sums its reported values; the corrected sum is the truth that both must reach.
    sensors = Sensors(current_scale=scale, current_offset_a=offset_a)
    counted, t_s = EnergyMeter(sensors), np.arange(3601.0)
    reported = 9.0 + np.sin(t_s / 50.0)
    summed = np.concatenate([[0.0], np.cumsum((reported[1:] + reported[:-1]) / 2)]) / 3600.0
    for part in np.array_split(np.arange(3601), 7):
        counted.fold(
            t_s[part], np.full(len(part), 50.0), reported[part], 2.0 + summed[part],
            np.full(len(part), np.nan),
        )  # fmt: skip
    truth = scale * summed[-1] + offset_a
    assert counted.curves.total("charge_ah") == pytest.approx(truth, rel=1e-9)
    assert counted.curves.total("counted_ah") == pytest.approx(truth, rel=1e-9)
    assert counted.counter_ah == pytest.approx(scale * (2.0 + summed[-1]))
    # Within the charge of the second before it is first compared.
    assert counted.counter_began_ah == pytest.approx(scale * 2.0, abs=0.4 / 3600 + 1e-9)


def northward(speed_mps: float, gaps: list[tuple[float, float]]):
    """Return ten seconds at a speed, then for each gap (seconds, metres made) ten more after it."""
    t_s, north_m = np.arange(11.0), speed_mps * np.arange(11.0)
    for gap_s, made_m in gaps:
        t_s = np.concatenate([t_s, t_s[-1] + gap_s + np.arange(11.0)])
        north_m = np.concatenate([north_m, north_m[-1] + made_m + speed_mps * np.arange(11.0)])
    still, flat = np.zeros(len(t_s)), np.full(len(t_s), speed_mps)
    meter = DistanceMeter()
    place = 45.0 + north_m / METRES_PER_DEGREE, np.full(len(t_s), -30.0)
    meter.fold(t_s, still, flat, *place)
    return meter


def test_a_distance_longer_than_the_line_widens_the_variance() -> None:
    # 100 s at 2 m/s are 200 m, and the line is 120 m: the other 80 m count as 1.96 standard
    # deviations; the line itself is good to 3 %.
    turned = northward(2.0, [(100.0, 120.0)])
    assert turned.bridged_m == pytest.approx(120.0, abs=0.05)
    made = turned.displacement.total("east_m"), turned.displacement.total("north_m")
    assert made == pytest.approx((0.0, 20.0 + 120.0 + 20.0), abs=0.05)
    by_hand = (80.0 / Z_95) ** 2 + (BRIDGE_LINE_SD_FRACTION * 120.0) ** 2
    assert turned.bridged_variance_m2 == pytest.approx(by_hand, rel=2e-3)
    straight = northward(2.0, [(100.0, 200.0)])
    assert straight.bridged_variance_m2 == pytest.approx((0.03 * 200.0) ** 2, rel=2e-3)
    # Farther than the speed implies: the line alone.
    fast = northward(2.0, [(100.0, 260.0)])
    assert fast.bridged_variance_m2 == pytest.approx((0.03 * 260.0) ** 2, rel=2e-3)


def test_the_variances_of_two_gaps_of_position_add_up() -> None:
    both = northward(2.0, [(100.0, 120.0), (60.0, 110.0)]).bridged_variance_m2
    parts = [northward(2.0, [gap]).bridged_variance_m2 for gap in ((100.0, 120.0), (60.0, 110.0))]
    assert both == pytest.approx(sum(parts), rel=1e-3)


def test_impossible_positions_give_way_to_the_speeds() -> None:
    # 9 km in 100 s; the speeds imply 200 m, to half of it.
    meter = northward(2.0, [(100.0, 9000.0)])
    assert meter.bridged_m == pytest.approx(200.0)
    assert meter.bridged_variance_m2 == pytest.approx(100.0**2)
