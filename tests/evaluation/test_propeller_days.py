"""Afternoons with propellers: their physics against formulas, and the cases as a smoke test."""

import json
import math
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.coach.order import Order
from tests.craft.chance import generator
from tests.evaluation import coached_days, seconds_days
from tests.evaluation.coach_policy import ROUNDS_MOST, Ahead, coached
from tests.evaluation.propeller_days import Afternoon, Day, Hull, Sea, legs_of
from tests.evaluation.test_smoke import ridden

HULL = Hull(hotel_w=10.0, power_w=400.0, speed_mps=2.0, wave_share=0.3, steepness=5.0)
STILL = Afternoon(
    HULL, {"a": 0.0, "b": 0.06}, sd=0.0, steer_deg=0.0, power_sd=0.0, power_drift_sd=0.0
)


def test_a_set_up_costs_what_was_drawn() -> None:
    day = Day(STILL, generator(1, "runs"))
    assert day.setups["a"].speed_mps(400.0) == pytest.approx(2.0, rel=1e-4)
    assert day.true_fraction("b", "a", 400.0) == pytest.approx(0.06, rel=1e-3)
    # d ln v / d ln P by hand: P / (P - hotel) / (0.7 x 2.8 + 0.3 x 5).
    by_hand = 400.0 / 390.0 / (0.7 * 2.8 + 0.3 * 5.0)
    assert day.setups["a"].slope(400.0) == pytest.approx(by_hand, rel=5e-3)


def test_a_current_across_slows_both_ways_by_its_cosine() -> None:
    across = Sea(0.5, STILL.course_deg + 90.0)
    day = Day(replace(STILL, sea=across), generator(1, "runs"))
    day.ride("a")
    for leg in legs_of(day):
        assert leg.speed_mps == pytest.approx(math.sqrt(2.0**2 - 0.5**2), rel=1e-3)
    set_off = Day(replace(STILL, sea=across, holds_track=False), generator(1, "runs"))
    set_off.ride("a")
    out, back = (leg.course_deg for leg in legs_of(set_off))
    leeway_deg = math.degrees(math.atan2(0.5, 2.0))
    assert (back - out) % 360.0 == pytest.approx(180.0 + 2.0 * leeway_deg, abs=0.1) or (
        (back - out) % 360.0 == pytest.approx(180.0 - 2.0 * leeway_deg, abs=0.1)
    )


def test_a_round_lap_loses_three_quarters_of_the_square_of_the_current() -> None:
    # The mean of 1 / (c cos + sqrt(v^2 - c^2 sin^2)) over a circle is (1 + 3/4 (c/v)^2) / v to
    # second order.
    lap = replace(STILL, laps=True, lap_aspect=1.0, turn_loss=0.0, sea=Sea(0.2, 77.0))
    day = Day(lap, generator(1, "runs"))
    day.ride("a")
    assert legs_of(day)[0].speed_mps == pytest.approx(2.0 / (1.0 + 0.75 * 0.1**2), rel=1e-4)


def test_scatter_is_as_drawn() -> None:
    for heavy, laps in ((False, False), (True, False), (False, True)):
        day = Day(replace(STILL, sd=0.02, heavy=heavy, laps=laps), generator(2, "runs"))
        for _ in range(3000):
            day.ride("a")
        speeds = np.log([leg.speed_mps for leg in legs_of(day)])
        means = speeds if laps else speeds.reshape(-1, 2).mean(axis=1)
        assert float(means.std()) == pytest.approx(0.02, rel=0.06)


def test_a_step_comes_with_the_first_swap_after_its_time() -> None:
    day = Day(replace(STILL, step=0.05, step_at_s=0.0, step_is_outing=True), generator(1, "runs"))
    for name in "aab":
        day.ride(name)
    found = legs_of(day)
    assert [leg.outing for leg in found] == [0, 0, 0, 0, 1, 1]
    assert found[-1].speed_mps / found[0].speed_mps == pytest.approx(
        math.exp(-0.05) / 1.06, rel=2e-3
    )


def test_the_coached_go_there_and_back_and_then_as_asked() -> None:
    ridden_names: list[str] = []

    def ride(name: str) -> Ahead:
        ridden_names.append(name)
        return Ahead(len(ridden_names) == 9, ("b", "a"))

    coached("abc", ride)
    assert "".join(ridden_names) == "abccbabab"[:9]
    ridden_names.clear()
    coached("ab", lambda name: ridden_names.append(name) or Ahead(order=("a",), drop=("b",)))
    assert ridden_names.count("a") == ROUNDS_MOST


def test_a_set_up_that_is_taken_back_in_makes_up_for_its_run() -> None:
    dropped = {2: "c", 3: "c"}
    ridden_names: list[str] = []

    def ride(name: str) -> Ahead:
        ridden_names.append(name)
        return Ahead(len(ridden_names) == 6, drop=dropped.get(len(ridden_names), ""))

    coached("abc", ride)
    assert "".join(ridden_names) == "abbacc"


@given(
    st.sampled_from(["ab", "abc", "abcdefg"]),
    st.lists(
        st.builds(
            Ahead,
            enough=st.booleans(),
            order=st.text("abcdefg", max_size=7),
            drop=st.text("abcdefg", max_size=3),
        ),
        min_size=1,
    ),
)
def test_the_coached_go_as_the_coach_would_have_them(names: str, asked: list[Ahead]) -> None:
    """Whatever is asked for after each run, the order is that of `onboard.coach.order`."""
    ridden_names: list[str] = []

    def answer(number: int) -> Ahead:
        one = asked[number % len(asked)]
        wanted = [name for name in one.order if name in names]
        # A trial drops neither all of its set-ups nor any that it wants ridden.
        drop = set(one.drop) - {names[0]} - set(wanted)
        return Ahead(one.enough, wanted, sorted(drop))

    def ride(name: str) -> Ahead:
        ridden_names.append(name)
        return answer(len(ridden_names))

    coached(names, ride)
    order, counts, now = Order(tuple(names)), Counter[str](), Ahead()
    for name in ridden_names:
        if not order.ahead(counts, now.drop):
            order.go_on(counts, tuple(now.order))
        assert name == order.ahead(counts, now.drop)[0]
        counts[name] += 1
        now = answer(counts.total())
    assert (now.enough and len(counts) == len(names)) or (
        not order.ahead(counts, now.drop) and max(counts.values()) >= ROUNDS_MOST
    )


@pytest.mark.slow
def test_coached_days(tmp_path: Path) -> None:
    kinds = "two equal", "best of seven 6 % ahead, laps of 1.5 %"
    rides, again = ridden("coached_days", tmp_path / "results.jsonl", *kinds)
    for row in again.of(rides):
        json.dumps(row, allow_nan=False)
        for look in row["looks"].values():
            assert look["known"]
            assert look["finite"]
            assert 0 <= look["inside"] <= look["pairs"]
            assert look["false"] <= look["claimed"] <= look["pairs"]
    seven = again.of(rides)[1]["looks"]
    assert seven[coached_days.ONE_LOOK]["runs"] == 21
    assert seven[coached_days.COACH]["best_named"]
    assert f"| {kinds[0]} | {coached_days.COACH} | 1 | 0 |" in coached_days.table(again.of(rides))


@pytest.mark.slow
def test_seconds_days(tmp_path: Path) -> None:
    kinds = [f"seven equal, laps: {how}" for how in (seconds_days.MARKED, seconds_days.UNMARKED)]
    rides, again = ridden("seconds_days", tmp_path / "results.jsonl", *kinds)
    for row in again.of(rides):
        assert row["finite"]
        assert row["runs"] == 21
    assert "| seven equal, laps | set-ups marked | 1 | 0 |" in seconds_days.table(again.of(rides))
