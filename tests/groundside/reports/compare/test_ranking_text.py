"""The ranking as a table: groups, differences, chances, runs."""

from dataclasses import replace

from groundside.reports.compare.ranking_text import range_sentences, ranking_lines
from groundside.words.units import DEFAULT
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.results import Comparison, Place
from tests.onboard.efficiency.trial.made_legs import Runs, made_lap

NEVER = Unknown(Reason.NEVER_TOGETHER)


def compared(legs: list[Leg] | None = None) -> Comparison:
    found = compare(legs or Runs("abccba").legs(), 400.0, CurveSlope(0.28, 0.08, False), 0.02)
    assert not isinstance(found, Unknown)
    return found


def table(found: Comparison) -> list[str]:
    return list(ranking_lines(found, DEFAULT))[2:]


def placed(*places: Place) -> Comparison:
    return replace(compared(), places=places)


def test_a_gap_stands_between_groups_and_places_are_shared() -> None:
    near, far = Figure(0.02, -0.01, 0.051), Figure(0.06, 0.03, 0.09)
    found = placed(Place("a", 0, Figure(0.0), 0.8), Place("b", 0, near, 0.2), Place("c", 1, far, 0))
    assert [line.split()[:2] for line in table(found)[1:]] == [
        ["1", "a"], ["1", "b"], [], ["3", "c"],
    ]  # fmt: skip
    assert "2.0 % (-1.0 to 5.1)" in table(found)[2]
    assert "Set-ups without a gap between them cannot be told apart." in range_sentences(
        found, DEFAULT
    )
    apart = placed(*(replace(one, group=n) for n, one in enumerate(found.places)))
    assert sum(line == "" for line in table(apart)) == 2
    assert not any("gap" in one for one in range_sentences(apart, DEFAULT))


def test_what_was_never_ridden_with_the_best_is_unknown() -> None:
    found = placed(
        Place("a", 0, Figure(0.0), 1.0), Place("b", 0, NEVER, None), Place("c", 0, NEVER, None)
    )
    assert "unknown" in table(found)[2]
    assert table(found)[2].split()[-2:] == ["-", "2"]


def test_laps_and_double_runs_are_counted_apart() -> None:
    doubles, laps = Runs("abba").legs(), [
        made_lap(name, 2000.0 + 300.0 * n, 1.8) for n, name in enumerate("abba")
    ]  # fmt: skip
    assert table(compared(doubles))[0].endswith("double runs")
    assert table(compared(laps))[0].endswith("laps")
    assert table(compared([*doubles, *laps[:3]]))[0].endswith("d. runs + laps")
    assert table(compared([*doubles, *laps[:3]]))[1].endswith("2 + 1")


def test_the_gain_of_the_sensors_is_said_once_and_apart() -> None:
    found = replace(compared(), shared_sd_fraction=0.0255)
    said = [one for one in range_sentences(found, DEFAULT) if "gain" in one]
    # 1.96 x 2.55 % = 5.0 %.
    assert said == [
        "The sensors' gain may shift all Wh/km together by 5 %; it is in no difference."
    ]
    assert not any("gain" in line for line in table(found))


def test_what_the_runs_can_tell() -> None:
    two = compared(Runs("abba").legs())
    assert "These runs only tell set-ups that are 4.2 % apart or more." in range_sentences(
        replace(two, told_fraction=0.042), DEFAULT
    )
    three = replace(compared(), told_fraction=0.042)
    assert "One pair by itself is told from 4.2 % on; among 3, it takes more." in range_sentences(
        three, DEFAULT
    )
    alone = replace(two, told_fraction=None)
    assert not any("told from" in one or "only" in one for one in range_sentences(alone, DEFAULT))
