"""A trial of laps, from the seconds of a simulated day to the ranking."""

import pytest

from onboard.contract.remarks import CautionCode
from onboard.efficiency.trial.runs import RunSpan
from onboard.efficiency.trial.trial import Trial, TrialRide, trial_of
from onboard.profile import Sensors
from tests.craft.trial_day import Setup
from tests.onboard.efficiency.trial.made_laps import day

SEVEN = {name: Setup(0.0 if name == "c" else 0.06) for name in "abcdefg"}


def trial(*, marked: bool = True, coached: bool = False, **more: object) -> Trial:
    seconds, ridden = day(**more)
    parts = ridden.laps if marked else ridden.stints
    spans = [RunSpan(name, begin_s, end_s, marked) for name, begin_s, end_s in parts]
    found = trial_of([TrialRide(seconds, [], spans, place="day.tlog")], Sensors(), coached=coached)
    assert isinstance(found, Trial), found
    return found


@pytest.mark.parametrize("marked", [True, False])
def test_one_lap_each_of_seven_set_ups_gives_a_table(marked: bool) -> None:
    """Found: refused, without figures."""
    found = trial(setups=SEVEN, order=tuple(SEVEN), marked=marked)
    assert {one.name for one in found.comparison.setups} == set(SEVEN)
    assert [one.laps for one in found.comparison.setups] == [1] * 7
    codes = [one.code for one in found.cautions]
    assert CautionCode.USUAL_SCATTER in codes
    assert CautionCode.ORDER_CONFOUNDED in codes
    assert CautionCode.POWER_NOT_HELD not in codes
    told = found.comparison.told_fraction
    assert told is not None
    assert 0.06 < told < 0.12
    assert not found.comparison.next_runs.enough
    # Ridden last, it is on the craft.
    assert found.comparison.next_runs.order[0] == "g"


@pytest.mark.parametrize("marked", [True, False])
def test_three_laps_each_by_turns_name_the_best(marked: bool) -> None:
    """Found: refused, without figures."""
    found = trial(setups=SEVEN, order=tuple("abcdefg" * 3), marked=marked, lap_sd=0.012)
    assert [one.laps for one in found.comparison.setups] == [3] * 7
    assert found.comparison.places[0].name == "c"
    assert [one.group for one in found.comparison.places] == [0] + [1] * 6
    assert [one.code for one in found.cautions] == []


def test_courses_that_differ_are_named() -> None:
    two = {name: Setup() for name in "ab"}
    apart = trial(setups=two, order=tuple("abba"), setup_lap_m={"b": 400.0})
    (caution,) = [one for one in apart.cautions if one.code is CautionCode.COURSES_DIFFER]
    assert set(caution.values["setups"]) <= set("ab")
    alike = trial(setups=two, order=tuple("abba"))
    assert CautionCode.COURSES_DIFFER not in [one.code for one in alike.cautions]


def test_a_coach_asks_for_more_before_it_claims() -> None:
    two = {"a": Setup(), "b": Setup(0.04)}
    more = {"setups": two, "order": tuple("abbaab"), "lap_sd": 0.012}
    plain, coached = trial(**more), trial(**more, coached=True)
    assert plain.comparison.pairs[0].chance == coached.comparison.pairs[0].chance
    assert plain.comparison.told_fraction < coached.comparison.told_fraction
