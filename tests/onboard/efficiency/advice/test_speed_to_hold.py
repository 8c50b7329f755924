"""A power or a speed to hold: the cue needs neither a battery nor a curve."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.adviser import Adviser
from onboard.efficiency.advice.speed_to_hold import Hold
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.sources.trailing import Trailing
from tests.onboard.efficiency.trip.test_runs import leg

NO_PACK = Unknown(Reason.NO_BATTERY)


def target_for(aim: Aim, seconds: int = 30, **ridden):
    adviser = Adviser()
    adviser.set_aim(aim)
    adviser.fold(leg(seconds, **ridden))
    return adviser.advice(NO_PACK, None, NO_PACK).target


@pytest.mark.parametrize(
    ("power_w", "cue", "difference"),
    [(300, "hold", 0.0), (308, "hold", 0.0267), (312, "ease", 0.04), (280, "push", -0.0667)],
)
def test_a_cue_for_power_needs_neither_battery_nor_curve(power_w, cue, difference) -> None:
    target = target_for(Aim(power_w=300.0), power_w=power_w)
    assert target.cue == cue
    assert target.difference_fraction == pytest.approx(difference, abs=1e-3)
    assert target.power_w == 300.0


def test_a_cue_for_speed_likewise() -> None:
    target = target_for(Aim(speed_mps=2.0), speed_mps=2.2)
    assert (target.cue, target.speed_mps) == ("ease", 2.0)
    assert target.difference_fraction == pytest.approx(0.1)
    assert isinstance(target.wh_per_km, Unknown)


def test_the_cue_is_immediate_and_follows_within_ten_seconds() -> None:
    adviser = Adviser()
    adviser.fold(leg(30, power_w=400.0))
    adviser.set_aim(Aim(power_w=300.0))
    assert adviser.advice(NO_PACK, None, NO_PACK).target.cue == "ease"
    adviser.fold(leg(10, power_w=300.0, first_s=31.0))
    assert adviser.advice(NO_PACK, None, NO_PACK).target.cue == "hold"


@pytest.mark.parametrize(
    ("speed_mps", "cue"), [(1.88, "push"), (1.92, "hold"), (2.04, "hold"), (2.08, "ease")]
)
def test_a_speed_target_is_compared_with_the_speed(speed_mps: float, cue: str) -> None:
    target = target_for(Aim(speed_mps=2.0), speed_mps=speed_mps, power_w=900.0)
    assert target.cue == cue
    assert target.difference_fraction == pytest.approx(speed_mps / 2.0 - 1.0)


def test_a_new_aim_gets_a_new_cue() -> None:
    # 2 % above the target keeps a cue to ease, but does not start one.
    adviser = Adviser()
    adviser.set_aim(Aim(power_w=300.0))
    adviser.fold(leg(30, power_w=330.0))
    assert adviser.target.cue == "ease"
    adviser.set_aim(Aim(power_w=330.0 / 1.02))
    assert adviser.target.cue == "hold"
    adviser.fold(leg(10, power_w=330.0, first_s=31.0))
    assert adviser.target.cue == "hold"


def test_unknown_power_gives_no_cue() -> None:
    settled = leg(30)
    settled.power_w[-8:] = np.nan
    adviser = Adviser()
    adviser.set_aim(Aim(power_w=300.0))
    adviser.fold(settled)
    target = adviser.advice(NO_PACK, None, NO_PACK).target
    assert target.cue == target.difference_fraction == Unknown(Reason.NOT_KNOWN_LATELY)
    assert (target.reason.code, target.cue) == ("no_cue", Unknown(Reason.NOT_KNOWN_LATELY))


@given(st.integers(0, 2**31), st.lists(st.integers(0, 120), max_size=8).map(sorted))
def test_the_cue_does_not_depend_on_the_cut(seed, cuts) -> None:
    rng = np.random.default_rng(seed)
    whole = leg(120)
    whole.power_w[:] *= rng.normal(1.0, 0.12, 120)
    found = []
    for places in ([], cuts):
        hold, trailing = Hold(), Trailing(60, "power_w", "distance_m")
        hold.set_aim(Aim(power_w=300.0))
        for begin, end in zip([0, *places], [*places, 120], strict=True):
            if begin < end:
                hold.fold(trailing.fold(whole.part(begin, end)))
        found.append((hold.cue, hold.difference_fraction))
    assert found[0] == found[1]
