"""A trial from logs and spans: clocks, outings, curves."""

import math
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from groundside.reports.compare.trial import run_trial
from groundside.reports.compare.trial_log import TrialLog
from onboard.contract.figure import Figure
from onboard.contract.remarks import Remark, RemarkCode
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.trial.runs import RunSpan
from onboard.efficiency.trial.seconds import Seconds
from onboard.errors import UsageError
from onboard.profile import Sensors
from tests.onboard.efficiency.trial.made_legs import made_seconds

HOUR_S = 3600.0


def there_and_back(speed_mps: float, seed: int, times: int = 2) -> Seconds:
    rng = np.random.default_rng(seed)
    east = np.concatenate([np.full(70, speed_mps * (-1) ** n) for n in range(2 * times)])
    east *= np.repeat(np.exp(0.004 * rng.standard_normal(2 * times)), 70)
    return made_seconds(east, 0.01 * rng.standard_normal(len(east)))


def log_of(n: int, setup: str, begins_s: float | None) -> tuple[TrialLog, list[RunSpan]]:
    seconds = there_and_back({"a": 2.0, "b": 1.8}[setup], n)
    log = TrialLog(Path(f"{n}.tlog"), begins_s, 0.0, seconds, [])
    return log, [RunSpan(setup, -math.inf, math.inf, False)]


def outings(begins_s: list[float | None], names: str = "abba") -> list[tuple[str, int, float]]:
    logs = [log_of(n, one, t) for n, (one, t) in enumerate(zip(names, begins_s, strict=True))]
    found = run_trial(logs, Sensors()).comparison.evidence.legs
    assert len(found) == 16
    return [(one.place, one.outing, one.start_s) for one in found[::4]]


def test_logs_are_ordered_by_their_clocks() -> None:
    found = outings([1e9, 1e9 + 3 * HOUR_S, 1e9 + HOUR_S, 1e9 + 2 * HOUR_S])
    assert [(place, outing) for place, outing, _ in found] == [
        ("0.tlog", 0), ("2.tlog", 0), ("3.tlog", 0), ("1.tlog", 0),
    ]  # fmt: skip
    assert found[1][2] - found[0][2] == pytest.approx(HOUR_S, abs=30.0)


@pytest.mark.parametrize(("pause_h", "last"), [(2.9, 0), (3.2, 1)])
def test_a_long_pause_begins_another_outing(pause_h: float, last: int) -> None:
    begins = [1e9, 1e9 + 400.0, 1e9 + 700.0 + pause_h * HOUR_S, 1e9 + 1100.0 + pause_h * HOUR_S]
    assert [outing for _, outing, _ in outings(begins, "abab")] == [0, 0, last, last]


@pytest.mark.parametrize(
    "begins_s",
    [
        [None] * 4,
        [1e9, None, 1e9 - HOUR_S, 1e9],
        [1e9, 1e9 + 100.0, 1e9 + 200.0, 1e9 + 300.0],
        [1e9] * 4,
    ],
)
def test_impossible_clocks_are_ignored(begins_s: list[float | None]) -> None:
    found = outings(begins_s)
    assert [place for place, _, _ in found] == [f"{n}.tlog" for n in range(4)]
    assert len({outing for _, outing, _ in found}) == 1
    # Each lasts 280 s, with a minute in between.
    assert np.diff([start for _, _, start in found]) == pytest.approx(340.0, abs=2.0)


def test_logs_that_follow_each_other_closely_do_not_overlap() -> None:
    found = outings([1e9 + 281.0 * n for n in (0, 2, 1, 3)])
    assert [place for place, _, _ in found] == ["0.tlog", "2.tlog", "1.tlog", "3.tlog"]


def test_sensor_uncertainty_widens_wh_per_km_and_not_the_speed() -> None:
    logs = [log_of(n, one, None) for n, one in enumerate("abba")]

    def widths(sensors: Sensors) -> tuple[float, float]:
        one = run_trial(logs, sensors).comparison.setups[0]
        assert isinstance(one.wh_per_km, Figure)
        assert isinstance(one.speed_mps, Figure)
        cost, speed = one.wh_per_km, one.speed_mps
        return (cost.high - cost.low) / cost.value, (speed.high - speed.low) / speed.value

    exact = widths(Sensors(current_scale_sd=0.0, voltage_scale_sd=0.0, current_offset_sd_a=0.0))
    usual = widths(Sensors(current_scale_sd=0.02, voltage_scale_sd=0.03, current_offset_sd_a=0.48))
    assert exact[0] == pytest.approx(exact[1], rel=1e-2)
    assert usual[1] == exact[1]
    # Added in quadrature: 2 %, 3 %, and 0.48 of 16 A, 3 %.
    shared = 2.0 * 1.96 * math.hypot(0.02, 0.03, 0.03)
    assert math.sqrt(usual[0] ** 2 - exact[0] ** 2) == pytest.approx(shared, rel=0.1)


def test_a_way_out_at_another_power_is_left_out() -> None:
    def with_way_out(n: int, setup: str) -> tuple[TrialLog, list[RunSpan]]:
        log, spans = log_of(n, setup, None)
        seconds = there_and_back({"a": 2.0, "b": 1.8}[setup], n)
        way = made_seconds(np.zeros(120), 1.2, power_w=150.0)
        both = {
            one.name: np.concatenate([getattr(way, one.name), getattr(seconds, one.name)])
            for one in fields(Seconds)
        } | {"t_s": np.arange(1.0, len(way) + len(seconds) + 1.0)}
        return replace(log, seconds=Seconds(**both)), spans

    plain = run_trial([log_of(n, one, None) for n, one in enumerate("abba")], Sensors())
    found = run_trial(
        [with_way_out(0, "a"), *(log_of(n + 1, one, None) for n, one in enumerate("bba"))],
        Sensors(),
    )
    assert [one.leg for one in found.comparison.evidence.unpaired] == [0]
    assert found.comparison.power_w == pytest.approx(plain.comparison.power_w) == 400.0
    assert found.cautions == plain.cautions == ()


def test_one_set_up_is_refused() -> None:
    with pytest.raises(UsageError, match="runs of one set-up only, 'a'"):
        run_trial([log_of(0, "a", None), log_of(1, "a", None)], Sensors())


def test_marked_spans_without_a_run_are_named() -> None:
    log, spans = log_of(0, "a", None)
    other, more = log_of(1, "b", None)
    spans.append(RunSpan("a", 500.0, 600.0, True))
    found = run_trial([(log, spans), (other, more)], Sensors())
    assert found.passed_over == (Remark(RemarkCode.NO_RUN_FOUND, log="0.tlog", from_s=500.0),)
    with pytest.raises(UsageError, match="no steady run and no lap was found"):
        run_trial([(log, spans[1:])], Sensors())


def steady(seconds: Seconds) -> list[SteadyBlock]:
    """Return a block on each course."""
    found = []
    for n in range(40, len(seconds), 35):
        east, north = float(seconds.east_mps[n]), float(seconds.north_mps[n])
        found.append(SteadyBlock(float(seconds.t_s[n]), 400.0, 2.0, east, north))
    return found


@pytest.mark.parametrize("begins_s", [[None] * 4, [1e9, 1e9 + 5 * HOUR_S, 1e9 + HOUR_S, 1e9 + 400]])
def test_steady_stretches_of_several_logs_are_on_one_clock(begins_s: list[float | None]) -> None:
    """Found: two logs of one set-up, the longer one first, ended in an IndexError."""
    logs = [log_of(n, one, t) for n, (one, t) in enumerate(zip("abba", begins_s, strict=True))]
    logs = [
        (replace(log, steady=steady(log.seconds)[: 8 - 2 * n]), spans)
        for n, (log, spans) in enumerate(logs)
    ]
    found = run_trial(logs, Sensors())
    assert set(found.curves) == {"a", "b"}
    assert found.curves["a"].curve.blocks == 9
    low, high = found.curves["a"].curve.seen_mps
    assert 1.9 < low <= high < 2.1


def test_each_log_has_the_water_of_its_own_time() -> None:
    logs = []
    for n, one in enumerate("abba"):
        log, spans = log_of(n, one, 1e9 + n * HOUR_S)
        moving = [
            replace(block, east_mps=block.east_mps + 0.3 * (-1) ** n)
            for block in steady(log.seconds)
        ]
        logs.append((replace(log, steady=moving), spans))
    low, high = run_trial(logs, Sensors()).curves["a"].curve.seen_mps
    assert 1.9 < low <= high < 2.1


def test_where_a_coach_looked_differences_must_be_surer() -> None:
    logs = [log_of(n, one, None) for n, one in enumerate("abba")]
    alone = run_trial(logs, Sensors()).comparison
    logs[1] = replace(logs[1][0], coached=True), logs[1][1]
    coached = run_trial(logs, Sensors()).comparison
    assert alone.told_fraction is not None
    assert coached.told_fraction is not None
    assert coached.told_fraction > 1.2 * alone.told_fraction
    assert [one.difference_fraction for one in coached.pairs] == [
        one.difference_fraction for one in alone.pairs
    ]
