"""Each warning: a simulated day that must raise it, and a twin without the cause."""

from dataclasses import replace
from pathlib import Path

import pytest

from tests.craft.trial_day import Day, Setup
from tests.groundside.reports.compare.trial_days import codes, compare, difference, write_day

pytestmark = pytest.mark.slow

EQUAL = {"broad": Setup(), "slim": Setup(0.0, 1.9)}
TURNS = ("broad", "slim", "slim", "broad") * 2
CALM = Day(EQUAL, TURNS, drive_telemetry="motor")

CASES = {
    "power_not_held": (replace(CALM, setup_power_w={"slim": 440.0}), CALM),
    "motor_current_held": (replace(CALM, held_motor_a=30.0), CALM),
    "too_few_double_runs": (replace(CALM, order=TURNS[:3]), replace(CALM, order=TURNS[:4])),
    "current_changed": (replace(CALM, current_change_mps=0.3), CALM),
    "outlier_run": (replace(CALM, outlier_leg=6), CALM),
    "order_confounded": (
        replace(CALM, order=("broad",) * 4 + ("slim",) * 4, trend=0.15),
        replace(CALM, trend=0.15),
    ),
    "voltage_differs": (replace(CALM, second_pack=("slim", 3.7)), CALM),
    "temperature_differs": (replace(CALM, warm=("slim", 33.0)), CALM),
}
ALONG = {
    "motor_current_held": {"power_not_held"},
    "too_few_double_runs": {"order_confounded"},
}
"""Warnings that come with a cause: equal current is another power with another propeller; of three
double runs, all of one set-up come before all of the other."""

SEEDS = range(4)


@pytest.mark.parametrize("code", CASES)
@pytest.mark.parametrize("seed", SEEDS)
def test_the_cause_raises_its_warning_and_nothing_else(
    code: str, seed: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = compare(capsys, write_day(tmp_path, CASES[code][0], seed))
    assert set(codes(found)) == {code} | ALONG.get(code, set())


@pytest.mark.parametrize("code", CASES)
@pytest.mark.parametrize("seed", SEEDS)
def test_its_twin_does_not(
    code: str, seed: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert codes(compare(capsys, write_day(tmp_path, CASES[code][1], seed))) == []


@pytest.mark.parametrize("seed", SEEDS)
def test_order_and_trend_give_no_verdict(
    seed: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = compare(capsys, write_day(tmp_path, CASES["order_confounded"][0], seed))
    assert [one["verdict"] for one in found["pairs"]] == ["cannot_tell"]


def test_gusts_raise_a_warning_and_widen_the_interval(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gusty = compare(capsys, write_day(tmp_path, replace(CALM, gust_sd_mps=0.15), 2))
    assert "current_changed" in codes(gusty)
    wide = difference(gusty, "broad", "slim")
    narrow = difference(compare(capsys, write_day(tmp_path, CALM, 2)), "broad", "slim")
    assert wide["high"] - wide["low"] > 2.0 * (narrow["high"] - narrow["low"])


def test_without_motor_current_no_held_current_is_claimed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    blind = replace(CALM, held_motor_a=30.0, drive_telemetry="none")
    found = compare(capsys, write_day(tmp_path, blind, 1))
    assert codes(found) == ["power_not_held"]
    assert found["warnings"][0]["held"] == "not_known"
    assert "no motor current" in found["warnings"][0]["text"]


def test_a_held_motor_current_is_inferred_from_the_input_current(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # The motor's current is derived from power and revolutions.
    found = compare(
        capsys, write_day(tmp_path, replace(CALM, held_motor_a=30.0, drive_telemetry="input"), 1),
        "--profile", tmp_path / "profile.toml",
    )  # fmt: skip
    assert codes(found) == ["power_not_held", "motor_current_held"]


def test_two_equal_propellers_at_a_held_motor_current(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    same = replace(CALM, setups={"broad": Setup(), "slim": Setup(0.06)}, held_motor_a=30.0)
    found = compare(capsys, write_day(tmp_path, same, 1))
    # Equal torque at equal revolutions: the power was constant as well.
    assert "power_not_held" not in codes(found)
