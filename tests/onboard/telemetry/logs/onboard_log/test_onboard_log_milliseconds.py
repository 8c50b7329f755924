"""Logs of the millisecond generation: its clock, its power and its speed; damage and the wrap."""

import random
from pathlib import Path

import numpy as np
import pytest

from onboard.block import Block
from onboard.telemetry.logs.onboard_log import OnboardLog
from onboard.telemetry.logs.onboard_log.records import read_records
from tests.craft.onboard_kinds import FMT, Kind, format_record
from tests.onboard.telemetry.logs.onboard_log.made_generations import (
    ACC,
    AMPS_A,
    CURR,
    GPS,
    SPEED_MPS,
    TICKS,
    VOLTS_V,
    milliseconds_log,
)
from tests.onboard.telemetry.logs.onboard_log.test_records_reference import assert_equal

GPS_EPOCH_UNIX_S, WEEK_S = 315_964_800, 604_800


def saved(tmp_path: Path, data: bytes) -> Path:
    path = tmp_path / "old.bin"
    path.write_bytes(data)
    return path


def column(blocks: list[Block], channel: str, name: str) -> np.ndarray:
    return np.concatenate(
        [one.channels[channel][name] for one in blocks if channel in one.channels]
    )


def times_s(blocks: list[Block], channel: str) -> np.ndarray:
    return np.concatenate([one.channels[channel].t_s for one in blocks if channel in one.channels])


def test_every_field_and_time_equals_the_reference(tmp_path: Path) -> None:
    ours = assert_equal(saved(tmp_path, milliseconds_log()[:-11]))
    assert ours["CURR"].utc_s is not None
    assert ours["GPS"].time_us is not None
    assert ours["GPS"].time_us[0] == 40_000_000
    assert ours["PARM"].time_us is None


def test_the_time_base_is_that_of_the_first_record_with_time_and_week(tmp_path: Path) -> None:
    # The second receiver states it first; T = 0 does not count.
    second = Kind(160, "GPS2", GPS.letters, GPS.columns)
    rows = [
        GPS.record(Week=1800, TimeMS=1000, T=0),
        second.record(Week=1800, TimeMS=2000, T=7),
        GPS.record(Week=1801, TimeMS=9000, T=900),
    ]
    data = b"".join([format_record(FMT), format_record(GPS), format_record(second), *rows])
    ours = assert_equal(saved(tmp_path, data))
    assert ours["GPS"].base_s == GPS_EPOCH_UNIX_S + 1800 * WEEK_S + 2.0 - 18 - 0.007


@pytest.mark.parametrize("window_bytes", [700, 1 << 20])
def test_power_and_speed_are_read_in_si_units(tmp_path: Path, window_bytes: int) -> None:
    log = OnboardLog(saved(tmp_path, milliseconds_log(60)))
    blocks = list(log.parts(window_bytes=window_bytes))
    assert column(blocks, "battery", "volts_v") == pytest.approx(VOLTS_V)
    assert column(blocks, "battery", "amps_a") == pytest.approx(AMPS_A, abs=0.011)
    speed = column(blocks, "gps", "speed_mps")
    assert speed[10:] == pytest.approx(SPEED_MPS)
    assert np.isnan(speed[:10]).all()
    assert column(blocks, "fused", "north_mps") == pytest.approx(SPEED_MPS)
    assert column(blocks, "attitude", "heading_deg") == pytest.approx(359.5)
    assert times_s(blocks, "battery") == pytest.approx(np.arange(300) / 5)
    assert times_s(blocks, "gps") == pytest.approx(np.arange(300) / 5)
    facts = log.facts()
    assert facts.duration_s == pytest.approx(59.8)
    assert facts.first_s == pytest.approx(GPS_EPOCH_UNIX_S + 1800 * WEEK_S + 345_600 - 18)


def test_time_goes_on_over_the_wrap_of_the_clock(tmp_path: Path) -> None:
    # 32 bits of milliseconds last 49.7 days.
    log = OnboardLog(saved(tmp_path, milliseconds_log(60, TICKS - 30_000)))
    blocks = list(log.parts(window_bytes=5000))
    assert times_s(blocks, "battery") == pytest.approx(np.arange(300) / 5)
    assert log.facts().duration_s == pytest.approx(59.8)


def test_a_restart_is_joined_and_not_taken_for_the_wrap(tmp_path: Path) -> None:
    log = OnboardLog(saved(tmp_path, milliseconds_log(30) + milliseconds_log(30, 1000)))
    for _ in log.parts():
        pass
    assert log.facts().duration_s == pytest.approx(29.8 + 29.8)


def test_a_sensors_own_clock_is_not_the_logs(tmp_path: Path) -> None:
    odd = ACC.record(TimeMS=4_000_000_000, TimeUS=5)
    log = OnboardLog(saved(tmp_path, format_record(ACC) + odd + milliseconds_log(10) + odd))
    for _ in log.parts():
        pass
    assert log.facts().duration_s == pytest.approx(9.8)


def test_garbage_and_a_new_layout_midway(tmp_path: Path) -> None:
    # The same type number then has floats in volts and amperes, as later logs do.
    later = Kind(CURR.number, "CURR", "Ifff", "TimeMS,Volt,Curr,CurrTot")
    rows = b"".join(
        later.record(TimeMS=100_000 + 200 * n, Volt=VOLTS_V, Curr=AMPS_A) for n in range(50)
    )
    junk = random.Random(3).randbytes(3000)
    data = milliseconds_log(60) + junk + format_record(later) + rows + b"\xa3\x95" + junk[:40]
    log = OnboardLog(saved(tmp_path, data))
    blocks = list(log.parts())
    assert column(blocks, "battery", "volts_v") == pytest.approx(VOLTS_V, rel=1e-6)
    assert len(column(blocks, "battery", "volts_v")) == 300 + 50
    assert log.facts().bad_bytes >= 3000
    records = read_records(tmp_path / "old.bin", {"CURR": ["Volt"]})["CURR"]
    assert set(records.columns) == {"Volt"}
    assert records.time_us is not None
    assert records.time_us[-1] == 109_800_000
