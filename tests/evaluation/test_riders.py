"""The evaluation's riders hold what they say, and its informed estimator knows what comes."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.craft.chance import generator
from tests.evaluation import saved_rides
from tests.evaluation.discharge import Hold, discharge
from tests.evaluation.informed import predicted, spreads
from tests.evaluation.riders import CHANGING, DUTY, HOLDS, KINDS, MOTOR_CURRENT, begun, drawn, held
from tests.evaluation.rides import ride_for
from tests.evaluation.saved_rides import saved_ride
from tests.evaluation.world import World, draw

TENDER = draw(3, "tender")


def on(world: World, kind: str, seconds_s: float) -> tuple[dict[str, np.ndarray], float]:
    """Return the truth of a ride with one leg, and when it settled."""
    world, manner = drawn(world, kind, generator(5, "rider"))
    voyage, _ = begun(world, manner)
    voyage.begin(manner.leg(world, generator(6, "rider"), manner.axis_deg))
    ride_for(voyage, seconds_s, 0.05, world.stated.cutoff_v)
    return voyage.columns(), manner.ramp_s


@pytest.mark.parametrize(
    ("kind", "share_within", "of"),
    [
        ("power", 1e-9, lambda true: true["drive_w"]),
        ("duty", 1e-2, lambda true: true["motor_volts_v"] / true["volts_v"]),
        ("motor_current", 1e-6, lambda true: true["motor_amps_a"]),
        ("speed", 0.12, lambda true: np.hypot(true["east_mps"], true["north_mps"])),
    ],
)
def test_each_rider_holds_what_it_holds(kind, share_within, of) -> None:
    held_values = of(on(TENDER, kind, 600.0)[0])[1000:]
    assert held_values.std() / held_values.mean() < share_within
    assert held_values.mean() > 0.0


@pytest.mark.parametrize("kind", ["power_to_and_fro", "speed_to_and_fro"])
def test_a_rider_to_and_fro_turns_every_few_minutes(kind: str) -> None:
    true, _ = on(TENDER, kind, 1500.0)
    along = np.unwrap(np.arctan2(true["east_mps"][300:], true["north_mps"][300:]))
    turns = np.count_nonzero(np.abs(np.diff(np.round((along - along[0]) / math.pi))) > 0)
    assert 3 <= turns <= 17
    # Made good: never further than the line is long, in a hull that covers several lengths.
    east, north = (np.cumsum(true[name]) * 0.2 for name in ("east_mps", "north_mps"))
    track = np.hypot(true["east_mps"], true["north_mps"]).sum() * 0.2
    assert np.hypot(east, north).max() < 0.5 * track


def test_hands_are_quick_and_slow() -> None:
    perception = [draw(seed, "tender").ride.rider.perception_s for seed in range(60)]
    assert max(perception) > 4.0 * min(perception)
    ramps = [drawn(TENDER, "power", generator(seed, "rider"))[1].ramp_s for seed in range(60)]
    assert max(ramps) > 5.0 * min(ramps)


def test_the_throttle_reported_is_what_the_drive_controls() -> None:
    world = replace(TENDER, extras=replace(TENDER.extras, throttle=True))
    for kind, holds_still in ((DUTY, True), (MOTOR_CURRENT, True), ("power", False)):
        ridden, manner = drawn(world, kind, generator(5, "rider"))
        voyage, telemetry = begun(ridden, manner)
        voyage.begin(replace(held(ridden, manner.holds[0], 300.0), ramp_s=2.0))
        ride_for(voyage, 900.0, 0.05, ridden.stated.cutoff_v)
        hud = telemetry.block().get("hud")
        assert hud is not None
        throttle = hud["throttle_fraction"][400:]
        assert 0.2 < throttle.mean() < 1.0
        # At constant power the duty rises as the pack sags; whole percents are reported.
        assert bool(np.ptp(throttle) <= 0.011) is holds_still
    silent = replace(TENDER, extras=replace(TENDER.extras, throttle=False))
    voyage, telemetry = begun(silent, drawn(silent, DUTY, generator(5, "rider"))[1])
    assert telemetry.block().get("hud") is None


def test_worlds_have_all_weathers_and_packs() -> None:
    worlds = [draw(seed) for seed in range(200)]
    cold = [world.craft.battery.temperature_degc < 6.0 for world in worlds]
    assert 0.08 < np.mean(cold) < 0.25
    assert 0.2 < np.mean([world.ride.water.wind_rise_mps2 > 0.0 for world in worlds]) < 0.45
    assert 0.35 < np.mean([world.ride.water.wind_turn_degps != 0.0 for world in worlds]) < 0.65
    assert 0.35 < np.mean([world.extras.throttle for world in worlds]) < 0.65
    for world in worlds:
        pack = world.craft.battery
        assert pack.slower_time_s > 10.0 * pack.slow_time_s
        assert min(pack.slower_resistance_ohm, pack.cold_growth_per_k, pack.empty_growth) > 0.0


def test_a_discharge_at_a_duty_slows_down() -> None:
    # By the law of `Hold`: P ~ V^k; and less power takes the same energy longer.
    pack, stated = TENDER.craft.battery, TENDER.stated
    limits = stated.reserve_fraction, stated.cutoff_v
    steady = discharge(pack, 0.9, pack.capacity_ah, 200.0, 0.0, *limits)
    hold = Hold(float(steady.volts_v[0]), 2.5, 0.8)
    falling = discharge(pack, 0.9, pack.capacity_ah, 200.0, 0.0, *limits, hold=hold)
    power_w = falling.wh / falling.seconds_s * 3600.0
    exponent = np.log(power_w[-1] / power_w[0]) / np.log(falling.volts_v[-1] / falling.volts_v[0])
    assert exponent == pytest.approx(2.5, rel=1e-2)
    assert falling.slower[-1] == pytest.approx((power_w[-1] / power_w[0]) ** (0.8 / 2.5), rel=1e-2)
    assert falling.seconds_s.sum() > 1.03 * steady.seconds_s.sum()
    assert steady.wh / steady.seconds_s * 3600.0 == pytest.approx(200.0)


@pytest.mark.slow
def test_a_saved_ride_is_the_ride(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = saved_ride(11, CHANGING, "tender", tmp_path)
    # From here on a simulation would fail.
    monkeypatch.delattr(saved_rides, "simulated")
    again = saved_ride(11, CHANGING, "tender", tmp_path)
    assert again.true == made.true
    assert again.informed_sd == made.informed_sd
    for name, channel in made.block.channels.items():
        np.testing.assert_array_equal(again.block.channels[name].t_s, channel.t_s)


@pytest.mark.slow
def test_the_informed_estimator_foresees_the_ride() -> None:
    # Without errors in pack, sensors and water its prediction is the truth, at every hold.
    for kind in HOLDS:
        saved = saved_ride(21, kind, "skiff")
        world = draw(saved.meta["world_seed"], "skiff")
        for name in ("left", "time_left", "range"):
            assert predicted(world, saved.now)[name] == pytest.approx(saved.true[name], rel=0.03)
        assert spreads(world, saved.now) == saved.informed_sd


def test_times_since_a_change_are_spread() -> None:
    since = [saved_rides.drawn_since_s(generator(seed, "rider")) for seed in range(300)]
    for low_s, high_s in saved_rides.SINCE_S:
        assert 70 < sum(low_s <= one < high_s for one in since) < 130
    assert len(KINDS) == 7
