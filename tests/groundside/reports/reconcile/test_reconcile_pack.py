"""`reconcile` on rides that use most of a simulated pack, recharged through its resistance."""

import json
from pathlib import Path

import pytest

from groundside.command_line import main
from groundside.reports.reconcile.counted_log import count_log
from onboard.profile import parse_profile
from tests.craft.craft import Craft
from tests.craft.crafts import BOARD, SKIFF
from tests.groundside.reports.reconcile.made_rides import (
    CHARGE_PER_H,
    POWERS,
    MadeRide,
    made_ride,
    profile_text,
)

SENSORS = "current_scale = 1.06\ncurrent_offset_a = 0.35\nvoltage_scale = 1.002"
"""The true corrections of `made_rides`."""
SECONDS = {"li-ion": 7200.0, "lfp": 5000.0}


@pytest.fixture(scope="module", params=[SKIFF, BOARD], ids=["li-ion", "lfp"])
def craft(request: pytest.FixtureRequest) -> Craft:
    return request.param


@pytest.fixture(scope="module")
def ride(craft: Craft) -> MadeRide:
    return made_ride(400.0, SECONDS[craft.battery.chemistry], craft)


@pytest.fixture
def given(craft: Craft, ride: MadeRide, tmp_path: Path) -> list[str]:
    (tmp_path / "ride.tlog").write_bytes(ride.log)
    capacity_ah = craft.battery.capacity_ah
    for name, sensors in (("right", SENSORS), ("plain", "")):
        text = profile_text(capacity_ah, sensors, craft.battery)
        (tmp_path / f"{name}.toml").write_text(text)
    amps = str(CHARGE_PER_H * capacity_ah)
    return [str(tmp_path / "ride.tlog"), "--full-to-full", "--charge-a", amps]


def reconcile(capsys: pytest.CaptureFixture[str], *options: str) -> tuple[int, dict]:
    code = main(["reconcile", *options, "--json"])
    return code, json.loads(capsys.readouterr().out)


@pytest.mark.slow
@pytest.mark.parametrize("read", ["ah", "wh", "both"])
def test_charged_ampere_hours_and_watt_hours(capsys, ride, given, tmp_path, read) -> None:
    meter = []
    if read != "wh":
        meter += ["--charged-ah", str(ride.charge_ah / 0.998)]
    if read != "ah":
        meter += ["--charged-wh", str(ride.charged_wh)]
    for name, verdict in (("right", "consistent"), ("plain", "sensor_reads_low")):
        profile = ("--profile", str(tmp_path / f"{name}.toml"))
        code, found = reconcile(capsys, *given, *meter, *profile)
        assert (code, found["verdict"]) == (verdict != "consistent", verdict)
        assert (found["current_scale"] is None) == (read == "wh")
        expected = found["expected_charged_wh"]
        within = expected["low"] < ride.charged_wh < expected["high"]
        assert within == (verdict == "consistent")


@pytest.mark.slow
def test_a_meter_at_the_wall_changes_nothing(capsys, ride, given, tmp_path) -> None:
    # A charger with an efficiency of 0.9, a sensor off by 6 to 11 %.
    wall = ("--charged-wh", str(ride.charged_wh / 0.9), "--profile", str(tmp_path / "plain.toml"))
    code, found = reconcile(capsys, *given, *wall, "--meter", "ac")
    assert code == 0
    assert found["verdict"] in ("consistent", "cannot_tell")
    assert (found["current_scale"], found["profile_change"]) == (None, None)
    right = (*wall[:2], "--profile", str(tmp_path / "right.toml"))
    code, found = reconcile(capsys, *given, *right)
    # As if the meter had been between charger and pack.
    assert code == 1
    (remark,) = [one for one in found["remarks"] if one["code"] == "maybe_at_wall"]
    assert "--meter ac" in remark["text"]
    code, found = reconcile(capsys, *given, *right, "--meter", "dc")
    assert (code, [one["code"] for one in found["remarks"]]) == (1, ["by_pack_losses"])
    code, found = reconcile(capsys, *given, *right, "--meter", "ac")
    assert (code, found["verdict"]) == (0, "consistent")


def test_an_on_board_log_of_the_same_ride_counts_the_same(tmp_path: Path) -> None:
    ride = made_ride(*POWERS[1])
    profile = parse_profile(profile_text(0.7))
    counted = []
    for name, log in (("ride.tlog", ride.log), ("ride.bin", ride.onboard_log)):
        (tmp_path / name).write_bytes(log)
        counted.append(count_log(tmp_path / name, profile).counted)
    # Half a second of 220 at either end, and another rate.
    assert counted[1].charge_ah == pytest.approx(counted[0].charge_ah, rel=5e-3)
    assert counted[1].flowing_a == pytest.approx(counted[0].flowing_a, rel=0.03)
