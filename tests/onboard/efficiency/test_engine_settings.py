"""Settings made under way (aim, home, reserve, set-up) take effect at once, for any partition."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.block import Block, Channel
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.common_practice import ADVICE_EVERY_S
from onboard.efficiency.engine import Engine
from onboard.profile import Battery, Profile
from tests.onboard.efficiency.made_channels import channel

PACK = Battery("li-ion", 14, 40.0, resistance_ohm=0.02, reserve_fraction=0.2)
PROFILE = Profile(battery=PACK)
METRES_PER_DEGREE = 78_846.8
"""Of longitude at 45 degrees north (WGS 84)."""


def ride(
    seconds: int,
    begin_s: float = 0.0,
    *,
    weed: float = 1.0,
    hotel_w: float = 14.0,
    turning: bool = False,
) -> dict[str, Channel]:
    """Ride out eastward, or in circles, at two speeds in turn, two minutes each."""
    t_s = begin_s + np.arange(0.0, seconds, 0.5)
    rng = np.random.default_rng(int(begin_s))
    speed = np.where(t_s // 120 % 2 == 0, 1.6, 2.2)
    power = weed * (hotel_w + 18 * speed**3)
    course = t_s // 60 * 90 % 360 if turning else 90.0

    east_m = 1.9 * t_s
    gps = channel(
        "gps",
        t_s,
        fix=3.0,
        speed_mps=speed + rng.normal(0, 0.02, len(t_s)),
        course_deg=course,
        latitude_deg=45.0,
        longitude_deg=-30 + east_m / METRES_PER_DEGREE,
    )
    return {"power": channel("power", t_s, volts_v=50.0, amps_a=power / 50.0), "gps": gps}


def ridden(seconds: int = 900) -> Engine:
    engine = Engine(PROFILE)
    engine.fold(Block(ride(seconds)))
    return engine


def test_a_target_takes_effect_at_once() -> None:
    engine = ridden()
    assert isinstance(engine.figures().target, Unknown)
    engine.set_aim(Aim(distance_m=3000.0))
    target = engine.figures().target
    assert not isinstance(target, Unknown)
    assert target.distance_m == 3000.0
    assert engine.adviser.aim == Aim(distance_m=3000.0)
    engine.set_aim(Aim())
    assert engine.figures().target == Unknown(Reason.NO_TARGET)


def test_a_new_home_takes_effect_at_once() -> None:
    engine = ridden()
    assert engine.figures().home.distance_m > 1500.0
    engine.set_home(45.0, -30 + 2000.0 / METRES_PER_DEGREE)
    home = engine.figures().home
    # Folded up to the last settled second, at about 1710 m.
    assert home.distance_m == pytest.approx(2000.0 - 1.9 * 900, abs=10.0)
    assert home.bearing_deg == pytest.approx(90.0, abs=1.0)


def test_the_reserve_is_subtracted_from_the_energy_left() -> None:
    engine = ridden()
    assert engine.reserve_fraction == 0.2
    before = engine.figures().battery
    engine.set_reserve(0.5)
    assert engine.reserve_fraction == 0.5
    after = engine.figures().battery
    # Both fractions are of the full energy; the interval of the energy left is that of the pack.
    gone = before.left_fraction.value - after.left_fraction.value
    assert gone == pytest.approx(0.3, abs=0.005)
    assert after.left_wh.value < before.left_wh.value
    plain = Engine(
        Profile(battery=Battery("li-ion", 14, 40.0, resistance_ohm=0.02, reserve_fraction=0.5))
    )
    plain.fold(Block(ride(900)))
    assert plain.figures().battery == after
    assert isinstance(Engine(Profile()).reserve_fraction, Unknown)
    Engine(Profile()).set_reserve(0.3)  # without a battery: no effect, and no error


def test_a_reserve_that_leaves_too_little_for_the_way_home_raises_turn_back() -> None:
    engine = ridden()
    assert engine.figures().home.turn_back is False
    engine.set_reserve(0.94)
    assert engine.figures().home.turn_back is True
    # The alert comes with the next evaluation, not after minutes.
    engine.fold(Block(ride(ADVICE_EVERY_S + 3, 900.0)))
    assert "turn_back" in {alert.code for alert in engine.figures().alerts}


def test_a_full_battery_withdraws_turn_back_at_once() -> None:
    engine = ridden()
    engine.set_reserve(0.92)
    assert engine.figures().home.turn_back is True
    engine.charged_full()
    assert engine.figures().home.turn_back is False


def test_another_set_up_has_its_own_curve() -> None:
    engine = ridden()
    best = engine.figures().best_speed_mps
    assert not isinstance(best, Unknown)
    engine.select_setup("big propeller")
    assert engine.learner.setup == "big propeller"
    assert isinstance(engine.figures().best_speed_mps, Unknown)
    engine.select_setup("as is")
    engine.fold(Block(ride(120, 900.0)))
    assert set(engine.learner.as_dict()) == {"as is"}


def test_another_set_up_has_its_own_best_speed() -> None:
    best = []
    for looked in (False, True):
        engine = ridden()
        if looked:
            assert not isinstance(engine.figures().best_speed_mps, Unknown)
        engine.select_setup("big propeller")
        # As many stretches as before, on the same course, of another curve.
        engine.fold(Block(ride(900, 960.0, hotel_w=160.0)))
        best.append(engine.figures().best_speed_mps)
    assert best[0] == best[1]


def test_an_alert_of_weed_ends_with_its_set_up() -> None:
    engine = Engine(PROFILE)
    engine.fold(Block(ride(960, turning=True)))
    engine.fold(Block(ride(240, 960.0, weed=1.8, turning=True)))
    assert "weed" in {alert.code for alert in engine.figures().alerts}
    engine.select_setup("clean one")
    assert "weed" not in {alert.code for alert in engine.figures().alerts}


def test_a_mark_set_before_anything_is_counted_counts_from_the_start() -> None:
    engine = Engine(PROFILE)
    engine.mark()
    engine.fold(Block(ride(300)))
    consumption = engine.figures().wh_per_km
    assert not isinstance(consumption.since_mark, Unknown)
    assert consumption.since_mark == consumption.trip


SETTINGS = {
    "aim": lambda engine: engine.set_aim(Aim(distance_m=4000.0)),
    "speed": lambda engine: engine.set_aim(Aim(speed_mps=2.0)),
    "home": lambda engine: engine.set_home(45.001, -29.99),
    "reserve": lambda engine: engine.set_reserve(0.6),
    "setup": lambda engine: engine.select_setup("big propeller"),
    "full": Engine.charged_full,
    "mark": Engine.mark,
}


def flat(value, path="") -> dict[str, object]:
    parts = getattr(value, "__dataclass_fields__", None)
    if parts is None or isinstance(value, Unknown):
        return {path: value}
    found: dict[str, object] = {}
    for name in parts:
        found |= flat(getattr(value, name), f"{path}.{name}")
    return found


def figures_after(settings_made: list[tuple[float, str]], cuts: list[float]) -> dict[str, object]:
    """Fold ten minutes in pieces, with settings in between."""
    engine, channels, seconds = Engine(PROFILE), ride(600), 600.0
    edges = sorted({0.0, 1.0, *cuts, *(at for at, _ in settings_made)})
    for first, last in itertools.pairwise(edges):
        for at, setting in settings_made:
            if at == first:
                SETTINGS[setting](engine)
        pieces = {}
        for name, whole in channels.items():
            inside = (whole.t_s >= first * seconds) & (whole.t_s < last * seconds)
            columns = {key: column[inside] for key, column in whole.columns.items()}
            pieces[name] = Channel(whole.t_s[inside], columns)
        engine.fold(Block(pieces))
    for at, setting in settings_made:
        if at == 1.0:
            SETTINGS[setting](engine)
    return flat(engine.figures())


@pytest.mark.slow
@settings(max_examples=25)
@given(
    st.lists(st.tuples(st.floats(0, 1), st.sampled_from(sorted(SETTINGS))), max_size=5),
    st.lists(st.floats(0, 1), max_size=12),
)
def test_settings_have_the_same_effect_for_any_partition(settings_made, cuts) -> None:
    whole, pieces = figures_after(settings_made, []), figures_after(settings_made, cuts)
    assert whole.keys() == pieces.keys()
    for path, value in whole.items():
        if isinstance(value, float):
            assert math.isclose(value, pieces[path], rel_tol=1e-9, abs_tol=1e-9), path
        else:
            assert value == pieces[path], path
