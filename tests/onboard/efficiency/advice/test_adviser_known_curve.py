"""The adviser on an exactly known curve, P = 14 + 18 w^3, without an engine."""

from dataclasses import replace

import numpy as np
import pytest

from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.adviser import Adviser
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.curve.speed_power import KNOTS, Posterior
from onboard.efficiency.riding.present_riding import Riding
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.profile import Battery, Sensors
from tests.onboard.efficiency.advice.plain_pack import riding
from tests.onboard.efficiency.curve.made_blocks import SPEEDS, cubic

METRES_PER_DEGREE = 111_131.8, 78_846.8
"""Of latitude and longitude at 45 degrees north (WGS 84)."""

BATTERY = Battery("li-ion", 14, 25.0, resistance_ohm=1e-3, reserve_fraction=0.2)


NO_RIDING = Unknown(Reason.TOO_LITTLE_RIDING)


def ridden(speed_mps: float = 2.0) -> Riding:
    """Return a riding at a speed on the curve, on all courses."""
    return riding(14 + 18 * speed_mps**3, speed_mps, courses=((90.0, 1.0),))


def curve(water_mps=(0.0, 0.0), seen_mps=(0.5, 2.6), sd: float = 0.0) -> Posterior:
    count = 2 + len(KNOTS)
    ln_speed = np.log(np.interp(np.exp(KNOTS), cubic(SPEEDS), SPEEDS))
    ln_speed += 1e-6 * np.arange(len(KNOTS))
    known = np.eye(count) * sd**2
    return Posterior(np.array(water_mps), ln_speed, known, seen_mps, 20, 0.02, 1e-4)


def out(
    course_deg: float, seconds: int, speed_mps=2.0, power_w=158.0, begin=None
) -> SettledSeconds:
    """Return seconds straight on, from the end of earlier ones."""
    course = np.radians(course_deg)
    ones, nothing = np.ones(seconds), np.full(seconds, np.nan)
    way = speed_mps * np.arange(1.0, seconds + 1)
    first_s, lat, lon = 0.0, 45.0, -30.0
    if begin is not None:
        first_s, lat, lon = (
            float(column[-1]) for column in (begin.t_s, begin.latitude_deg, begin.longitude_deg)
        )
    return SettledSeconds(
        first_s + np.arange(1.0, seconds + 1), power_w * ones, power_w / 50 * ones, 50.0 * ones,
        nothing, speed_mps * np.sin(course) * ones, speed_mps * np.cos(course) * ones,
        speed_mps * ones, lat + way * np.cos(course) / METRES_PER_DEGREE[0],
        lon + way * np.sin(course) / METRES_PER_DEGREE[1], nothing,
        nothing, nothing,
    )  # fmt: skip


def pack(battery: Battery = BATTERY, **sensors: float) -> Pack:
    return Pack(battery, Sensors(**sensors))


@pytest.mark.parametrize(
    ("course_deg", "leaving_mps"), [(90, 2.0), (0, 0.0), (180, 0.0), (270, -2.0), (150, 1.0)]
)
def test_leaving_home_is_distinguished_from_passing_by(
    course_deg, leaving_mps, monkeypatch
) -> None:
    # A kilometre east of home, then half a minute on another course.
    adviser = Adviser()
    first = out(90, 500)
    adviser.fold(first)
    adviser.fold(out(course_deg, 30, begin=first))
    seen: list[float] = []

    def evaluate(ahead, leaving):
        seen.append(leaving)
        return 1.0, 100.0

    monkeypatch.setattr(adviser.home, "evaluate", evaluate)
    adviser.evaluate(pack(), curve(), NO_RIDING)
    # Home lies west by up to 3 degrees.
    assert seen == [pytest.approx(leaving_mps, abs=0.15)]


def test_the_range_is_longest_at_the_speed_of_least_consumption() -> None:
    # P = 14 + 18 v^3: v* = (14 / 36)^(1/3) = 0.7299 m/s, 28.77 W s/m or 7.992 Wh/km.
    adviser = Adviser()
    adviser.fold(out(90, 300))
    some = pack()
    advice = adviser.advice(some, curve(), NO_RIDING)
    left_wh = some.left_wh(21.0)
    assert advice.range_best_m.value == pytest.approx(left_wh / 7.992 * 1000, rel=5e-3)
    assert advice.best_speed_mps.value == pytest.approx(0.7299, abs=0.03)
    # If the lowest learned speed is 1.4 m/s: at it, (14 + 18 * 1.4^3) / 3.6 / 1.4 Wh/km.
    cost = (14 + 18 * 1.4**3) / 3.6 / 1.4
    advice = adviser.advice(some, curve(seen_mps=(1.4, 2.6)), NO_RIDING)
    assert advice.range_best_m.value == pytest.approx(some.left_wh(63.4) / cost * 1000, rel=0.015)


def aimed(speed_mps: float, **sensors: float) -> Figure | Unknown:
    adviser = Adviser()
    adviser.set_aim(Aim(speed_mps=speed_mps))
    adviser.fold(out(90, 300))
    return adviser.advice(pack(**sensors), curve(), NO_RIDING).range_target_m


def test_the_range_at_a_speed_to_hold_has_the_variance_of_all_its_parts() -> None:
    # 158 W at 2 m/s: 21.94 Wh/km.
    exact = dict.fromkeys(("current_scale_sd", "current_offset_sd_a", "voltage_scale_sd"), 0.0)
    found = aimed(2.0, **exact)
    value = pack().left_wh(158.0) / (158.0 / 3.6 / 2.0) * 1000
    assert found.value == pytest.approx(value, rel=5e-3)
    # Start 2 % and capacity 3 % of about 0.8 of full above the reserve, weather 3 %, the cells'
    # own shape: 4.9 to 6.5 % in all.
    relative = (found.high - found.value) / 1.959964 / found.value
    assert 0.049 < relative < 0.065
    # The weather is a factor: the upper side is the longer one.
    assert found.value - found.low == pytest.approx(found.high - found.value, rel=0.06)
    doubted = aimed(2.0, **(exact | {"current_scale_sd": 0.1}))
    more = ((doubted.high - doubted.value) / 1.959964 / found.value) ** 2 - relative**2
    assert more == pytest.approx(0.1**2, rel=0.1)


@pytest.mark.parametrize(
    ("speed_mps", "told"), [(0.6, True), (2.6, True), (0.4, False), (3, False)]
)
def test_no_range_at_a_speed_that_was_never_learned(speed_mps, told) -> None:
    assert isinstance(aimed(speed_mps), Figure) is told


def test_the_quiet_time_follows_from_the_spare_energy_and_the_power_drawn() -> None:
    # Twelve minutes out. Spare energy divided by its rate of decrease: the present power, but no
    # less than that of the way home, plus the growth of the way home.
    spare_wh, home_w = 200.0, 63.0
    for now_w, drawn_w in ((158.0, 158.0 + home_w), (30.0, 2 * home_w), (2000.0, 2063.0)):
        adviser = Adviser()
        adviser.fold(out(90, 720, power_w=now_w))
        adviser.home.evaluate = lambda ahead, leaving: (spare_wh, home_w)
        assert adviser.evaluate(pack(), curve(), NO_RIDING) == pytest.approx(
            spare_wh * 3600 / drawn_w
        )


def test_the_margin_home_reaches_up_to_that_of_a_pack_charged_unseen() -> None:
    # An LFP pack on its plateau, two hours later, without a statement whether it was charged.
    lfp = Battery("lfp", 16, 20.0, resistance_ohm=1e-3, start_fraction=0.6)
    asked, full = Pack(lfp, Sensors()), Pack(lfp, Sensors())
    asked.resume(Pack(lfp, Sensors()).count.as_dict(), Away(7200.0))
    full.charged_full()
    adviser, known = Adviser(), curve()
    adviser.fold(out(90, 500))
    low, high = (
        adviser.advice(one, replace(known, blocks=n), NO_RIDING)
        for n, one in enumerate((asked, full))
    )
    assert low.home.margin_wh.value < high.home.margin_wh.value - 200.0
    assert low.home.margin_wh.high == pytest.approx(high.home.margin_wh.high)
    assert low.range_best_m.high == pytest.approx(high.range_best_m.high)
    asked.charged(("charged_wh", 0.0))
    closed = adviser.advice(asked, replace(known, blocks=9), NO_RIDING)
    assert closed.home.margin_wh.value == pytest.approx(low.home.margin_wh.value, abs=1.0)
    assert closed.home.margin_wh.high < high.home.margin_wh.value - 100.0


def test_a_new_distance_counts_from_where_it_is_set() -> None:
    adviser, some = Adviser(), pack()
    adviser.set_aim(Aim(distance_m=9000.0))
    first = out(90, 400)
    adviser.fold(first)
    adviser.evaluate(some, curve(), ridden())
    assert adviser.target.distance_m == pytest.approx(9000.0 - 800.0)
    adviser.set_aim(Aim(distance_m=5000.0))
    adviser.fold(out(90, 100, begin=first))
    adviser.evaluate(some, curve(), ridden())
    assert adviser.target.distance_m == pytest.approx(5000.0 - 200.0)


def test_the_probability_is_that_of_the_present_speed() -> None:
    # Far more energy than 2 m/s takes, far too little for 2.5 m/s.
    some = pack()
    for speed_mps, likely in ((1.5, True), (2.5, False)):
        adviser = Adviser()
        adviser.set_aim(Aim(distance_m=45_000.0))
        adviser.fold(out(90, 300, speed_mps))
        adviser.evaluate(some, curve(), ridden(speed_mps))
        assert (adviser.target.confidence_fraction > 0.9) is likely
        assert (adviser.target.confidence_fraction < 0.1) is not likely


@pytest.mark.parametrize("course_deg", [0.0, 90.0, 200.0])
def test_the_best_speed_is_that_on_the_course_made_good(course_deg: float) -> None:
    # 0.5 m/s from the north: with it and against it another speed over ground is best.
    adviser = Adviser()
    adviser.fold(out(course_deg, 300))
    found = adviser.advice(pack(), curve((0.0, -0.5)), NO_RIDING).best_speed_mps
    at_once = Adviser()
    at_once.fold(out((course_deg + 180.0) % 360, 300))
    other = at_once.advice(pack(), curve((0.0, -0.5)), NO_RIDING).best_speed_mps
    # By hand: cost over all ground speeds.
    course = np.radians(course_deg)
    through = np.linspace(0.55, 2.6, 4000)
    along, across = -0.5 * np.cos(course), 0.5 * np.sin(course)
    over = along + np.sqrt(through**2 - across**2)
    best = over[np.argmin(np.where(over > 0.02, cubic(through) / np.maximum(over, 0.02), np.inf))]
    assert found.value == pytest.approx(best, abs=0.04)
    if course_deg != 90.0:
        assert abs(found.value - other.value) > 0.2


def test_the_interval_of_the_best_speed_holds_that_of_any_likely_water() -> None:
    # Only the water along the course is uncertain, by 0.1 m/s: the best speeds with up to two
    # standard deviations more and less, computed separately.
    count = 2 + len(KNOTS)
    only = np.zeros((count, count))
    only[1, 1] = 0.1**2
    known = replace(curve((0.0, -0.3)), covariance=only)
    adviser = Adviser()
    adviser.fold(out(0.0, 300))
    found = adviser.advice(pack(), known, NO_RIDING).best_speed_mps
    through = np.linspace(0.5, 2.6, 40_000)
    for water in (-0.45, -0.4, -0.2, -0.12):
        over = through + water
        best = over[np.argmin(np.where(over > 0.02, cubic(through) / over, np.inf))]
        assert found.low - 0.03 <= best <= found.high + 0.03
    # It is not all speeds: twice the best one takes far more in any of these.
    assert found.high < 2.5 * found.value < 2.0
