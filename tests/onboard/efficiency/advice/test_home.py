"""The way home: where it is, the speed to hold, and when to turn back."""

from dataclasses import fields, replace

import numpy as np
import pytest

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.common_practice import (
    CRAWL_POWER_FRACTION,
    CRAWL_SPEED_FRACTION,
    DRAG_RATE_SD_JPMS,
    GIVES_OUT_S,
)
from onboard.efficiency.advice.home import SURE_SD, Home
from onboard.efficiency.advice.outlook import Outlook
from onboard.efficiency.advice.ways_home import ways_home
from onboard.efficiency.common_practice import AT_HOME_M, TURN_BACK_REACTION_S
from tests.onboard.efficiency.advice.homeward import (
    METRES_PER_DEGREE,
    SPEEDS,
    ahead,
    curve,
    seconds,
)
from tests.onboard.efficiency.curve.made_blocks import cubic

CUTOFF_V = 42.0
OUT_MPS, OUT_W = 2.0, cubic(2.0)
"""158 W at 2 m/s."""


def out(metres: float = 4000.0, volts_v: float = 50.0, known=None, speed_mps=OUT_MPS) -> Home:
    """Return a home so far behind, reached at a steady speed on the power of 2 m/s."""
    home, count = Home(), round(metres / speed_mps)
    home.fold(seconds(np.full(count, speed_mps), OUT_W, volts_v=volts_v))
    home.know(known or curve(), CUTOFF_V)
    return home


def drifted(metres: float = 6000.0) -> Home:
    """Return a home so far behind, with nothing known of how it was left."""
    home = Home()
    home.put(45.0, -30.0)
    home.fold(seconds(np.zeros(60), 0.0, from_m=metres))
    return home


def advise(home: Home, outlook: Outlook, leaving_mps: float = 0.0):
    """Return the advice on the way home right after an evaluation."""
    home.evaluate(outlook, leaving_mps)
    return home.way(outlook)


def rows(outlook: Outlook, some: np.ndarray) -> Outlook:
    """Return some rows of an outlook."""
    columns = {one.name: getattr(outlook, one.name) for one in fields(outlook)}
    return Outlook(**{k: v if k == "covariance" else v[some] for k, v in columns.items()})


def test_home_is_where_the_craft_left() -> None:
    home = Home()
    assert home.where() is None
    assert home.evaluate(ahead(), 0.0) == (0.0, 0.0)
    assert home.way(ahead()) == Unknown(Reason.NO_POSITION)
    still = seconds(np.zeros(10), 14.0)
    home.fold(still)
    home.fold(seconds(np.full(1000, 2.0), OUT_W, 10.0))
    distance, bearing = home.where()
    assert distance == pytest.approx(2000.0, abs=4.0)
    assert bearing == pytest.approx(180.0)
    home.put(45.0, -29.9)
    assert home.where()[1] != pytest.approx(180.0, abs=1.0)


def test_a_home_set_before_the_start_stays() -> None:
    home = Home()
    home.put(45.02, -30.0)
    home.fold(seconds(np.full(500, 2.0), OUT_W))
    distance, bearing = home.where()
    assert distance == pytest.approx(0.02 * METRES_PER_DEGREE - 1000.0, abs=3.0)
    assert bearing == pytest.approx(0.0, abs=0.01)


def test_the_way_home_is_at_the_power_ridden_so_far_if_that_is_sure() -> None:
    home = out()
    assert advise(home, ahead()).speed_mps == pytest.approx(OUT_MPS, abs=0.03)
    # With less the highest speed that is sure; with little the surest, but no crawl: the cheapest
    # speed is 0.73 m/s, the least power that of 1.23 m/s.
    speeds = [advise(home, ahead(full_wh=full)).speed_mps for full in (250, 170, 130, 60, 40)]
    assert all(np.diff(speeds) <= 0)
    assert OUT_MPS > speeds[0] > speeds[2]
    least = np.interp(CRAWL_POWER_FRACTION * OUT_W, cubic(SPEEDS), SPEEDS)
    assert least - 0.03 < speeds[-1] < least + 0.15


def test_no_crawl_over_ground_either() -> None:
    # Out at 2.8 m/s with a current of 0.8 m/s; against it 0.3 of the power would leave 0.4 m/s.
    home = out(known=curve((0.0, 0.8)), speed_mps=2.8)
    way = advise(home, ahead(full_wh=150.0, head_mps=0.8))
    assert way.speed_mps == pytest.approx(CRAWL_SPEED_FRACTION * 2.8, abs=0.08)
    # Unless nothing else makes way.
    slow = rows(ahead(full_wh=150.0, head_mps=0.8), SPEEDS < 1.2)
    assert 0.5 < advise(home, slow).speed_mps < 1.2


def test_powers_never_ridden_are_not_counted_on() -> None:
    # A rider who held one speed: below 1.95 m/s the curve is a guess.
    home = out(known=curve(seen_mps=(1.95, 2.05)))
    held = advise(home, ahead(full_wh=60.0))
    assert held.speed_mps > 1.9
    assert advise(out(), ahead(full_wh=60.0)).speed_mps < 1.5


def test_the_way_home_uses_an_observed_speed_if_one_suffices() -> None:
    home = drifted()
    for full, tried in ((500.0, True), (300.0, True), (150.0, False)):
        way = advise(home, ahead(full_wh=full, seen_from=1.7))
        assert (way.speed_mps >= 1.7) is tried


def test_turn_back_comes_before_it_is_too_late_and_stays() -> None:
    home = out()
    sparing = [full for full in range(300, 20, -1) if not advise_turn(home, full)]
    due_wh = float(min(sparing))
    ways = ways_home(ahead(full_wh=due_wh), 4000.0, home._wind)
    assert ways.margin_at(SURE_SD).max() > 0
    # Once given it stays until the margin is clear again.
    assert advise_turn(home, due_wh - 1.0)
    assert advise_turn(home, due_wh + 0.2)
    assert not advise_turn(home, due_wh + 10.0)


def advise_turn(home: Home, full_wh: float) -> bool:
    return advise(home, ahead(full_wh=full_wh)).turn_back


def test_turn_back_allows_for_a_wind_that_gets_up_meanwhile() -> None:
    """It cannot be noticed on the way out, nor at rest: the longer away, the more is left."""
    outlook, spare = ahead(full_wh=200.0), []
    for rest_s in (0, 1200, 3000):
        home = out()
        home.fold(seconds(np.zeros(rest_s), 14.0, 2000.0, 4000.0))
        home.know(curve(), CUTOFF_V)
        spare.append(home.evaluate(outlook, 0.0)[0])
    # The drag's standard deviation grows by its trend's; 95 % of it count, and its mean.
    grown = DRAG_RATE_SD_JPMS * 1800.0 * 4000.0 / 3600.0
    assert 0.5 * grown < spare[1] - spare[2] < 3.0 * grown
    assert spare[0] > spare[1]


def test_without_a_curve_turn_back_is_not_given_at_once() -> None:
    """257 m from home, after two steady stretches; the power back is known to a factor of five."""
    one_speed = curve(seen_mps=(1.26, 1.28))
    for metres, full_wh, due in ((257.0, 350.0, False), (257.0, 8.0, True), (4000.0, 200.0, True)):
        home = out(metres, known=one_speed, speed_mps=1.27)
        vague = rows(ahead(full_wh=full_wh, curve_sd=1.57), np.abs(SPEEDS - 1.27) < 0.02)
        way = advise(home, vague, 1.27)
        assert way.turn_back is due
        # The margin is not above what is left, and the cost not above what water can do.
        assert way.margin_wh.high <= full_wh
        assert way.energy_wh.high < 8.0 * way.energy_wh.value
        assert (way.margin_wh.low > 300.0) is (full_wh == 350.0)


def test_turn_back_comes_sooner_when_leaving_than_when_returning() -> None:
    home = drifted()
    outlook = ahead(full_wh=200.0)
    spare = [home.evaluate(outlook, leaving)[0] for leaving in (3.0, 0.0, -3.0)]
    assert spare[0] < spare[1] == spare[2]


@pytest.mark.parametrize("leaving_mps", [0.0, 2.0])
def test_the_time_to_react_is_kept_on_the_way_out(leaving_mps: float) -> None:
    # The way home from the place in half a minute, plus half a minute's power.
    home, outlook = drifted(), ahead(full_wh=200.0)
    spare_wh, power_w = home.evaluate(outlook, leaving_mps)
    further_m = home.where()[0] + TURN_BACK_REACTION_S * leaving_mps
    surely = ways_home(outlook, further_m, home._wind).margin_at(SURE_SD)
    assert power_w == pytest.approx(outlook.power_w[surely.argmax()])
    assert spare_wh == pytest.approx(surely.max() - TURN_BACK_REACTION_S * power_w / 3600)


def test_a_pack_about_to_give_out_is_a_reason_to_turn_back() -> None:
    """A cold pack at full throttle with half its energy left."""
    falling = np.linspace(44.0, 42.6, 2000)
    home = out(volts_v=falling)
    assert home._gives_out_s > GIVES_OUT_S
    assert not advise_turn(home, 500.0)
    lower = out(volts_v=np.concatenate([np.full(1900, 44.0), np.linspace(44.0, 42.5, 100)]))
    assert 0 < lower._gives_out_s < GIVES_OUT_S
    assert advise_turn(lower, 500.0)


def test_the_margin_shown_has_the_interval_of_the_evaluation() -> None:
    home = out()
    outlook = ahead(full_wh=120.0, curve_sd=0.1)
    way = advise(home, outlook)
    ways = ways_home(outlook, way.distance_m, home._wind)
    row = int(np.argmin(np.abs(ways.speed_mps - way.speed_mps)))
    assert way.margin_wh.low == pytest.approx(ways.margin_at(1.959964)[row])
    assert way.margin_wh.value == pytest.approx(120.0 - way.energy_wh.value)
    assert way.margin_wh.low < way.margin_wh.value < way.margin_wh.high
    assert way.energy_wh.low < way.energy_wh.value < way.energy_wh.high


def test_a_way_that_cannot_be_made_has_no_energy() -> None:
    way = advise(out(), ahead(head_mps=1.0), 0.0)
    assert way.energy_wh.value > 0
    # The water of the last minutes runs faster than the craft.
    home = out()
    home._wind = replace(home._wind, mean=home._wind.mean - np.array([9.0, 0, 0, 0, 0]))
    way = advise(home, ahead())
    none = Unknown(Reason.NO_SPEED_ON_COURSE)
    assert (way.energy_wh, way.margin_wh, way.speed_mps) == (none, none, none)
    assert way.turn_back is True


@pytest.mark.parametrize(
    ("metres", "turn_back"), [(AT_HOME_M - 8.0, False), (AT_HOME_M + 8.0, True)]
)
def test_no_turn_back_at_home(metres: float, turn_back: bool) -> None:
    # The pack is as good as empty; home is set so many metres ahead.
    home = out(100.0)
    home.put(45.0 + (100.0 + metres) / METRES_PER_DEGREE, -30.0)
    assert home.where()[0] == pytest.approx(metres, abs=0.1)
    assert advise_turn(home, 0.001) is turn_back


def test_turn_back_ends_at_home() -> None:
    home = out(100.0)
    home.turn_back = True
    home.put(45.0 + 100.0 / METRES_PER_DEGREE, -30.0)
    assert advise_turn(home, 0.001) is False


def test_a_following_current_outward_hinders_on_the_way_home() -> None:
    home = drifted()
    still, against = advise(home, ahead()), advise(home, ahead(head_mps=0.5))
    assert against.energy_wh.value > 1.8 * still.energy_wh.value
