"""The `plan` command: from a log or the daemon's curves, as text and as JSON."""

import json
from pathlib import Path

import numpy as np
import pytest

from groundside.command_line import main
from onboard.contract.commands import Set
from onboard.efficiency.curve.learner import Learner
from onboard.profile import load_profile
from onboard.record.marks import MarkBook, TimedCommand
from onboard.ride import learned_file
from onboard.ride.ride import Ride
from onboard.telemetry.logs.formats import open_log
from tests.groundside.reports.run_command import refusal
from tests.onboard.efficiency.curve.made_blocks import SPEEDS, cubic
from tests.onboard.efficiency.curve.test_learner import seconds

LOGS = Path(__file__).parents[4] / "replay_logs"
LOG, CRAFT = LOGS / "harbour_loop.tlog", LOGS / "harbour_loop.toml"
OF_LOG = ["--from", str(LOG), "--profile", str(CRAFT)]


@pytest.fixture(scope="module")
def curves() -> dict:
    ride = Ride(load_profile(CRAFT))
    for part in open_log(LOG).parts():
        ride.take(part)
    ride.finish()
    return ride.engine.learner.as_dict()


def plan(capsys: pytest.CaptureFixture[str], *options: str) -> tuple[int, str]:
    code = main(["plan", *options])
    return code, capsys.readouterr().out


def test_a_plan_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    code, out = plan(capsys, "--distance-m", "5000", "--json", *OF_LOG)
    found = json.loads(out)
    assert code == 0
    row = found["rows"][0]
    assert set(row) >= {"speed_mps", "time_s", "energy_wh", "arrive_fraction", "extrapolated"}
    assert found["best"] in found["rows"]
    for row in found["rows"]:
        assert row["time_s"] == pytest.approx(5000.0 / row["speed_mps"])
        assert row["energy_wh"]["value"] == pytest.approx(row["power_w"] * row["time_s"] / 3600)
        assert row["energy_wh"]["low"] < row["energy_wh"]["value"] < row["energy_wh"]["high"]
    # The log has speeds of 2 to 2.6 m/s, so the curve covers no others.
    assert all(1.5 < row["speed_mps"] < 3.2 and not row["extrapolated"] for row in found["rows"])


def test_a_plan_as_text(capsys: pytest.CaptureFixture[str]) -> None:
    options = ("--distance-m", "9000", "--there-and-back", "--head-current-mps", "-0.3")
    packs = ("--battery-wh", "400", "--battery-wh", "2500", "--speed-mps", "4")
    code, out = plan(capsys, *options, *packs, "--units", "km/h", *OF_LOG)
    assert code == 0  # with the larger pack
    assert "9.00 km there and back, water with you on the way out, 1.1 km/h" in out
    assert out.count("beyond the speeds seen") == 2
    assert "it cannot be made surely" in out
    assert "the fastest that arrives" in out
    assert "An estimate" in out


@pytest.mark.parametrize(
    ("more", "over_ground"),
    [
        ([], lambda way: ""),
        (["--there-and-back"], lambda way: ""),
        (["--head-current-mps", "0.3"], lambda way: f" ({way - 1.08:.1f} over ground)"),
        (
            ["--head-current-mps", "-0.3", "--there-and-back"],
            lambda way: f" (over ground {way + 1.08:.1f} out, {way - 1.08:.1f} back)",
        ),
    ],
)
def test_the_speed_to_hold_is_one_speed_through_the_water(
    capsys: pytest.CaptureFixture[str], more: list[str], over_ground
) -> None:
    options = ("--distance-m", "5000", *more, *OF_LOG)
    best = json.loads(plan(capsys, *options, "--json")[1])["best"]
    out = plan(capsys, *options, "--units", "km/h")[1]
    way = 3.6 * best["through_water_mps"]
    where = " through the water" if "--head-current-mps" in more else ""
    line = f"hold {way:.1f} km/h{where}, about {best['power_w']:.0f} W{over_ground(way)}:"
    assert line in out


def test_a_trip_that_cannot_be_made_is_exit_1(capsys: pytest.CaptureFixture[str]) -> None:
    code, out = plan(capsys, "--distance-m", "200000", *OF_LOG)
    assert code == 1
    assert "it cannot be made surely" in out
    assert "slower may take less, but nothing was learned below" in out
    code, out = plan(capsys, "--distance-m", "1000", "--head-current-mps", "9", *OF_LOG)
    assert code == 1
    assert "no speed tried makes way" in out
    code, out = plan(capsys, "--distance-m", "1000", "--head-current-mps", "9", "--json", *OF_LOG)
    found = json.loads(out)
    assert (code, found["schema"], found["best"]) == (1, 2, None)
    assert found["why"] == found["packs"][0]["why"] == {"best": {"code": "no_way_made"}}


def test_each_set_up_of_a_session_has_its_own_curve(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    log, turn_s = LOG.read_bytes(), 400.0
    (tmp_path / "telemetry.tlog").write_bytes(log)
    begin_us, book = int.from_bytes(log[:8], "big"), MarkBook(tmp_path)
    for t_s, label in ((0.0, "slim"), (turn_s, "broad")):
        book.write(TimedCommand(t_s, begin_us + round(1e6 * t_s), None, Set(1, "setup", label)))
    where = ("--distance-m", "5000", "--from", str(tmp_path), "--profile", str(CRAFT))
    assert plan(capsys, *where)[0] == 2
    powers = []
    for label in ("slim", "broad"):
        _, out = plan(capsys, *where, "--setup", label, "--json")
        powers.append([row["power_w"] for row in json.loads(out)["rows"]])
    assert powers[0] != powers[1]


def test_the_curve_that_the_daemon_keeps(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, curves: dict
) -> None:
    (plain,) = curves.values()
    learned_file.save(tmp_path, {"curves": {"A": plain, "B": plain}, "battery": None})
    where = ("--from", str(tmp_path), "--profile", str(CRAFT))
    assert plan(capsys, "--distance-m", "5000", *where)[0] == 2
    code, out = plan(capsys, "--distance-m", "5000", "--setup", "B", "--json", *where)
    assert code == 0
    carried = json.loads(out)["rows"]
    _, out = plan(capsys, "--distance-m", "5000", "--json", *OF_LOG)
    learned = {round(row["speed_mps"], 3): row for row in json.loads(out)["rows"]}
    for row in carried:
        same = learned[round(row["speed_mps"], 3)]
        assert row["power_w"] == pytest.approx(same["power_w"], rel=0.03)
        # On another day the curve is a little less certain.
        wide = row["energy_wh"]["high"] / row["energy_wh"]["low"]
        assert wide > 0.99 * same["energy_wh"]["high"] / same["energy_wh"]["low"]
    assert plan(capsys, "--distance-m", "5000", "--setup", "C", *where)[0] == 2


def test_a_carried_curve_is_wide_where_it_has_no_data(curves: dict) -> None:
    learner = Learner(curves)
    (label,) = learner.carried
    known = learner.known(label)
    assert known is not None
    speeds = np.array([2.4, 1.0, 5.0])
    inside, below, above = known.curve_variance(speeds).tolist()
    assert below > 4 * inside
    assert above > 4 * inside


def test_a_plan_of_legs_each_in_its_own_water(capsys: pytest.CaptureFixture[str]) -> None:
    legs = ("--leg", "3km,head-current=0.36km/h", "--leg", "0.5NM, head-current=-0.2m/s")
    code, out = plan(capsys, *legs, "--json", *OF_LOG)
    assert code == 0
    for row in json.loads(out)["rows"]:
        through = row["through_water_mps"]
        time_s = 3000.0 / (through - 0.1) + 926.0 / (through + 0.2)
        assert row["time_s"] == pytest.approx(time_s)
        assert row["speed_mps"] == pytest.approx(3926.0 / time_s)
    _, out = plan(capsys, *legs, "--there-and-back", "--units", "km/h", *OF_LOG)
    assert "3.93 km there and back;" in out
    assert "  3.00 km, water against you on the way out, 0.4 km/h" in out
    assert "  0.93 km, water with you on the way out, 0.7 km/h" in out


def test_a_stated_wind_costs_more_against_than_with(capsys: pytest.CaptureFixture[str]) -> None:
    cost = {}
    for wind in ("-4", "0", "4"):
        options = ("--distance-m", "5000", "--head-current-mps", "0", "--headwind-mps", wind)
        _, out = plan(capsys, *options, "--json", *OF_LOG)
        cost[wind] = json.loads(out)["rows"][0]["energy_wh"]
    assert cost["-4"]["value"] < cost["0"]["value"] < cost["4"]["value"]
    _, out = plan(capsys, "--distance-m", "5000", "--json", "--head-current-mps", "0", *OF_LOG)
    unknown = json.loads(out)["rows"][0]["energy_wh"]
    assert unknown["value"] == pytest.approx(cost["0"]["value"])
    assert unknown["high"] > cost["0"]["high"]
    options = ("--distance-m", "5000", "--headwind-mps", "4", "--units", "km/h")
    assert "wind against you on the way out, 14.4 km/h" in plan(capsys, *options, *OF_LOG)[1]


def test_what_to_leave_with_and_where_to_turn_round(capsys: pytest.CaptureFixture[str]) -> None:
    options = ("--distance-m", "2500", "--there-and-back", "--units", "km/h", *OF_LOG)
    found = json.loads(plan(capsys, *options, "--json")[1])
    likely, sure = found["leave_with"]
    assert (likely["chance"], sure["chance"]) == (0.95, 0.99)
    assert 0.2 < likely["fraction"] < sure["fraction"] < 0.93
    near, nearer = found["turn_round"]
    assert 2500.0 < nearer["distance_m"] < near["distance_m"]
    out = plan(capsys, *options)[1]
    least = f"leave with at least {100 * likely['fraction']:.0f} % for 95 %"
    assert f"{least}, {100 * sure['fraction']:.0f} % for 99 % of cases" in out
    assert f"turn round at the latest at {near['distance_m'] / 1e3:.2f} km for 95 %" in out
    # One way there is no turning point; too long a way cannot be left for.
    found = json.loads(plan(capsys, "--distance-m", "90000", "--json", *OF_LOG)[1])
    assert found["turn_round"] == []
    assert [one["fraction"] for one in found["leave_with"]] == [None, None]
    assert "not even full" in plan(capsys, "--distance-m", "90000", *OF_LOG)[1]


def test_a_second_pack_and_a_cold_one(capsys: pytest.CaptureFixture[str]) -> None:
    left = {}
    for more in ((), ("--packs", "2"), ("--pack-degc", "0")):
        options = ("--distance-m", "5000", *more, "--json", *OF_LOG)
        found = json.loads(plan(capsys, *options)[1])
        left[more] = found["rows"][0]["left_wh"] + found["rows"][0]["energy_wh"]["value"]
    assert left["--packs", "2"] == pytest.approx(2.0 * left[()])
    # An eighth of the capacity, 1050 of 1207 Wh, and more above the reserve; and more resistance.
    assert 0.8 < left["--pack-degc", "0"] / left[()] < 0.87
    options = ("--distance-m", "5000", "--packs", "2", "--pack-degc", "0", *OF_LOG)
    assert (
        "2 packs of 1207 Wh each, 93 % charged at the start, at 0 °C" in plan(capsys, *options)[1]
    )


def one_course(seed: int = 1) -> dict:
    """Return the curves after a long ride in still water on one course, at three speeds."""
    learner = Learner()
    legs = [(90.0, power, 900) for power in (60.0, 120.0, 260.0)]
    learner.fold(seconds(legs, seed, water_mps=np.zeros(2)))
    return learner.as_dict()


def test_a_plan_after_one_course_is_as_good_as_that_ride(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    # The interval was 304 to 1,244 Wh for 615: a curve through water that nothing told.
    learned_file.save(tmp_path, {"curves": one_course(), "battery": None})
    where = ("--from", str(tmp_path), "--profile", str(CRAFT))
    _, out = plan(capsys, "--distance-m", "8000", "--json", *where)
    found = json.loads(out)
    assert found["speed_kind"] == "over_ground"
    ridden = [row for row in found["rows"] if row["rides_took"] is not None]
    assert len(ridden) >= 3
    for row in found["rows"]:
        energy, true_wh = row["energy_wh"], cubic(row["speed_mps"]) / row["speed_mps"] / 3.6 * 8.0
        assert energy["low"] < true_wh < energy["high"]
        assert energy["high"] < 1.7 * energy["value"]
    for row in ridden:
        took_wh = row["rides_took"]["wh_per_km"] * 8.0
        assert row["energy_wh"]["low"] < took_wh < row["energy_wh"]["high"]
        assert row["energy_wh"]["value"] == pytest.approx(took_wh, rel=0.08)
    out = plan(capsys, "--distance-m", "8000", *where)[1]
    assert "no course ridden tells the water from the craft" in out
    assert "water as on the rides" in out


def test_a_ride_at_one_speed_gives_one_row(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    learner = Learner()
    learner.fold(seconds([(90.0, 150.0, 1200)], water_mps=np.zeros(2)))
    learned_file.save(tmp_path, {"curves": learner.as_dict(), "battery": None})
    where = ("--from", str(tmp_path), "--profile", str(CRAFT))
    (row,) = json.loads(plan(capsys, "--distance-m", "3000", "--json", *where)[1])["rows"]
    assert row["speed_mps"] == pytest.approx(np.interp(150.0, cubic(SPEEDS), SPEEDS), abs=0.06)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ((), "--distance-m"),
        (("--distance-m", "-5"), "--distance-m"),
        (("--distance-m", "5000", "--extra-mass-kg", "10", *OF_LOG), "--mass-kg"),
        (("--distance-m", "5000", "--from", str(LOG)), "no [battery]"),
        (("--distance-m", "5000", "--speed-mps", "50", *OF_LOG), "too far from the speeds ridden"),
        (("--distance-m", "5000", "--leg", "3km", *OF_LOG), "--leg"),
        (("--leg", "3", *OF_LOG), "3km,head-current=0.4m/s,headwind=5m/s"),
        (("--leg", "3km", "--headwind-mps", "2", *OF_LOG), "--leg"),
        (("--distance-m", "5000", "--packs", "0", *OF_LOG), "--packs"),
        (("--distance-m", "5000", "--from", "/nowhere", "--profile", str(CRAFT)), "/nowhere"),
    ],
)
def test_missing_input_is_reported_in_one_line(
    options: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert says in refusal(capsys, "plan", *options)
