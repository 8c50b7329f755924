"""The engine's advice on a ride whose curve and water are known: steps of speed, to and fro."""

from functools import lru_cache

import numpy as np
import pytest

from onboard.block import Block
from onboard.contract.advice import Standing
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.engine import Engine
from onboard.profile import Battery, Profile
from tests.onboard.efficiency.made_channels import channel

pytestmark = pytest.mark.slow

PACK = Battery("li-ion", 14, 40.0, resistance_ohm=0.02, reserve_fraction=0.2)
WATER = np.array([0.25, 0.1])
METRES_PER_DEGREE = 111_131.8, 78_846.8
"""At 45 degrees north (WGS 84)."""


def power_w(through_water):
    return 14 + 18 * np.asarray(through_water) ** 3


def ride(legs, begin_s=0.0, begin_m=(0.0, 0.0), noise=0.02) -> tuple[Block, float, np.ndarray]:
    """Return legs of (course, speed through water along it, seconds) as columns; steady drive."""
    rng = np.random.default_rng(4)
    seconds = sum(leg[2] for leg in legs)
    t_s = begin_s + np.arange(0.0, seconds, 0.5)
    course = np.radians(np.concatenate([np.full(int(2 * n), float(c)) for c, _, n in legs]))
    speed = np.concatenate([np.full(int(2 * n), float(v)) for _, v, n in legs])
    velocity = speed[:, None] * np.column_stack([np.sin(course), np.cos(course)]) + WATER
    place = np.array(begin_m) + np.cumsum(velocity * 0.5, axis=0)
    seen = velocity + rng.normal(0, noise, velocity.shape)
    power = power_w(speed)

    gps = channel(
        "gps",
        t_s,
        fix=3.0,
        speed_mps=np.hypot(seen[:, 0], seen[:, 1]),
        course_deg=np.degrees(np.arctan2(seen[:, 0], seen[:, 1])) % 360,
        latitude_deg=45 + place[:, 1] / METRES_PER_DEGREE[0],
        longitude_deg=-30 + place[:, 0] / METRES_PER_DEGREE[1],
    )
    block = Block({"power": channel("power", t_s, volts_v=50.0, amps_a=power / 50.0), "gps": gps})
    return block, begin_s + seconds, place[-1]


STEPS = [(course, speed, 90) for speed in (1.0, 1.4, 1.8, 2.2, 2.6) for course in (0, 90, 180, 270)]


@lru_cache(maxsize=1)
def learned() -> dict:
    engine = Engine(Profile(battery=PACK))
    engine.fold(ride(STEPS)[0])
    return engine.saved_state()


def outward(seconds=900, speed=2.0, aim=None) -> tuple[Engine, float, np.ndarray]:
    engine = Engine(Profile(battery=PACK), learned())
    if aim:
        engine.set_aim(aim)
    block, end_s, place = ride([(90, speed, seconds)])
    engine.fold(block)
    return engine, end_s, place


def test_curve_and_water_are_learned() -> None:
    engine = Engine(Profile(battery=PACK))
    engine.fold(ride(STEPS)[0])
    water = engine.figures().set_and_drift
    assert water.east_mps.value == pytest.approx(WATER[0], abs=0.03)
    assert water.north_mps.value == pytest.approx(WATER[1], abs=0.03)
    curve = engine.curve()
    assert curve.speed_kind == "through_water"
    exact = power_w(np.array(curve.speed_mps))
    assert np.median(np.abs(np.array(curve.power_w) / exact - 1)) < 0.03
    assert np.mean((np.array(curve.low_w) <= exact) & (exact <= np.array(curve.high_w))) > 0.9


def test_a_favourable_current_outward_hinders_on_the_way_home() -> None:
    engine, _, place = outward()
    home = engine.figures().home
    assert home.distance_m == pytest.approx(np.hypot(*place), abs=40)
    bearing = np.degrees(np.arctan2(-place[0], -place[1])) % 360
    assert home.bearing_deg == pytest.approx(bearing, abs=1)
    # At the advised speed over ground, against the water.
    back = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    through = np.hypot(*(home.speed_mps * back - WATER))
    exact = power_w(through) / home.speed_mps * home.distance_m / 3600
    assert home.energy_wh.low <= exact <= home.energy_wh.high
    assert home.energy_wh.value == pytest.approx(exact, rel=0.15)
    assert home.turn_back is False


def test_figures_are_of_the_newest_second_not_of_the_last_evaluation() -> None:
    engine, end_s, place = outward()
    before = engine.figures().home
    engine.fold(ride([(90, 2.0, 23)], end_s, tuple(place))[0])
    after = engine.figures().home
    assert after.distance_m == pytest.approx(before.distance_m + 23 * 2.26, abs=8)
    assert after.energy_wh.value > before.energy_wh.value


def test_low_energy_is_raised_in_time_close_to_home() -> None:
    # To and fro near home, so that the way home is never in question.
    small = Battery("li-ion", 14, 4.0, resistance_ohm=0.02, reserve_fraction=0.2)
    engine = Engine(Profile(battery=small), learned())
    legs = [(course, 2.4, 60) for _ in range(20) for course in (90, 270)]
    block, _, _ = ride(legs)
    engine.fold(block)
    found = {event.alert.code: event.t_s for event in engine.events}
    early = Engine(Profile(battery=small), learned())
    early.fold(ride(legs[:25])[0])
    pack = early.figures().battery
    full_wh = pack.left_wh.value / pack.left_fraction.value
    # A tenth of the full pack above the reserve.
    due_s = 1500 + (pack.left_wh.value - 0.1 * full_wh) / power_w(2.4) * 3600
    assert found["energy_low"] == pytest.approx(due_s, abs=60)


def test_a_distance_gets_its_speed_and_cue() -> None:
    engine, _, _ = outward(aim=Aim(distance_m=80_000.0))
    figures = engine.figures()
    target = figures.target
    assert target.distance_m == pytest.approx(80_000 - figures.trip.distance_m.value, abs=40)
    assert 1.0 < target.speed_mps < 2.25
    assert target.cue == "ease"
    assert target.reason.code is Standing.AGAINST_ADVISED
    # A slower speed makes it: at its consumption the energy left exceeds the distance to go.
    assert figures.range_m.target.low > 0.9 * target.distance_m
    assert 0 <= target.confidence_fraction < 0.99


def test_a_distance_too_far_is_reported_with_the_best_speed() -> None:
    engine, _, _ = outward(aim=Aim(distance_m=400_000.0))
    target = engine.figures().target
    assert target.reason.code is Standing.CANNOT_BE_MADE
    assert "cannot_be_made" in {event.alert.code for event in engine.events}


def test_cues_for_a_speed_and_a_power() -> None:
    engine, _, _ = outward(aim=Aim(speed_mps=2.0))
    target = engine.figures().target
    assert target.difference_fraction == pytest.approx(0.13, abs=0.02)
    assert (target.cue, target.speed_mps) == ("ease", 2.0)
    engine, _, _ = outward(aim=Aim(power_w=200.0))
    target = engine.figures().target
    assert target.difference_fraction == pytest.approx(power_w(2.0) / 200 - 1, abs=0.01)
    assert (target.cue, target.power_w) == ("push", 200.0)
    assert engine.figures().range_m.target == Unknown(Reason.NO_TARGET)


def test_no_advice_before_anything_is_known() -> None:
    figures = Engine(Profile(battery=PACK)).figures()
    for advice in (figures.home, figures.target, figures.best_speed_mps):
        assert isinstance(advice, Unknown)
    assert Engine(Profile()).figures().home == Unknown(Reason.NO_BATTERY)


def test_the_best_speed_agrees_with_algebra() -> None:
    engine, _, _ = outward()
    best = engine.figures().best_speed_mps
    speed = np.linspace(0.3, 3, 2000)
    # Eastward over ground: the craft crabs against the northward part.
    through = np.hypot(speed - WATER[0], WATER[1])
    exact = speed[np.argmin(power_w(through) / speed)]
    # The lowest learned speed, 1.0 m/s, is above that: the best learned one is at that end.
    slowest = WATER[0] + np.sqrt(1.0 - WATER[1] ** 2)
    assert exact < slowest
    assert best.value == pytest.approx(slowest, abs=0.12)


def test_marks_count_from_where_they_are_set() -> None:
    engine = Engine(Profile(battery=PACK))
    block, end_s, place = ride([(90, 1.4, 300)])
    engine.fold(block)
    assert engine.figures().wh_per_km.since_mark == Unknown(Reason.NO_MARK)
    engine.mark()
    engine.fold(ride([(90, 2.2, 300)], end_s, place)[0])
    since = engine.figures().wh_per_km.since_mark
    ground = np.hypot(2.2 + WATER[0], WATER[1])
    assert since.value == pytest.approx(power_w(2.2) / ground / 3.6, rel=0.01)
    assert since.low < since.value < since.high
