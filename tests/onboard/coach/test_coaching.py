"""The coach's steps, second by second."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.coach.coaching import Coaching, Reckoned
from onboard.coach.practice import HOLD_S, RECKON_AFTER_S, SETTLE_S
from onboard.coach.ridden import Ridden
from onboard.coach.stretch import Second
from onboard.contract.coach import Coach, StepCode, TrialPlace, TrialStanding
from onboard.contract.codec import json_line, plain, read
from onboard.contract.commands import TrialPlan
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from tests.onboard.coach.test_lap_riding import circles
from tests.onboard.coach.test_stretch import ridden

PLAN = TrialPlan(("A", "B"), "there_and_back")
TARGET_W = 400.0
NOT_RECORDED = Unknown(Reason.NOT_RECORDED)


def settled(seconds: list) -> SettledSeconds:
    t_s, power_w, east, north = np.array(
        [(one.t_s, one.power_w, one.east_mps, one.north_mps) for one in seconds]
    ).T
    none = np.full(len(seconds), np.nan)
    return SettledSeconds(t_s, power_w, none, none, none, east, north, *([none] * 6))


class Rider:
    """Rides seconds with a set-up and looks at the step after each."""

    def __init__(self, plan: TrialPlan = PLAN, *, recorded: bool = False) -> None:
        self.coach = Coaching(plan)
        if not recorded:
            self.coach.never(NOT_RECORDED)
        self.setup = "as is"
        self.target_w: float | None = TARGET_W
        self.t_s = 0.0
        self.course_deg = 30.0

    def ride(self, *parts: tuple[int, float, float, float]) -> list[str]:
        """Return the codes of the steps shown, each once while it lasts."""
        seconds = ridden(*parts, from_deg=self.course_deg)
        self.course_deg = parts[-1][3]
        return self.fold(seconds)

    def fold(self, seconds: list) -> list[str]:
        shown: list[str] = []
        for one in seconds:
            self.t_s += 1.0
            moved = type(one)(self.t_s, one.power_w, one.east_mps, one.north_mps)
            self.coach.fold(settled([moved]), self.setup)
            code = self.now.step.code.code
            if not shown or shown[-1] != code:
                shown.append(code)
        return shown

    @property
    def now(self) -> Coach:
        return self.coach.now(self.setup, self.target_w)


THERE, TURNS, BACK = (80, 400.0, 2.0, 30.0), (12, 400.0, 2.0, 210.0), (80, 400.0, 2.0, 210.0)


def test_a_double_run_from_start_to_swap() -> None:
    rider = Rider()
    assert rider.ride((3, 0.0, 0.0, 30.0)) == ["swap"]
    assert rider.now.step.values == {"setup": "A"}
    rider.setup = "A"
    assert rider.ride(THERE) == ["start", "settle", "hold", "turn"]
    assert rider.ride(TURNS, BACK) == ["turn", "back", "settle", "hold", "swap"]
    assert rider.now.step.values == {"setup": "B"}
    assert (rider.now.runs, rider.now.ahead) == ((1, 0), ("B", "B", "A"))


def test_the_seconds_count_down_to_the_end_of_the_run() -> None:
    rider = Rider()
    rider.setup = "A"
    left: list[tuple[str, float]] = []
    for _ in range(90):
        rider.ride((1, 400.0, 2.0, 30.0))
        step = rider.now.step
        if step.code in (StepCode.SETTLE, StepCode.HOLD):
            left.append((step.code.code, float(step.values["left_s"] or 0.0)))
    counts = [seconds for code, seconds in left if code == "hold"]
    assert counts == [float(n) for n in range(int(HOLD_S), 0, -1)]
    assert left[0][0] == "settle"
    assert left[0][1] <= SETTLE_S


def test_a_run_broken_off_begins_again() -> None:
    rider = Rider()
    rider.setup = "A"
    rider.ride((40, 400.0, 2.0, 30.0))
    assert rider.ride(TURNS)[-1] == "start"
    assert rider.now.runs == (0, 0)


def test_the_way_back_is_only_the_reciprocal_course() -> None:
    rider = Rider()
    rider.setup = "A"
    rider.ride(THERE)
    rider.ride((12, 400.0, 2.0, 120.0))
    assert rider.ride((30, 400.0, 2.0, 120.0)) == ["back"]
    assert rider.now.step.values["course_deg"] == pytest.approx(210.0, abs=2.0)


def test_a_power_off_the_target_is_said_and_no_target_is_no_power_to_be_off() -> None:
    rider = Rider()
    rider.setup = "A"
    rider.target_w = 350.0
    assert "off_power" in rider.ride((40, 400.0, 2.0, 30.0))
    assert rider.now.step.values == {"now_w": pytest.approx(400.0), "target_w": 350.0}
    rider.target_w = None
    assert rider.now.step.values["target_w"] is None


def test_a_rider_who_puts_on_another_one_is_followed() -> None:
    rider = Rider()
    rider.setup = "B"
    rider.ride((30, 400.0, 2.0, 30.0))
    assert rider.now.step.code is StepCode.HOLD
    assert rider.now.ahead[0] == "B"
    rider.ride((60, 400.0, 2.0, 30.0), TURNS, BACK)
    # The others come then, in their order.
    assert rider.now.ahead == ("A", "B", "A")


def test_laps() -> None:
    rider = Rider(TrialPlan(("A", "B"), "laps"))
    rider.setup = "A"
    # Twice: the lap begins when the craft has settled.
    assert rider.fold(circles(1.5)) == ["start_lap", "lap", "swap"]
    assert rider.now.runs == (1, 0)
    rider.setup = "B"
    rider.fold(circles(1.5))
    # The next one is B again: on with it.
    assert rider.now.step.code is StepCode.LAP
    assert rider.now.step.values["left_fraction"] == pytest.approx(0.6, abs=0.2)
    assert (rider.now.runs, rider.now.ahead) == ((1, 1), ("B", "A"))


def test_unknown_power_is_said() -> None:
    rider = Rider()
    rider.setup = "A"
    rider.ride((40, 400.0, 2.0, 30.0))
    assert rider.ride((3, math.nan, 2.0, 30.0)) == ["no_data"]
    assert rider.ride((5, 400.0, 2.0, 30.0))[0] == "start"


def standing(*, enough: bool, groups: tuple[int, int] = (0, 1), drop=()) -> TrialStanding:
    places = tuple(
        TrialPlace(setup, group, Figure(0.0), 0.5)
        for setup, group in zip(("B", "A"), groups, strict=True)
    )
    return TrialStanding(900.0, 400.0, places, 0.03, enough, drop, 0, ())


def double(setup: str, start_s: float) -> list[Ridden]:
    return [
        Ridden(setup, start_s, start_s + 60.0, 30.0),
        Ridden(setup, start_s + 90.0, start_s + 150.0, 210.0),
    ]


RIDDEN = tuple(double("A", 0.0) + double("B", 200.0))


def test_the_coach_says_enough() -> None:
    rider = Rider(recorded=True)
    rider.setup = "A"
    rider.ride((900, 0.0, 0.0, 0.0))
    rider.coach.learn(Reckoned(900.0, RIDDEN, standing(enough=True)))
    assert rider.now.step.code is StepCode.ENOUGH
    assert rider.now.step.values == {"setup": "B"}
    assert rider.now.ahead == ()
    rider.coach.learn(Reckoned(900.0, RIDDEN, standing(enough=True, groups=(0, 0))))
    assert rider.now.step.values == {"setups": ("B", "A")}


def test_it_is_not_enough_while_one_was_not_ridden() -> None:
    rider = Rider(TrialPlan(("A", "B", "C"), "there_and_back"), recorded=True)
    rider.ride((900, 0.0, 0.0, 0.0))
    rider.coach.learn(Reckoned(900.0, RIDDEN, standing(enough=True)))
    assert rider.now.step.values == {"setup": "C"}


def test_then_it_asks_for_what_the_comparison_proposes() -> None:
    rider = Rider(recorded=True)
    rider.ride((2000, 0.0, 0.0, 0.0))
    whole = tuple(double("A", 0.0) + double("B", 200.0) + double("B", 400.0) + double("A", 600.0))
    rider.coach.learn(Reckoned(2000.0, whole, standing(enough=False), ("B", "A", "A", "B")))
    assert rider.now.ahead == ("B", "A", "A", "B")


def test_the_record_is_reckoned_after_each_run_and_again_if_it_lagged() -> None:
    rider = Rider(recorded=True)
    rider.setup = "A"
    assert rider.coach.due  # what was ridden before is in the record
    rider.ride((1, 0.0, 0.0, 30.0))
    rider.coach.learn(Reckoned(1.0, (), standing(enough=False)))
    assert not rider.coach.due
    rider.ride(THERE)
    assert not rider.coach.due
    rider.ride(TURNS, (10, 400.0, 2.0, 210.0))
    assert rider.coach.due
    rider.coach.learn(Reckoned(rider.t_s - 60.0, (), standing(enough=False)))
    assert not rider.coach.due
    rider.ride((6, 400.0, 2.0, 210.0))
    assert rider.coach.due
    rider.coach.learn(Reckoned(rider.t_s, RIDDEN[:1], standing(enough=False)))
    assert not rider.coach.due
    rider.coach.mark()
    rider.ride((int(RECKON_AFTER_S), 400.0, 2.0, 210.0))
    assert rider.coach.due


def test_no_other_order_begins_before_the_last_run_is_in_the_standing() -> None:
    """It once began another round of the list with the figures of the run before."""
    rider = Rider(recorded=True)
    rider.ride((1000, 0.0, 0.0, 0.0))
    before = tuple(double("A", 0.0) + double("B", 200.0) + double("B", 400.0))
    rider.coach.learn(Reckoned(1000.0, before, standing(enough=False), ("A", "B")))
    rider.setup = "A"
    rider.ride(THERE, TURNS, BACK)
    assert rider.now.runs == (2, 2)
    assert rider.now.ahead == ()
    # A run ends with its turn: a rider told to wait once went straight on for ever.
    assert rider.now.step.code is StepCode.TURN
    # Found: then it said to go straight on until the standing was there.
    assert rider.ride((12, 400.0, 2.0, 30.0))[-1] == "reckoning"
    rider.ride((10, 400.0, 2.0, 30.0))
    whole = (*before, *double("A", 1020.0))
    rider.coach.learn(Reckoned(rider.t_s, whole, standing(enough=False), ("B", "A")))
    assert rider.now.ahead == ("B", "A")
    assert rider.now.step.code is StepCode.SWAP


NUMBERS = st.sampled_from([0.0, -50.0, 1e-12, 400.0, 1e9, math.nan, math.inf])
SECOND = st.tuples(st.sampled_from([1.0, 1.0, 20.0]), NUMBERS, NUMBERS, NUMBERS)


@given(
    seconds=st.lists(SECOND, max_size=60),
    kind=st.sampled_from(["laps", "there_and_back"]),
    setups=st.lists(st.sampled_from(["A", "B", "as is"]), min_size=1, max_size=3),
    target_w=st.none() | st.floats(1.0, 1e5),
)
def test_any_seconds_give_a_step_that_can_be_sent(seconds, kind, setups, target_w) -> None:
    coach, t_s = Coaching(TrialPlan(("A", "B"), kind)), 0.0
    for number, (after_s, power_w, east_mps, north_mps) in enumerate(seconds):
        t_s += after_s
        setup = setups[number * len(setups) // len(seconds)]
        coach.fold(settled([Second(t_s, power_w, east_mps, north_mps)]), setup)
        now = coach.now(setup, target_w)
        assert read(Coach, json.loads(json_line(plain(now)))).step.code is now.step.code
