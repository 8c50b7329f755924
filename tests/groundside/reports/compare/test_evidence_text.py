"""What a ranking rests on, in words: legs, weights, degrees of freedom, corrections."""

from pathlib import Path

import pytest

from groundside.reports.compare.evidence_text import evidence_lines
from groundside.words.units import CHOICES
from onboard.contract.figure import Unknown
from onboard.efficiency.trial.comparison import compare as compared
from onboard.efficiency.trial.equal_power import CurveSlope
from tests.craft.trial_day import Day
from tests.groundside.reports.compare.trial_days import TWO, compare, told, write_day
from tests.onboard.efficiency.trial.made_legs import Runs

Capsys = pytest.CaptureFixture[str]
DRIFT = Day(TWO, ("broad",) * 4 + ("slim",) * 4, trend=0.15)


@pytest.mark.slow
def test_the_ranking_comes_with_legs_weights_and_degrees_of_freedom(
    tmp_path: Path, capsys: Capsys
) -> None:
    sheet = write_day(tmp_path)
    found, text = compare(capsys, sheet), told(capsys, sheet)
    lines = text.splitlines()
    for leg in found["legs"]:
        (line,) = [one for one in lines if one.startswith(f"  {leg['number']:3}  ")]
        assert leg["setup"] in line
        assert f"{leg['power_w']:.0f} +- " in line
        assert f"{3.6 * leg['speed_mps']:.2f} +- " in line
    for one in found["double_runs"]:
        runs = ", ".join(f"{n} x 1/2" for n in one["legs"])
        (line,) = [one for one in lines if f"runs {runs} " in one]
        assert line.endswith(f"{3.6 * one['speed_mps']:.3f}")
    joined = " ".join(text.split())
    assert f"degrees of freedom: {found['statistics']['degrees_of_freedom']})" in joined
    assert pair_in_words(found["pairs"][0]) in joined


def pair_in_words(pair: dict) -> str:
    figure = pair["difference_fraction"]
    return (
        f"broad uses {-100 * figure['value']:.1f} % less than slim "
        f"({-100 * figure['high']:.1f} to {-100 * figure['low']:.1f} %)."
    )


@pytest.mark.slow
def test_three_legs_are_weighted_one_two_one(tmp_path: Path, capsys: Capsys) -> None:
    day = Day(TWO, ("broad", "slim", "slim", "broad"), legs_each=3)
    text = told(capsys, write_day(tmp_path, day))
    assert "runs 1 x 1/4, 2 x 1/2, 3 x 1/4" in text
    assert "runs 10 x 1/4, 11 x 1/2, 12 x 1/4" in text


def test_a_drift_that_was_taken_out_is_said(tmp_path: Path, capsys: Capsys) -> None:
    text = " ".join(told(capsys, write_day(tmp_path, DRIFT, 1)).split())
    assert "% an hour in speed was taken out" in text
    assert "No verdict on broad and slim" in text
    assert "Next: again at" in text
    assert "by turns: " in text


def told_of(runs: Runs, *, learned: bool = False) -> str:
    found = compared(runs.legs(), 400.0, CurveSlope(0.31, 0.02, learned), 0.02)
    assert not isinstance(found, Unknown)
    return " ".join(" ".join(evidence_lines(found, CHOICES["m/s"])).split())


def test_set_ups_that_scatter_unequally_are_said_to() -> None:
    scatter = [0.03, 1e-4] * 4
    noise = [sd * (-1) ** (n // 2) for n, sd in enumerate(scatter) for _ in range(2)]
    text = told_of(Runs("abababab", noise=noise))
    pooled = told_of(Runs("abababab", noise=[0.01 * (-1) ** (n // 4) for n in range(16)]))
    assert "standard deviation, over all; degrees of freedom: 6)" in pooled
    assert "each set-up for itself, by Welch" in text


def test_whose_curve_it_was() -> None:
    assert "power to the 0.31 +- 0.02, as is usual for small craft" in told_of(Runs("abba"))
    assert "0.31 +- 0.02, by the craft's own curve." in told_of(Runs("abba"), learned=True)


def test_nothing_to_tell_scatter_by() -> None:
    assert "unknown (0 degrees of freedom)" in told_of(Runs("ab"))


def test_runs_that_do_not_count_are_there_with_why() -> None:
    noise = [0.003 * (-1) ** (n // 3) for n in range(16)]
    noise[4:6] = [-0.12, -0.12]
    text = told_of(Runs("abbaabba", noise=noise))
    assert "runs 5, 6: left out as outlier" in text
    alone = Runs("abba", legs_each=3, course_deg=0.0)
    assert "stands alone" not in told_of(alone)
    assert "run 1 stands alone: the next run had another set-up" in told_of(
        Runs("abbaa", legs_each=1)
    )
