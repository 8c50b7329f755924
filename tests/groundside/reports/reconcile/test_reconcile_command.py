"""The `reconcile` command on logs of simulated rides, whose true charge is known."""

import json
import tomllib
from pathlib import Path

import pytest

from groundside.command_line import main
from groundside.reports.reconcile.counted_log import count_log
from groundside.reports.review.summary import review
from onboard.contract.codec import plain
from onboard.contract.reasons import Reason
from onboard.contract.remarks import FindingCode, RemarkCode
from onboard.profile import Profile, load_profile
from tests.groundside.reports.reconcile.made_rides import (
    PACK_AH,
    POWERS,
    SENSORS,
    made_ride,
    profile_text,
)
from tests.small_streams import Sender, records

LOGS = Path(__file__).parents[4] / "replay_logs"
LOG, CRAFT = str(LOGS / "harbour_loop.tlog"), str(LOGS / "harbour_loop.toml")

KEYS = {
    *("schema", "counted_wh", "charged_wh", "expected_charged_wh", "counted_ah", "charged_ah"),
    *("expected_charged_ah", "current_scale", "current_offset_a", "profile_change", "verdict"),
    *("meter", "charges", "uncertainties", "remarks", "why"),
}


def reconcile(capsys: pytest.CaptureFixture[str], *options: object) -> tuple[int, dict]:
    code = main(["reconcile", *map(str, options), "--json"])
    found = json.loads(capsys.readouterr().out)
    assert set(found) == KEYS
    assert found["schema"] == 2
    for key, value in found.items():
        assert value is not None or Reason(found["why"][key]["code"])
    assert FindingCode(found["why"]["verdict"]["code"])
    for remark in found["remarks"]:
        assert remark.keys() == {"code", "text", *RemarkCode(remark["code"]).names}
    return code, found


def remarks(found: dict) -> list[str]:
    return [remark["code"] for remark in found["remarks"]]


def text_of(capsys: pytest.CaptureFixture[str], *options: object) -> tuple[int, str]:
    code = main(["reconcile", *map(str, options)])
    return code, capsys.readouterr().out


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "plain.toml").write_text(profile_text(PACK_AH))
    sensors = f"current_offset_a = {SENSORS.current_offset_a}\nvoltage_scale = 1.002"
    (tmp_path / "zeroed.toml").write_text(profile_text(PACK_AH, sensors))
    scaled = f"{sensors}\ncurrent_scale = 1.05"
    (tmp_path / "scaled.toml").write_text(profile_text(PACK_AH, scaled))
    right = f"{sensors}\ncurrent_scale = {SENSORS.current_scale}"
    (tmp_path / "right.toml").write_text(profile_text(PACK_AH, right))
    return tmp_path


def ridden(folder: Path, number: int) -> Path:
    path = folder / f"ride{number}.tlog"
    path.write_bytes(made_ride(*POWERS[number]).log)
    return path


@pytest.mark.parametrize("name", ["harbour_loop", "board_sprints"])
def test_counts_equal_those_of_a_review(name: str) -> None:
    profile = load_profile(LOGS / f"{name}.toml")
    counted = count_log(LOGS / f"{name}.tlog", profile).counted
    trip = plain(review(LOGS / f"{name}.tlog", profile).trip)
    assert counted.energy_wh == pytest.approx(trip["energy_wh"]["value"], rel=1e-12)
    assert counted.charge_ah == pytest.approx(trip["charge_ah"], rel=1e-12)


@pytest.mark.slow
def test_counts_of_a_truncated_log_equal_those_of_a_review(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(30) for frame in sender.second(5 + n, 50, 8, 2)]
    # Messages after the autopilot's last time stamp wait until the end for another.
    for more in range(4):
        frames += [sender.sys_status(50, 8)] * more
        (tmp_path / "log").write_bytes(records(frames))
        trip = plain(review(tmp_path / "log", Profile()).trip)
        counted = count_log(tmp_path / "log", Profile()).counted
        assert counted.charge_ah == pytest.approx(trip["charge_ah"], rel=1e-12)


def test_the_mean_current_is_weighted_by_charge(tmp_path: Path) -> None:
    sender = Sender()
    frames = [frame for n in range(1200) for frame in sender.second(5 + n, 50, 20 * (n > 900), 2)]
    (tmp_path / "log").write_bytes(records(frames))
    log = count_log(tmp_path / "log", Profile())
    # A quarter of the time at 20 A, the rest at none: the plain mean would be wrong for the losses.
    assert log.counted.flowing_a == pytest.approx(20.0, rel=0.05)
    assert log.counted.sensor_hours_h == pytest.approx(1200 / 3600, rel=0.01)
    assert log.drawn_ah(None) == log.drawn_ah(300.0) == 0.0
    assert log.drawn_ah(1050.0) == pytest.approx(150 * 20 / 3600, rel=0.05)


def test_an_unmeasured_battery_is_reported(capsys, tmp_path: Path) -> None:
    sender = Sender()
    frames = []
    for n in range(60):
        frames += [sender.heartbeat(), sender.attitude(5 + n), sender.gps(2.0)]
        frames += [sender.battery_status(50, 8), sender.battery_status(12, -0.01, pack=1)]
    (tmp_path / "log").write_bytes(records(frames))
    _, found = reconcile(capsys, tmp_path / "log", "--charged-wh", 4)
    (remark,) = [one for one in found["remarks"] if one["code"] == "packs_unmeasured"]
    assert remark["packs"] == [1]
    assert remark["text"].startswith("What battery 1 gives is not measured: ")


def test_stated_meter_charger_and_unlogged_charge_are_applied(capsys, folder) -> None:
    given = (ridden(folder, 1), "--charged-ah", 0.44, "--full-to-full")
    profile = ("--profile", folder / "zeroed.toml")

    def ends(key: str, *more: object) -> tuple[float, float, float]:
        figure = reconcile(capsys, *given, *profile, *more)[1][key]
        return figure["low"], figure["value"], figure["high"]

    low, value, high = ends("current_scale")
    none = ends("current_scale", "--unlogged-ah", 0)
    # If not stated, up to one per cent of the pack of 0.7 Ah may have been drawn without a log: a
    # quarter of it on the mean over all riders.
    reported_ah = 0.44 / value * (1 - 0.35 * 220 / 3600 / 0.44)
    assert none[1] - value == pytest.approx(0.007 / 2.0 / reported_ah, rel=0.05)
    assert high - low > none[2] - none[0]
    some = ends("current_scale", "--unlogged-ah", 0.02)
    assert none[1] - some[1] == pytest.approx(0.02 / reported_ah, rel=0.05)
    assert some[2] - some[0] > none[2] - none[0]
    poor = ends("current_scale", "--unlogged-ah", 0, "--meter-sd-fraction", 0.05)
    assert poor[2] - poor[0] > 2 * (none[2] - none[0])
    slow = ends("expected_charged_wh", "--charge-a", 0.07)
    quick = ends("expected_charged_wh", "--charge-a", 0.7)
    assert slow[1] < quick[1]


def test_counted_energy_has_the_interval_of_a_review(capsys) -> None:
    _, found = reconcile(capsys, LOG, "--charged-wh", 78, "--profile", CRAFT)
    trip = plain(review(Path(LOG), load_profile(Path(CRAFT))).trip)
    for end in ("value", "low", "high"):
        assert found["counted_wh"][end] == pytest.approx(trip["energy_wh"][end], rel=1e-9)


@pytest.mark.parametrize(("number", "profile"), [(1, "zeroed"), (2, "zeroed"), (1, "scaled")])
def test_a_sensor_that_reads_low_is_found_with_its_scale(capsys, folder, number, profile) -> None:
    back_ah = made_ride(*POWERS[number]).charge_ah
    exact = ("--full-to-full", "--unlogged-ah", 0, "--profile", folder / f"{profile}.toml")
    log = ridden(folder, number)
    code, found = reconcile(capsys, log, "--charged-ah", back_ah, *exact)
    scale = found["current_scale"]
    # Whatever scale the profile has, the new one replaces it. The log begins and ends with a
    # message, not with the ride: half a second of 80 or of 220.
    assert scale["value"] == pytest.approx(SENSORS.current_scale, abs=0.006)
    assert scale["low"] < SENSORS.current_scale < scale["high"]
    low = profile == "zeroed"
    assert (code, found["verdict"]) == ((1, "sensor_reads_low") if low else (0, "consistent"))
    if not low:
        assert found["why"]["profile_change"] == {"code": "nothing_to_change"}
        return
    change = tomllib.loads(found["profile_change"])["sensors"]
    assert change["current_scale"] == pytest.approx(scale["value"], abs=1e-4)
    reach = max(scale["high"] - scale["value"], scale["value"] - scale["low"])
    assert change["current_scale_sd"] == pytest.approx(reach / 1.96, rel=0.01)
    # The offered lines correct the profile.
    text = profile_text(PACK_AH, "current_offset_a = 0.35\nvoltage_scale = 1.002\n")
    (folder / "mended.toml").write_text(text.replace("[sensors]\n", found["profile_change"]))
    mended = ("--full-to-full", "--unlogged-ah", 0, "--profile", folder / "mended.toml")
    code, again = reconcile(capsys, log, "--charged-ah", back_ah, *mended)
    assert (code, again["verdict"]) == (0, "consistent")
    assert again["current_scale"]["value"] == pytest.approx(scale["value"], rel=1e-4)


def test_the_true_scale_is_consistent_and_a_larger_one_reads_high(capsys, folder) -> None:
    back_ah = made_ride(*POWERS[1]).charge_ah
    given = (ridden(folder, 1), "--charged-ah", back_ah, "--full-to-full")
    code, found = reconcile(capsys, *given, "--profile", folder / "right.toml")
    assert (code, found["verdict"], found["profile_change"]) == (0, "consistent", None)
    text = (folder / "right.toml").read_text().replace("1.06", "1.15")
    (folder / "high.toml").write_text(text)
    code, found = reconcile(capsys, *given, "--profile", folder / "high.toml")
    assert (code, found["verdict"]) == (1, "sensor_reads_high")
    assert found["current_scale"]["high"] < 1.15


def sheet(folder: Path, count: int, top: str = 'meter = "dc"\nfull_to_full = true\n') -> Path:
    lines = [top, "unlogged_ah = 0\n"]
    for number in range(count):
        back_ah = made_ride(*POWERS[number]).charge_ah
        ridden(folder, number)
        lines.append(f'[[charge]]\nlogs = ["ride{number}.tlog"]\ncharged_ah = {back_ah:.4f}\n')
    path = folder / f"charges{count}.toml"
    path.write_text("".join(lines))
    return path


@pytest.mark.slow
def test_three_charges_separate_scale_and_offset_and_two_do_not(capsys, folder) -> None:
    given = ("--profile", folder / "plain.toml", "--sheet")
    code, found = reconcile(capsys, *given, sheet(folder, 3))
    assert code == 1
    assert len(found["charges"]) == 3
    for key, truth, near in (
        ("current_scale", SENSORS.current_scale, 0.01),
        ("current_offset_a", SENSORS.current_offset_a, 0.03),
    ):
        assert found[key]["low"] < truth < found[key]["high"]
        assert found[key]["value"] == pytest.approx(truth, abs=near)
    change = tomllib.loads(found["profile_change"])["sensors"]
    assert set(change) == {
        *("current_scale", "current_scale_sd", "current_offset_a", "current_offset_sd_a")
    }
    (folder / "mended.toml").write_text(
        profile_text(PACK_AH).replace("[sensors]\n", found["profile_change"])
    )
    code, again = reconcile(
        capsys, "--profile", folder / "mended.toml", *given[2:], folder / "charges3.toml"
    )
    assert (code, again["verdict"]) == (0, "consistent")
    _, found = reconcile(capsys, *given, sheet(folder, 2))
    assert found["current_offset_a"] is None


@pytest.mark.slow
def test_uninformative_charges_are_left_out_with_a_remark(capsys, folder) -> None:
    path = sheet(folder, 3, "full_to_full = true\n")
    first, *rest = path.read_text().split("[[charge]]")
    rest[0] += "full_to_full = false\n"
    path.write_text("[[charge]]".join([first, *rest]))
    code, found = reconcile(capsys, "--sheet", path, "--profile", folder / "zeroed.toml")
    assert code == 1
    assert [one["full_to_full"] for one in found["charges"]] == [False, True, True]
    assert found["charged_ah"] == pytest.approx(
        sum(made_ride(*p).charge_ah for p in POWERS[1:]), abs=1e-3
    )
    (remark,) = [one for one in found["remarks"] if one["code"] == "some_full"]
    assert (remark["full_charges"], remark["charges"]) == (2, 3)
    assert remark["text"].startswith("2 of 3 charges are known to be full to full")
    # 14 % of the pack came back the third time.
    path.write_text(path.read_text().replace(f"{made_ride(*POWERS[2]).charge_ah:.4f}", "0.1"))
    _, found = reconcile(capsys, "--sheet", path, "--profile", folder / "zeroed.toml")
    (remark,) = [one for one in found["remarks"] if one["code"] == "rests_on"]
    assert remark["used_charges"] == 1
    assert "rests on 1 of them" in remark["text"]


@pytest.mark.slow
def test_several_rides_on_one_charge_are_added(capsys, folder) -> None:
    rides = [ridden(folder, number) for number in range(3)]
    back_ah = sum(made_ride(*power).charge_ah for power in POWERS)
    given = ("--charged-ah", back_ah, "--full-to-full", "--profile", folder / "zeroed.toml")
    code, found = reconcile(capsys, *rides, *given)
    assert (code, len(found["charges"]), len(found["charges"][0]["logs"])) == (1, 1, 3)
    assert found["current_scale"]["value"] == pytest.approx(SENSORS.current_scale, abs=0.004)


def test_far_too_much_is_not_blamed_on_the_sensor(capsys) -> None:
    anchor = LOGS / "at_anchor.tlog"
    for back_wh, remarked in ((40, True), (0.3, True), (1.5, False), (2.0, False)):
        _, found = reconcile(capsys, anchor, "--charged-wh", back_wh)
        assert ("no_sensor" in remarks(found)) == remarked
        assert "maybe_at_wall" not in remarks(found)


def test_a_mismatch_of_energy_alone_offers_no_change(capsys, folder) -> None:
    given = (ridden(folder, 1), "--charged-ah", 0.44, "--full-to-full", "--charged-wh", 70)
    code, found = reconcile(capsys, *given, "--profile", folder / "right.toml")
    assert (code, found["verdict"], found["profile_change"]) == (0, "cannot_tell", None)
    assert found["why"]["verdict"] == {"code": "voltage_or_pack"}
    assert found["why"]["profile_change"] == {"code": "nothing_to_change"}


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ((), "not_full_to_full"),
        (("--full-to-full",), "too_little_used"),
    ],
)
def test_no_correction_comes_with_a_reason(capsys, options, why) -> None:
    code, found = reconcile(capsys, LOG, "--charged-ah", 1.32, "--profile", CRAFT, *options)
    assert code == 0
    assert found["current_scale"] is None
    assert found["why"]["current_scale"] == found["why"]["profile_change"]
    assert found["why"]["current_scale"]["code"] == why


def test_without_a_profile_the_interval_is_wide(capsys) -> None:
    _, found = reconcile(capsys, LOG, "--charged-ah", 1.32, "--full-to-full")
    assert found["why"]["current_scale"] == {"code": "no_pack_size"}
    assert "no_pack" in remarks(found)


@pytest.mark.slow
def test_text_fits_80_columns(capsys, folder) -> None:
    back_ah = made_ride(*POWERS[1]).charge_ah
    given = (ridden(folder, 1), "--charged-ah", back_ah, "--charged-wh", 26, "--unlogged-ah", 0)
    zeroed = ("--profile", folder / "zeroed.toml")
    code, out = text_of(capsys, *given, *zeroed, "--full-to-full")
    assert code == 1
    assert "1 ride on 1 charge, meter between charger and pack" in out
    assert "A sensor reads low" in out
    assert "    [sensors]\n    current_scale = 1.06" in out
    assert "Nothing was changed" in out
    code, unsure = text_of(capsys, *given, *zeroed)
    assert "Whether the pack was full" in unsure
    assert "[sensors]" not in unsure
    code, fine = text_of(capsys, *given, "--profile", folder / "right.toml", "--full-to-full")
    assert "matches what was counted" in fine
    assert "[sensors]" not in fine
    sheets = text_of(capsys, "--sheet", sheet(folder, 3), "--profile", folder / "plain.toml")[1]
    assert "3 rides on 3 charges" in sheets
    assert "charge 2: 0.40 Ah counted, 0.44 Ah back\n" in sheets
    assert "current_offset_sd_a = " in sheets
    wall = text_of(capsys, LOG, "--charged-wh", 85, "--meter", "ac", "--profile", CRAFT)[1]
    assert "at the wall" in wall
    assert "ampere-hours" not in wall.lower()
    for line in "".join((out, unsure, fine, sheets, wall)).splitlines():
        assert len(line) < 80


def test_nothing_is_written(capsys, folder) -> None:
    log = ridden(folder, 1)
    before = {path: path.read_bytes() for path in folder.iterdir()}
    text_of(capsys, log, "--charged-ah", 0.5, "--profile", folder / "plain.toml")
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
