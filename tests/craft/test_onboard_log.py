"""The on-board log, opened with pymavlink's reader (2.4.50, DFReader.py)."""

import math
import sys
from pathlib import Path
from typing import Any

import pytest
from pymavlink import DFReader

from tests.craft.__main__ import main
from tests.craft.onboard_kinds import FMT, KINDS, format_record
from tests.craft.onboard_log import RATES_HZ, onboard_log_bytes
from tests.craft.recording import Recording, record
from tests.craft.scenarios import SCENARIOS
from tests.craft.sensors import read


def messages(path: Path) -> tuple[dict[str, list[Any]], DFReader.DFReader_binary]:
    found: dict[str, list[Any]] = {}
    with DFReader.DFReader_binary(str(path)) as log:
        while (message := log.recv_msg()) is not None:
            found.setdefault(message.get_type(), []).append(message)
    return found, log


@pytest.fixture(scope="module")
def board_log(board: Recording, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("onboard") / "board.bin"
    path.write_bytes(onboard_log_bytes(board))
    return path


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_fields_letters_and_units_match(kind: Any) -> None:
    assert len(kind.columns.split(",")) == len(kind.letters) <= 16
    assert len(kind.columns) <= 64
    assert kind.stored.itemsize <= 255
    assert len(kind.units) in (0, len(kind.letters))


def test_format_record_by_hand() -> None:
    columns = b"Type,Length,Name,Format,Columns"
    record = format_record(FMT)
    assert record == b"\xa3\x95\x80\x80\x59FMT\0BBnNZ" + bytes(11) + columns.ljust(64, b"\0")
    assert len(record) == 89


@pytest.mark.slow
def test_reference_reader_finds_every_record(
    board: Recording, board_log: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    found, log = messages(board_log)
    assert capfd.readouterr() == ("", "")
    size = sum(kind.stored.itemsize * len(found.get(kind.name, [])) for kind in KINDS)
    assert size == board_log.stat().st_size
    for name, rate_hz in RATES_HZ.items():
        assert len(found[name]) == int(board.truth.duration_s * rate_hz) + 1
        kind = next(one for one in KINDS if one.name == name)
        assert found[name][0].get_fieldnames() == kind.columns.split(",")
    assert log.params["BATT_MONITOR"] == 4.0
    assert found["BAT"][0].fmt.instance_field == "Inst"
    assert found["BAT"][0].fmt.get_unit("Volt") == "V"
    assert [one.Message for one in found["MSG"]] == [
        text for _, text in board.scenario.options.texts
    ]


@pytest.mark.slow
def test_values_are_the_readings_of_the_telemetry_log(board: Recording, board_log: Path) -> None:
    found, _ = messages(board_log)
    readings = read(board.truth, board.scenario.sensors, board.seed)
    for n in (0, 17, 700, len(found["BAT"]) - 1):
        bat = found["BAT"][n]
        at = round(0.1 * n / board.truth.step_s)
        assert bat.TimeUS == round((board.scenario.options.boot_s + 0.1 * n) * 1e6)
        assert bat.Volt == pytest.approx(readings.volts_v[at], rel=1e-7)
        assert bat.Curr == pytest.approx(readings.amps_a[at], rel=1e-7)
        assert bat.EnrgTot == pytest.approx(readings.used_wh[at], rel=1e-7)
        assert bat.CurrTot == pytest.approx(readings.used_ah[at] * 1e3, rel=1e-7)


@pytest.mark.slow
def test_times_are_true(board: Recording, board_log: Path) -> None:
    found, _ = messages(board_log)
    start_s = board.scenario.start_unix_s
    latency_s = board.scenario.sensors.gps_latency_s
    for n, bat in enumerate(found["BAT"]):
        # UTC comes from a fix that is as old as the receiver's latency.
        assert bat._timestamp == pytest.approx(start_s + 0.1 * n - latency_s, abs=2e-3)
    first = next(one for one in found["GPS"] if one.Status >= 3)
    assert first.TimeUS * 1e-6 - board.scenario.options.boot_s == pytest.approx(
        board.scenario.options.first_fix_s, abs=0.2
    )
    before = [one for one in found["GPS"] if one.TimeUS < first.TimeUS]
    assert before
    assert all((one.GWk, one.Lat, one.Spd) == (0, 0.0, 0.0) for one in before)
    ticks = [one.TimeUS for kind in ("BAT", "ATT", "IMU") for one in found[kind]]
    assert all(math.isfinite(tick) for tick in ticks)


@pytest.mark.slow
def test_same_seed_same_bytes(board: Recording, board_log: Path) -> None:
    again = record(SCENARIOS["board_sprints"])
    assert onboard_log_bytes(again) == board_log.read_bytes()
    assert onboard_log_bytes(record(SCENARIOS["board_sprints"], 6)) != board_log.read_bytes()


@pytest.mark.slow
def test_command_writes_the_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.bin"
    monkeypatch.setattr(sys, "argv", f"craft --scenario at_anchor --onboard-log {path}".split())
    main()
    found, _ = messages(path)
    assert len(found["BAT"]) == 3001
