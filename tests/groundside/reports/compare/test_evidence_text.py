"""The evidence for a ranking as text: legs, weights, degrees of freedom, corrections."""

from pathlib import Path

import pytest

from groundside.reports.compare.evidence_text import evidence_lines
from groundside.words.units import CHOICES
from onboard.contract.figure import Unknown
from onboard.efficiency.trial.comparison import compare as compared
from onboard.efficiency.trial.equal_power import CurveSlope
from tests.craft.trial_day import Day
from tests.groundside.reports.compare.trial_days import TWO, compare, text_of, write_day
from tests.onboard.efficiency.trial.made_legs import Runs, made_lap

Capsys = pytest.CaptureFixture[str]
DRIFT = Day(TWO, ("broad",) * 4 + ("slim",) * 4, trend=0.15)


@pytest.mark.slow
def test_the_ranking_comes_with_legs_weights_and_degrees_of_freedom(
    tmp_path: Path, capsys: Capsys
) -> None:
    sheet = write_day(tmp_path)
    found, text = compare(capsys, sheet), text_of(capsys, sheet, "--details")
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
    assert sentence_of(found["pairs"][0]) in joined


def sentence_of(pair: dict) -> str:
    figure = pair["difference_fraction"]
    return (
        f"broad uses {-100 * figure['value']:.1f} % less than slim "
        f"({-100 * figure['high']:.1f} to {-100 * figure['low']:.1f} %)."
    )


@pytest.mark.slow
def test_three_legs_have_weights_one_two_one(tmp_path: Path, capsys: Capsys) -> None:
    day = Day(TWO, ("broad", "slim", "slim", "broad"), legs_each=3)
    text = text_of(capsys, write_day(tmp_path, day), "--details")
    assert "runs 1 x 1/4, 2 x 1/2, 3 x 1/4" in text
    assert "runs 10 x 1/4, 11 x 1/2, 12 x 1/4" in text


def test_a_removed_drift_is_stated(tmp_path: Path, capsys: Capsys) -> None:
    text = " ".join(text_of(capsys, write_day(tmp_path, DRIFT, 1), "--details").split())
    assert "% an hour in speed was taken out" in text
    assert "Not ridden by turns: broad and slim." in text
    assert "Next: ride broad, slim again, there and back each at" in text
    assert "W, by turns." in text


def evidence_of(runs: Runs, *, learned: bool = False) -> str:
    found = compared(runs.legs(), 400.0, CurveSlope(0.31, 0.02, learned), 0.02)
    assert not isinstance(found, Unknown)
    return " ".join(" ".join(evidence_lines(found, CHOICES["m/s"])).split())


def test_unequal_scatter_is_stated() -> None:
    scatter = [0.03, 1e-4] * 4
    noise = [sd * (-1) ** (n // 2) for n, sd in enumerate(scatter) for _ in range(2)]
    text = evidence_of(Runs("abababab", noise=noise))
    pooled = evidence_of(Runs("abababab", noise=[0.01 * (-1) ** (n // 4) for n in range(16)]))
    assert "standard deviation, over all; degrees of freedom: 6)" in pooled
    assert "each set-up for itself, by Welch" in text


def test_the_source_of_the_slope_is_stated() -> None:
    assert "power to the 0.31 +- 0.02, as is usual for small craft" in evidence_of(Runs("abba"))
    assert "0.31 +- 0.02, by the craft's own curve." in evidence_of(Runs("abba"), learned=True)


def test_unknown_scatter_is_stated() -> None:
    assert "unknown (0 degrees of freedom)" in evidence_of(Runs("ab"))


def test_runs_that_do_not_count_are_listed_with_the_reason() -> None:
    noise = [0.003 * (-1) ** (n // 3) for n in range(16)]
    noise[4:6] = [-0.12, -0.12]
    text = evidence_of(Runs("abbaabba", noise=noise))
    assert "runs 5, 6: left out as outlier" in text
    alone = Runs("abba", legs_each=3, course_deg=0.0)
    assert "stands alone" not in evidence_of(alone)
    assert "run 1 stands alone: the next run had another set-up" in evidence_of(
        Runs("abbaa", legs_each=1)
    )


def test_laps_have_a_length_and_no_course() -> None:
    laps = [made_lap(name, 300.0 * n, 2.0 - 0.1 * (name == "b")) for n, name in enumerate("abba")]
    found = compared(laps, 400.0, CurveSlope(0.28, 0.08, False), 0.02)
    assert not isinstance(found, Unknown)
    text = " ".join(" ".join(evidence_lines(found, CHOICES["m/s"])).split())
    assert "1 a lap 500 m 250 s" in text
    assert "deg " not in text
    assert "Laps, brought to 400 W (m/s), each run with its weight: a run 1, a lap 2.000" in text
    assert "A lap repeats to" in text
    both = compared(
        [*Runs("abba").legs(), *(one.at(0, 5000.0) for one in laps)], 400.0,
        CurveSlope(0.28, 0.08, False), 0.02,
    )  # fmt: skip
    assert not isinstance(both, Unknown)
    mixed = " ".join(" ".join(evidence_lines(both, CHOICES["m/s"])).split())
    assert "Double runs and laps, brought to 400 W and freed of the water's change" in mixed
