"""Runs that do not count are named by number and time."""

from pathlib import Path

import numpy as np

from groundside.reports.compare.findings import Findings
from groundside.reports.compare.left_out_text import caution_line, left_out_lines
from groundside.reports.compare.run_times import RunTimes
from groundside.reports.compare.trial_log import TrialLog
from groundside.words.units import DEFAULT
from onboard.contract.figure import Unknown
from onboard.contract.remarks import Caution, CautionCode, Remark, RemarkCode
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.trial import Trial
from tests.onboard.efficiency.trial.made_legs import Runs, made_seconds

BEGINS_S = 1_750_000_000.0  # 15:06:40 UTC


def findings(order: str, legs_each: int, *passed_over: Remark) -> Findings:
    legs = [
        one.at(0, BEGINS_S)
        for one in Runs(order, legs_each=legs_each).legs(place="day.tlog")  # type: ignore[arg-type]
    ]
    found = compare(legs, 400.0, CurveSlope(0.28, 0.08, False), 0.02)
    assert not isinstance(found, Unknown)
    seconds = made_seconds(np.full(4000, 2.0), 0.0)
    times = RunTimes([TrialLog(Path("day.tlog"), BEGINS_S, 0.0, seconds, [])])
    return Findings(Trial(found, (), passed_over), times, [], [])


def lines(found: Findings, *, details: bool = False) -> list[str]:
    return list(left_out_lines(found, DEFAULT, details=details))


def test_a_run_that_stands_alone_is_named_with_its_time() -> None:
    # One leg of a, then two of b: the first stands alone.
    assert lines(findings("abb", 1)) == [
        "Run 1 (a, from 0 s, 15:06 UTC) stands alone: the next run had another set-up."
    ]


def test_what_was_passed_over_has_its_time_of_day() -> None:
    remark = Remark(RemarkCode.NO_RUN_FOUND, log="day.tlog", from_s=600.0)
    assert lines(findings("abba", 2, remark)) == [
        "Passed over: day.tlog from 600 s: no straight run with known power and speed in it "
        "(15:16 UTC)."
    ]
    elsewhere = Remark(RemarkCode.NO_RUN_FOUND, log="other.tlog", from_s=600.0)
    assert lines(findings("abba", 2, elsewhere))[0].endswith("in it.")


def test_only_the_first_of_many_are_named_unless_asked_for() -> None:
    many = findings("abcabb", 1)
    assert len(lines(many, details=True)) == 4
    short = lines(many)
    assert short == [*lines(many, details=True)[:2], "2 more do not count: --details names them."]
    assert len(lines(findings("abcbb", 1))) == 3


def test_a_caution_that_names_runs_gives_the_time_of_the_first() -> None:
    found = findings("abba", 2)
    outlier = Caution(CautionCode.OUTLIER_RUN, run_numbers=(3, 4), setup="b")
    # A run every 140 s.
    assert caution_line(found, outlier, DEFAULT).startswith(
        "Caution (from 280 s, 15:11 UTC): Runs 3 and 4 (b) are unlike"
    )
    few = Caution(CautionCode.TOO_FEW_DOUBLE_RUNS, setups=("a",))
    assert caution_line(found, few, DEFAULT).startswith("Caution: Too few double runs of a")
