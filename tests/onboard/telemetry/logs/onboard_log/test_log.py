"""Channels and facts of on-board logs: against the simulated readings, and small logs by hand."""

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

from onboard.block import COLUMNS, Block, Channel
from onboard.errors import LogError
from onboard.telemetry.logs.onboard_log import OnboardLog, read_records, text
from onboard.telemetry.mavlink.checksum import Ints
from tests.craft.onboard_kinds import (
    ARM,
    ATT,
    BAT,
    ESC,
    GPA,
    GPS,
    KINDS,
    MODE,
    MSG,
    PARM,
    THR,
    XKF1,
    Kind,
    descriptions,
    format_record,
)
from tests.craft.onboard_log import onboard_log_bytes
from tests.craft.recording import Recording, record
from tests.craft.scenarios import SCENARIOS
from tests.craft.sensors import read

HERE = {"Status": 3, "Lat": 45.0, "Lng": -30.0, "Spd": 1.5, "GCrs": 350.0, "HDop": 0.9, "NSats": 11}


def whole(blocks: Iterable[Block]) -> dict[str, Channel]:
    """Join blocks to one."""
    parts: dict[str, list[Channel]] = {}
    for block in blocks:
        for name, channel in block.channels.items():
            parts.setdefault(name, []).append(channel)
    return {
        name: Channel(
            np.concatenate([part.t_s for part in some]),
            {key: np.concatenate([part[key] for part in some]) for key in some[0].columns},
        )
        for name, some in parts.items()
    }


def log_of(
    folder: Path, *records: bytes, kinds: tuple[Kind, ...] = KINDS, from_us: int = 0
) -> OnboardLog:
    path = folder / "made.bin"
    path.write_bytes(descriptions(kinds, from_us) + b"".join(records))
    return OnboardLog(path)


def channels(log: OnboardLog, window_bytes: int = 1 << 20) -> dict[str, Channel]:
    return whole(log.parts(window_bytes=window_bytes))


def column(channel: Channel, name: str) -> list[float]:
    return [float(value) for value in channel[name]]


@pytest.fixture(scope="module")
def ride() -> Recording:
    return record(SCENARIOS["at_anchor"])


@pytest.fixture(scope="module")
def path(ride: Recording, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("ride") / "ride.bin"
    path.write_bytes(onboard_log_bytes(ride))
    return path


@pytest.mark.slow
def test_a_simulated_ride_returns_its_readings(ride: Recording, path: Path) -> None:
    got = channels(OnboardLog(path))
    assert {name: set(one.columns) for name, one in got.items()} == {
        name: set(COLUMNS[name]) for name in got
    }
    readings = read(ride.truth, ride.scenario.sensors, ride.seed)
    step_s = ride.truth.step_s

    def at(name: str, age_s: float = 0.0) -> Ints:
        return np.maximum(np.rint((got[name].t_s - age_s) / step_s).astype(np.int64), 0).astype(
            np.int64
        )

    battery, gps, fused = got["battery"], got["gps"], got["fused"]
    expected = {
        ("battery", "volts_v"): readings.volts_v[at("battery")],
        ("battery", "amps_a"): readings.amps_a[at("battery")],
        ("battery", "energy_out_wh"): readings.used_wh[at("battery")],
        ("fused", "north_mps"): readings.fused_north_mps[at("fused")],
        ("fused", "east_mps"): readings.fused_east_mps[at("fused")],
        ("drive", "volts_v"): ride.truth.volts_v[at("drive")],
    }
    for (name, quantity), values in expected.items():
        np.testing.assert_array_equal(got[name][quantity], values.astype(np.float32))
    used_mah = (readings.used_ah[at("battery")] * 1e3).astype(np.float32).astype(np.float64)
    np.testing.assert_array_equal(battery["charge_out_ah"], used_mah / 1e3)
    fixed = at("gps", ride.scenario.sensors.gps_latency_s)
    # A unit of the seventh decimal of a degree is 1.1 cm.
    np.testing.assert_allclose(gps["latitude_deg"], readings.latitude_deg[fixed], atol=5.1e-8)
    speed = np.hypot(readings.east_mps[fixed], readings.north_mps[fixed])
    np.testing.assert_allclose(gps["speed_mps"], speed, rtol=1e-6)
    assert np.isfinite(gps["horizontal_sd_m"]).all()
    assert np.isfinite(gps["speed_sd_mps"]).all()
    assert np.isnan(fused["latitude_deg"]).all()
    assert len(battery) == 3001


@pytest.mark.slow
def test_facts_of_a_simulated_ride(ride: Recording, path: Path) -> None:
    log = OnboardLog(path)
    for _ in log.parts(window_bytes=200_000):
        pass
    facts = log.facts()
    assert facts.first_s == pytest.approx(ride.scenario.start_unix_s, abs=0.11)
    assert facts.duration_s == pytest.approx(ride.truth.duration_s, abs=0.05)
    assert (facts.receivers, facts.bad_bytes) == ((0,), 0)
    assert facts.size_bytes == path.stat().st_size


@pytest.mark.slow
def test_texts_and_parameters_of_a_simulated_ride_are_columns(path: Path) -> None:
    records = read_records(path, {"MSG": ["Message"], "PARM": ["Name", "Value"]})
    assert [text(one) for one in records["MSG"]["Message"]] == ["Ready"]
    names = [text(one) for one in records["PARM"]["Name"]]
    assert dict(zip(names, records["PARM"]["Value"], strict=True))["BATT_MONITOR"] == 4.0


@pytest.mark.slow
@pytest.mark.parametrize("window_bytes", [300, 5000, 77_777])
def test_windows_change_nothing(path: Path, window_bytes: int) -> None:
    # Cut short, so that small windows do not take long; with a second boot, and damage.
    data = path.read_bytes()[:200_000]
    damaged = data[:90_000] + data[90_400:] + bytes(50) + data
    short = path.with_name("short.bin")
    short.write_bytes(damaged)
    first, second = OnboardLog(short), OnboardLog(short)
    expected, got = channels(first), channels(second, window_bytes)
    assert set(got) == set(expected)
    for name, channel in expected.items():
        np.testing.assert_array_equal(got[name].t_s, channel.t_s)
        for key in channel.columns:
            np.testing.assert_array_equal(got[name][key], channel[key])
    assert first.facts() == second.facts()
    assert first.facts().bad_bytes > 50


def test_battery_unknown_is_unknown(tmp_path: Path) -> None:
    nan = float("nan")
    log = log_of(
        tmp_path,
        BAT.record(
            TimeUS=1, Inst=0, Volt=50.0, Curr=2.0, CurrTot=1500, EnrgTot=70, RemPct=80, Temp=21
        ),
        BAT.record(TimeUS=2, Inst=1, Volt=12.0, Curr=nan, CurrTot=0, EnrgTot=0, RemPct=255, Temp=0),
    )
    battery = channels(log)["battery"]
    assert column(battery, "pack") == [0.0, 1.0]
    assert column(battery, "volts_v") == [50.0, 12.0]
    np.testing.assert_array_equal(battery["amps_a"], [2.0, nan])
    np.testing.assert_array_equal(battery["charge_out_ah"], [1.5, nan])
    np.testing.assert_array_equal(battery["energy_out_wh"], [70.0, nan])
    np.testing.assert_array_equal(battery["left_fraction"], [0.8, nan])
    np.testing.assert_array_equal(battery["temperature_degc"], [21.0, nan])


def test_older_battery_records(tmp_path: Path) -> None:
    old = Kind(80, "CURR", "QffffB", "TimeUS,Volt,Curr,CurrTot,EnrgTot,RemPct")
    second = Kind(81, "CUR2", "Qfff", "TimeUS,Volt,Curr,CurrTot")
    log = log_of(
        tmp_path,
        old.record(TimeUS=1, Volt=24.0, Curr=1.0, CurrTot=10.0, EnrgTot=2.0, RemPct=99),
        second.record(TimeUS=2, Volt=12.0, Curr=0.5, CurrTot=5.0),
        kinds=(*KINDS, old, second),
    )
    battery = channels(log)["battery"]
    assert column(battery, "pack") == [0.0, 1.0]
    assert np.isnan(battery["energy_out_wh"]).tolist() == [False, True]
    assert np.isnan(battery["temperature_degc"]).all()


def test_no_position_without_a_fix(tmp_path: Path) -> None:
    log = log_of(
        tmp_path,
        GPS.record(TimeUS=1, **{**HERE, "Status": 1}, GWk=0),
        GPS.record(TimeUS=2, **{**HERE, "Lat": 0.0, "Lng": 0.0}, GWk=2360, GMS=1000),
        GPS.record(TimeUS=3, **HERE, GWk=2360, GMS=1200),
        GPS.record(TimeUS=4, **{**HERE, "HDop": 99.99}, GWk=5000, GMS=1200),
    )
    got = channels(log)
    gps = got["gps"]
    assert column(gps, "fix") == [1.0, 3.0, 3.0, 3.0]
    assert np.isnan(gps["latitude_deg"]).tolist() == [True, True, False, False]
    assert np.isnan(gps["speed_mps"]).tolist() == [True, False, False, False]
    assert np.isnan(gps["dilution"]).tolist() == [False, False, False, True]
    # Week 2360 begins on 30 March 2025, 00:00:00 GPS time, 18 s before that in UTC (calendar).
    start_s = 1_743_292_800.0 - 18.0
    assert np.isnan(got["clock"]["utc_s"]).tolist() == [True, False, False, False]
    assert got["clock"]["utc_s"][1] == pytest.approx(start_s + 1.0, abs=1e-6)
    assert log.facts().first_s == pytest.approx(start_s + 1.0 - 1e-6, abs=1e-6)


@pytest.mark.parametrize("window_bytes", [60, 1 << 20])
def test_accuracies_join_by_receiver_and_time(tmp_path: Path, window_bytes: int) -> None:
    log = log_of(
        tmp_path,
        GPS.record(TimeUS=10, I=0, **HERE),
        GPA.record(TimeUS=10, I=1, HAcc=9.0, SAcc=9.0),
        GPA.record(TimeUS=10, I=0, HAcc=1.5, SAcc=0.25),
        GPS.record(TimeUS=20, I=0, **HERE),
        GPA.record(TimeUS=21, I=0, HAcc=7.0, SAcc=7.0),
        GPS.record(TimeUS=30, I=0, **HERE),
        GPA.record(TimeUS=30, I=0, HAcc=0.0, SAcc=0.5),
        GPA.record(TimeUS=40, I=0, HAcc=2.5, SAcc=0.0),
        GPS.record(TimeUS=40, I=0, **HERE),
        GPS.record(TimeUS=50, I=0, **HERE),
        # Too far behind its fix.
        *(THR.record(TimeUS=60) for _ in range(120)),
        GPA.record(TimeUS=50, I=0, HAcc=3.5, SAcc=3.5),
        THR.record(TimeUS=61),
    )
    gps = channels(log, window_bytes)["gps"]
    np.testing.assert_array_equal(gps["horizontal_sd_m"], [1.5, *[np.nan] * 2, 2.5, np.nan])
    np.testing.assert_array_equal(gps["speed_sd_mps"], [0.25, np.nan, 0.5, np.nan, np.nan])


@pytest.mark.parametrize(
    ("fixes", "followed"),
    [
        # (receiver, fix), in order; the first receiver is followed if it ever has a fix.
        ([(0, 3), (1, 3)], 0),
        ([(1, 3), (0, 1), (0, 3)], 0),
        ([(0, 1), (2, 3), (1, 3), (0, 1)], 1),
        ([(0, 1), (1, 1)], 0),
    ],
)
def test_one_receiver_is_followed(
    tmp_path: Path, fixes: list[tuple[int, int]], followed: int
) -> None:
    records = [
        GPS.record(TimeUS=1000 * n, I=who, **{**HERE, "Status": fix, "NSats": who})
        for n, (who, fix) in enumerate(fixes)
    ]
    log = log_of(tmp_path, *records)
    gps = channels(log, 400)["gps"]
    assert column(gps, "satellites") == [float(who) for who, _ in fixes if who == followed]
    assert log.facts().receivers == tuple(sorted({who for who, _ in fixes}))


def test_mode_and_arming_are_carried_forward(tmp_path: Path) -> None:
    log = log_of(
        tmp_path,
        ARM.record(TimeUS=1_000_000, ArmState=0),
        MODE.record(TimeUS=2_000_000, Mode=4, ModeNum=4),
        ARM.record(TimeUS=3_000_000, ArmState=1),
        MSG.record(TimeUS=3_500_000, Message=b"Under way"),
        MODE.record(TimeUS=4_000_000, Mode=0, ModeNum=0),
        PARM.record(TimeUS=4_000_000, Name=b"A_B", Value=1.0),
        PARM.record(TimeUS=4_100_000, Name=b"A_B", Value=2.0),
        from_us=1_000_000,
    )
    beat = channels(log)["heartbeat"]
    np.testing.assert_array_equal(beat["mode"], [np.nan, 4.0, 4.0, 0.0])
    np.testing.assert_array_equal(beat["armed"], [0.0, 0.0, 1.0, 1.0])
    np.testing.assert_allclose(beat.t_s, [0.0, 1.0, 2.0, 3.0])
    assert log.facts().duration_s == pytest.approx(3.1)
    assert log.facts().first_s is None


def test_modes_that_have_a_name(tmp_path: Path) -> None:
    named = Kind(82, "MODE", "QNB", "TimeUS,Mode,ModeNum")
    log = log_of(tmp_path, named.record(TimeUS=1, Mode=b"HOLD", ModeNum=4), kinds=(named,))
    assert column(channels(log)["heartbeat"], "mode") == [4.0]


def test_drives_throttle_attitude_and_estimator(tmp_path: Path) -> None:
    log = log_of(
        tmp_path,
        ESC.record(TimeUS=1, Instance=1, RPM=900.0, Volt=48.0, Curr=3.0, Temp=0.0),
        ESC.record(TimeUS=1, Instance=2, RPM=900.0, Volt=0.0),
        THR.record(TimeUS=2, ThrOut=45),
        ATT.record(TimeUS=3, Roll=-2.0, Pitch=1.0, Yaw=-10.0),
        XKF1.record(TimeUS=4, C=0, Yaw=359.99, VN=1.0, VE=2.0),
        XKF1.record(TimeUS=4, C=1, Yaw=1.0, VN=8.0, VE=8.0),
    )
    got = channels(log)
    assert column(got["drive"], "motor") == [1.0]
    assert column(got["drive"], "erpm") == [900.0]
    assert np.isnan(got["drive"]["rpm"]).all()
    assert np.isnan(got["drive"]["temperature_degc"]).all()
    assert column(got["hud"], "throttle_fraction") == [0.45]
    assert np.isnan(got["hud"]["speed_mps"]).all()
    assert column(got["attitude"], "heading_deg") == [350.0]
    assert column(got["fused"], "north_mps") == [1.0]
    assert column(got["fused"], "heading_deg") == [359.99]
    assert "power" not in got


def test_samples_with_a_damaged_stamp_are_left_out(tmp_path: Path) -> None:
    stamps = [1_000_000, 1_100_000, 2**50, 1_200_000, 1_300_000]
    rows = [THR.record(TimeUS=at, ThrOut=n) for n, at in enumerate(stamps)]
    log = log_of(tmp_path, *rows, from_us=1_000_000)
    hud = channels(log)["hud"]
    np.testing.assert_allclose(hud.t_s, [0.0, 0.1, 0.2, 0.3], atol=1e-9)
    assert column(hud, "throttle_fraction") == [0.0, 0.01, 0.03, 0.04]


def test_odd_letters_and_values_are_not_numbers(tmp_path: Path) -> None:
    # Layouts that no autopilot writes, with a signalling NaN and infinities in them.
    bat = Kind(70, "BAT", "QfffZ", "TimeUS,Inst,Volt,Curr,RemPct")
    gps = Kind(71, "GPS", "QfffZ", "TimeUS,Status,GWk,GMS,Lat")
    mode = Kind(66, "MODE", "Qf", "TimeUS,ModeNum")
    unit = Kind(177, "FMTU", "QfQ", "TimeUS,FmtType,UnitIds")
    odd = [bytes.fromhex("0100a07f"), np.float32(np.inf).tobytes(), np.float32(np.nan).tobytes()]
    records = [
        kind.record(TimeUS=1)[:11] + value * 3 + kind.record()[23:]
        for kind in (bat, gps)
        for value in odd
    ]
    records += [mode.record(TimeUS=1)[:11] + value for value in odd]
    records.append(unit.record(TimeUS=2, FmtType=np.nan))
    path = tmp_path / "odd.bin"
    path.write_bytes(b"".join([*(format_record(one) for one in (bat, gps, mode, unit)), *records]))
    log = OnboardLog(path)
    got = channels(log)
    assert column(got["battery"], "pack") == [0.0, 0.0, 0.0]
    for name in ("volts_v", "amps_a", "left_fraction"):
        assert np.isnan(got["battery"][name]).all()
    assert np.isnan(got["gps"]["fix"]).all()
    assert np.isnan(got["clock"]["utc_s"]).all()
    assert np.isnan(got["heartbeat"]["mode"]).all()
    assert log.facts().first_s is None
    assert read_records(path)["GPS"].base_s is None


def test_a_file_that_is_no_log_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "text.bin"
    path.write_text("nothing of the kind")
    with pytest.raises(LogError, match="no record in it"):
        list(OnboardLog(path).parts())
