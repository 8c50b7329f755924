"""Learning under way: from seconds to curve and water, by set-up, and carried over."""

import dataclasses
import itertools
import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.contract.figure import Figure, Unknown
from onboard.contract.snapshot import Curve, SetAndDrift
from onboard.efficiency.curve.learner import Learner
from onboard.efficiency.curve.power_curve import curve
from onboard.efficiency.curve.ridden import took
from onboard.efficiency.curve.set_and_drift import set_and_drift
from onboard.efficiency.statistics.shared_errors import prior_covariance
from onboard.profile import Sensors
from tests.onboard.efficiency.curve.made_blocks import (
    SPEEDS,
    above_hotel,
    cubic,
    settled,
    velocity_over_ground,
)

WATER = np.array([0.2, -0.1])
EXACT = np.zeros((5, 5))
"""Shared errors of exact sensors."""


def seconds(legs, seed=0, power_at=cubic, water_mps=WATER):
    """Return settled seconds of legs (course, power, seconds); velocity noise has memory."""
    rng = np.random.default_rng(seed)
    power, velocity = [], []
    for course_deg, power_w, count in legs:
        through = np.interp(power_w, power_at(SPEEDS), SPEEDS)
        power.append(power_w * (1 + 0.02 * rng.standard_normal(count)))
        made = velocity_over_ground(course_deg, through, water_mps)
        velocity.append(np.tile(made[:, None], count))
    east_north = np.concatenate(velocity, axis=1)
    noise = rng.normal(0, 0.06, east_north.shape)
    noise[:, 1:] = 0.6 * noise[:, :-1] + 0.8 * noise[:, 1:]
    return settled(np.concatenate(power), *(east_north + noise))


THREE = [(course, power, 200) for course in (10, 130, 250) for power in (120.0, 260.0)]


def learned(legs=THREE, kept=None, seed=0) -> Learner:
    learner = Learner(kept)
    learner.fold(seconds(legs, seed))
    return learner


def test_three_courses_give_water_and_the_curve_through_it() -> None:
    # Short legs: the water wanders, so a course ridden long ago is uninformative about it now.
    turns = [(course, power, 100) for power in (120.0, 260.0) * 2 for course in (10, 130, 250)]
    learner = learned(turns)
    water, found = set_and_drift(learner.posterior), curve(learner, EXACT)
    assert isinstance(water, SetAndDrift)
    assert isinstance(water.east_mps, Figure) and isinstance(water.north_mps, Figure)
    assert water.east_mps.value == pytest.approx(0.2, abs=0.05)
    assert water.north_mps.value == pytest.approx(-0.1, abs=0.05)
    assert isinstance(found, Curve)
    assert found.speed_kind == "through_water"
    true_w = cubic(np.array(found.speed_mps))
    assert np.array(found.power_w) == pytest.approx(true_w, rel=0.06)
    assert (np.array(found.low_w) < true_w).all() and (true_w < np.array(found.high_w)).all()
    assert (np.diff(found.power_w) > 0).all()


def test_one_course_gives_no_water_and_a_curve_over_ground() -> None:
    learner = learned([(90, 120.0, 300), (90, 260.0, 300)])
    assert isinstance(set_and_drift(learner.posterior), Unknown)
    found = curve(learner, EXACT)
    assert isinstance(found, Curve)
    assert found.speed_kind == "over_ground"
    # The water sets 0.2 m/s along the course and 0.1 m/s across it.
    over_ground = 0.2 + np.sqrt(np.interp(260.0, cubic(SPEEDS), SPEEDS) ** 2 - 0.01)
    assert np.interp(over_ground, found.speed_mps, found.power_w) == pytest.approx(260, rel=0.1)


def test_one_line_in_still_water_gives_a_curve_that_is_true_and_not_through_water() -> None:
    # Out at three speeds, back at a power below all of them: the bend above the hotel load was
    # taken for water along the line.
    powers = above_hotel(np.array([2.02, 2.9, 1.46, 0.95]))
    legs = [(40, power, 420) for power in powers[:3]] + [(220, powers[3], 420)]
    learner = Learner()
    learner.fold(seconds(legs, power_at=above_hotel, water_mps=np.zeros(2)))
    found = curve(learner, prior_covariance(Sensors(), None))
    assert isinstance(found, Curve)
    assert found.speed_kind == "over_ground"
    true_w = above_hotel(np.array(found.speed_mps))
    assert np.mean((np.array(found.low_w) < true_w) & (true_w < np.array(found.high_w))) > 0.9
    ridden_w = np.interp([0.95, 1.46, 2.02, 2.9], found.speed_mps, found.power_w)
    assert ridden_w == pytest.approx(powers[[3, 2, 0, 1]], rel=0.06)


def test_where_water_moves_between_unlike_powers_no_curve_over_ground_is_shown() -> None:
    # 0.4 m/s with the craft out, against it back: 260 W back are slower than 120 W out.
    legs = [(40, 120.0, 300), (40, 400.0, 300), (220, 260.0, 300)]
    learner = Learner()
    learner.fold(seconds(legs, water_mps=0.5 * np.array([0.643, 0.766])))
    known = learner.posterior
    assert known is not None and not known.determines_water
    found = curve(learner, EXACT)
    assert isinstance(found, Curve)
    assert found.speed_kind == "through_water"
    true_w = cubic(np.array(found.speed_mps))
    assert (np.array(found.low_w) < true_w).all() and (true_w < np.array(found.high_w)).all()


def test_the_band_holds_the_gains_that_all_powers_share() -> None:
    errors = np.zeros((5, 5))
    errors[2, 2], errors[4, 4] = 0.02**2, 0.005**2
    learner = learned()
    exact, shared = curve(learner, EXACT), curve(learner, errors)
    assert isinstance(exact, Curve) and isinstance(shared, Curve)
    # Of the current and of the voltage, 1.959964 standard deviations each way.
    alone, both = (np.log(np.array(one.high_w) / one.low_w) for one in (exact, shared))
    by_gains = 2.0 * 1.959964 * np.hypot(0.02, 0.005)
    assert np.sqrt(both**2 - alone**2) == pytest.approx(by_gains)
    # And the weather of the ride, 3 %, in a curve that is to hold in calm water.
    known = learner.posterior
    assert known is not None
    variance = known.through_any_water().curve_variance(np.array(exact.speed_mps))
    assert alone == pytest.approx(2.0 * 1.959964 * np.sqrt(variance + 0.03**2))


def test_what_a_single_course_took_is_kept_and_serves_another_day() -> None:
    one_course = [(90, 120.0, 300), (90, 260.0, 300)]
    kept = json.loads(json.dumps(learned(one_course).as_dict()))
    later = Learner(kept).for_another_day("as is")
    assert later is not None
    through, over_ground, sums = later
    assert not through.determines_water and over_ground is not None
    # Over ground it is known as well as speed and day allow, through water to a factor.
    slow_mps = 0.2 + np.sqrt(np.interp(120.0, cubic(SPEEDS), SPEEDS) ** 2 - 0.01)
    at = np.array([slow_mps])
    assert np.sqrt(over_ground.curve_variance(at)[0]) < 0.08
    assert np.sqrt(through.curve_variance(at)[0]) > 0.3
    took_there = took(sums, float(slow_mps))
    assert took_there is not None
    assert took_there.wh_per_km == pytest.approx(120.0 / slow_mps / 3.6, rel=0.02)
    # 300 s at one power are 14 blocks after settling.
    assert took_there.seconds_s == pytest.approx(280.0, abs=40.0)
    # Three courses later the water is known, and rides add up.
    both = Learner(learned(kept=kept).as_dict()).for_another_day("as is")
    assert both is not None
    assert both[0].determines_water and both[1] is None
    assert both[2][:, 1].sum() > sums[:, 1].sum() + 40


def test_a_curve_kept_before_rides_were_summed_is_still_read() -> None:
    kept = learned().as_dict()
    for key in ("over_ground", "ridden"):
        del kept["as is"][key]
    later = Learner(kept).for_another_day("as is")
    assert later is not None
    assert later[0].determines_water and later[1] is None and len(later[2]) == 0


def test_blocks_that_are_no_longer_stored_still_count_as_ridden(monkeypatch) -> None:
    whole = learned()
    monkeypatch.setattr("onboard.efficiency.curve.learner.BLOCKS_MOST", 20)
    few = learned()
    assert len(few._blocks) == 20
    assert few.as_dict()["as is"]["ridden"] == whole.as_dict()["as is"]["ridden"]


def test_nothing_learned_yet() -> None:
    learner = Learner()
    assert isinstance(curve(learner, EXACT), Unknown)
    assert isinstance(set_and_drift(learner.posterior), Unknown)


def test_a_curve_is_carried_over_and_counts_for_less() -> None:
    kept = json.loads(json.dumps(learned().as_dict()))
    later = learned([(90, 190.0, 60)], kept, seed=5)
    alone = learned([(90, 190.0, 60)], seed=5)
    assert later.posterior is not None and alone.posterior is not None
    at = np.array([np.interp(120.0, cubic(SPEEDS), SPEEDS)])
    ln_power, _ = later.posterior.ln_power_at(at)
    assert ln_power[0] == pytest.approx(np.log(120.0), abs=0.15)
    sd = np.sqrt(later.posterior.curve_variance(at)[0])
    first = learned().posterior
    assert first is not None
    assert np.sqrt(first.curve_variance(at)[0]) < sd
    assert sd < np.sqrt(alone.posterior.curve_variance(at)[0]) / 2


def test_a_curve_carried_over_gives_the_water_on_one_course() -> None:
    kept = learned().as_dict()
    one_course = [(90, 150.0, 200), (90, 250.0, 200)]
    later = learned(one_course, kept, seed=6).posterior
    assert later is not None
    assert later.water_mps[0] == pytest.approx(0.2, abs=0.12)
    assert np.sqrt(later.covariance[0, 0]) < 0.12
    assert np.sqrt(later.covariance[1, 1]) > 0.15


def test_each_set_up_has_its_own_curve() -> None:
    learner = learned()
    learner.select("big propeller")
    assert learner.posterior is None
    learner.fold(seconds([(10, 200.0, 200), (130, 200.0, 200), (250, 200.0, 200)]))
    kept = learner.as_dict()
    assert set(kept) == {"as is", "big propeller"}
    assert Learner(kept).as_dict() == kept
    learner.select("as is")
    assert learner.posterior is None


SOUND = {"first_knot": 1, "ln_speed": [0.1], "covariance": [[1.0]], "seen_mps": [1, 2]}


def test_a_sound_saved_curve_is_read() -> None:
    assert Learner({"as is": {**SOUND, "ridden": [[20.0, 1.0, 5.0, 25.0]]}}).carried == ("as is",)


@pytest.mark.parametrize(
    "spoilt",
    [
        [],
        "x",
        {"as is": None},
        {"as is": {}},
        {"as is": {"first_knot": 1, "ln_speed": [0.1], "covariance": [[-1.0]], "seen_mps": [1, 2]}},
        {
            "as is": {
                "first_knot": 1,
                "ln_speed": [float("nan")],
                "covariance": [[1.0]],
                "seen_mps": [1, 2],
            }
        },
        {"as is": {"first_knot": -3, "ln_speed": [0.1], "covariance": [[1.0]], "seen_mps": [1, 2]}},
        {"as is": {"first_knot": 1, "ln_speed": [0.1], "covariance": [[1.0]], "seen_mps": [2, 1]}},
        {"as is": {**SOUND, "ridden": [[20.0, 1.0, 5.0]]}},
        {"as is": {**SOUND, "ridden": [[20.0, 1.0, 5.0, 25.0], [20.0, 1.0, 5.0, 25.0]]}},
        {"as is": {**SOUND, "ridden": [[20.0, 0.0, 5.0, 25.0]]}},
        {"as is": {**SOUND, "ridden": [[1e9, 1.0, 5.0, 25.0]]}},
        {"as is": {**SOUND, "ridden": "x"}},
        {"as is": {**SOUND, "over_ground": {}}},
    ],
)
def test_a_malformed_saved_curve_is_refused(spoilt) -> None:
    with pytest.raises(ValueError, match="not readable"):
        Learner(spoilt)


@pytest.mark.slow
@settings(max_examples=12)
@given(st.lists(st.integers(0, 1200), max_size=10))
def test_learning_does_not_depend_on_the_cut(cuts: list[int]) -> None:
    whole = seconds(THREE)
    pieces = Learner()
    for begin, end in itertools.pairwise([0, *sorted(cuts), len(whole)]):
        pieces.fold(whole.part(begin, end))
    at_once = learned()
    assert pieces.posterior is not None and at_once.posterior is not None
    assert pieces.posterior.water_mps == pytest.approx(at_once.posterior.water_mps, abs=1e-9)
    assert pieces.posterior.ln_speed == pytest.approx(at_once.posterior.ln_speed, abs=1e-9)


def test_saving_the_curves_changes_nothing() -> None:
    # The daemon does so every half minute: it must not count the same blocks again each time.
    quiet, written = Learner(), Learner()
    for begin in range(0, 1200, 40):
        stretch = seconds(THREE).part(begin, begin + 40)
        quiet.fold(stretch)
        written.fold(stretch)
        assert written.as_dict() == written.as_dict()
    assert written.as_dict() == quiet.as_dict()
    assert written.posterior.covariance.tolist() == quiet.posterior.covariance.tolist()


def test_a_set_up_that_comes_back_is_not_learned_twice() -> None:
    learner = learned()
    once = learner.as_dict()
    learner.select("other")
    learner.select("as is")
    assert learner.as_dict() == once


def test_a_curve_of_another_day_keeps_the_day_to_day_spread() -> None:
    # However many blocks it was learned from: 1.5 % of speed for all speeds alike, 1 % for each.
    learner = learned([(course, power, 400) for course, power, _ in THREE])
    (kept,) = learner.as_dict().values()
    variance = np.diag(np.array(kept["covariance"]))
    assert (variance > 0.015**2 + 0.01**2).all()
    shared = np.array(kept["covariance"]) - np.diag(variance)
    assert shared[0, 1] > 0.015**2
    ahead = Learner(learner.as_dict()).known("as is")
    speed = np.array([1.8, 2.2])
    # A power goes with about the cube of speed: 4.5 % and more.
    assert (np.sqrt(ahead.curve_variance(speed)) > 2.5 * 0.015).all()


def test_a_loaded_propeller_is_told_in_time_and_for_any_cut_and_not_carried_over() -> None:
    # Weed in the middle of a leg: a third more power at the revs, at the same speed.
    clean = seconds([(10, 120.0, 300), (130, 120.0, 300), (10, 200.0, 300)])
    volts, revs = np.full(900, 50.0), {("drive", "rpm"): np.full(900, 1000.0)}
    weed = np.where(np.arange(900) < 720, 1.0, 1.33)
    ride = dataclasses.replace(clean, volts_v=volts, power_w=clean.power_w * weed, readings=revs)
    whole = Learner()
    ((t_s, fouled, more),) = whole.fold(ride)
    assert fouled
    assert 760.0 <= t_s <= 840.0
    assert more == pytest.approx(0.33, abs=0.05)
    for cuts in ([721], [779, 800], list(range(1, 900))):
        pieces, changes = Learner(), []
        for begin, end in itertools.pairwise([0, *cuts, 900]):
            changes += pieces.fold(ride.part(begin, end))
        assert changes == [(t_s, fouled, more)]
    before = Learner()
    before.fold(ride.part(0, 720))
    speed = np.array([1.9])
    kept, clean_kept = (Learner(one.as_dict()).known("as is") for one in (whole, before))
    ln_power, _ = kept.ln_power_at(speed)
    assert ln_power == pytest.approx(clean_kept.ln_power_at(speed)[0], abs=0.05)


def test_another_set_up_starts_without_a_load() -> None:
    # The propeller of the other set-up takes more at its revs: that is no weed.
    light, heavy = (
        dataclasses.replace(
            seconds([(10, power_w, 300)]),
            volts_v=np.full(300, 50.0),
            readings={("drive", "rpm"): np.full(300, 1000.0)},
        )
        for power_w in (200.0, 300.0)
    )
    learner = Learner()
    learner.fold(light)
    learner.select("other")
    later = dataclasses.replace(heavy, t_s=heavy.t_s + 300.0)
    assert learner.fold(later) == []
