"""Blocks to seconds: means per second, revs and motor current of several kinds of drive."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from onboard.block import COLUMNS, Block, Channel
from onboard.efficiency.trial.seconds import LogSeconds, Seconds
from onboard.efficiency.trial.trial_practice import DRIVE_EFFICIENCY_FRACTION
from onboard.profile import Drive, Profile, Sensors
from onboard.telemetry.mavlink.log_scanner import LogScanner
from onboard.telemetry.messages.decoder import Decoder
from tests.craft.telemetry_log import log_bytes
from tests.craft.trial_day import POLE_PAIRS, Day, Setup, make, motor_at
from tests.onboard.efficiency.made_channels import channel

MOTOR = Drive(kv_rpm_per_v=100.0, phase_resistance_ohm=0.05, no_load_a=1.0, pole_pairs=POLE_PAIRS)
RUNNING = slice(30, 80)
"""Seconds of the single leg after its turn."""
SCALES = Sensors(current_scale=1.0 / 1.01, voltage_scale=1.0 / 0.998)
"""Corrections for the errors of the day's sensors."""


@cache
def log_of(telemetry: str) -> bytes:
    day = Day(
        {"a": Setup()}, ("a",), legs_each=1, leg_s=70.0, power_sd=0.0, drive_telemetry=telemetry
    )
    return log_bytes(make(day, 1).frames, 1_750_000_000.0)


def gathered(telemetry: str, drive: Drive = MOTOR, pieces: int = 1) -> Seconds:
    gathering = LogSeconds(Profile(drive=drive, sensors=SCALES))
    scanner, decoder = LogScanner(), Decoder()
    data = log_of(telemetry)
    step = len(data) // pieces + 1
    for start in range(0, len(data), step):
        final = start + step >= len(data)
        gathering.fold(decoder.push(scanner.push(data[start : start + step], final=final)))
    gathering.fold(decoder.finish())
    return gathering.seconds()


def test_power_speed_and_volts_are_those_of_the_day() -> None:
    seconds = gathered("none")
    assert np.diff(seconds.t_s) == pytest.approx(1.0)
    assert 92 <= len(seconds) <= 95
    assert seconds.power_w[RUNNING].mean() == pytest.approx(400.0, rel=2e-3)
    assert np.hypot(
        seconds.east_mps[RUNNING].mean(), seconds.north_mps[RUNNING].mean()
    ) == pytest.approx(2.55, abs=0.1)
    assert seconds.amps_a[RUNNING].mean() == pytest.approx(
        400.0 / seconds.volts_v[RUNNING].mean(), rel=3e-3
    )
    assert seconds.pack_degc[RUNNING] == pytest.approx(24.5, abs=0.5)
    for unknown in (seconds.rpm, seconds.motor_amps_a, seconds.drive_degc):
        assert np.isnan(unknown).all()


def test_a_drive_that_reports_its_motor() -> None:
    seconds = gathered("motor")
    rpm, amps = motor_at(400.0, 2.5)
    assert np.nanmean(seconds.rpm[RUNNING]) == pytest.approx(rpm, rel=2e-3)
    assert np.nanmean(seconds.motor_amps_a[RUNNING]) == pytest.approx(amps, rel=3e-3)
    assert seconds.reported_amps_a == pytest.approx(seconds.motor_amps_a, nan_ok=True)


def test_a_drive_that_reports_electrical_revs_and_input_current() -> None:
    seconds = gathered("input")
    rpm, amps = motor_at(400.0, 2.5)
    assert np.nanmean(seconds.rpm[RUNNING]) == pytest.approx(rpm, rel=2e-3)
    # Derived with 4 % lost in the drive, where the day's loses 3 %.
    found = np.nanmean(seconds.motor_amps_a[RUNNING])
    assert found == pytest.approx(amps * DRIVE_EFFICIENCY_FRACTION / 0.97, rel=4e-3)
    assert np.isnan(seconds.reported_amps_a).all()
    assert np.nanmean(seconds.drive_degc[RUNNING]) == pytest.approx(24.5, abs=1.0)


def test_without_pole_pairs_electrical_revs_are_unusable() -> None:
    seconds = gathered("input", replace(MOTOR, pole_pairs=None))
    assert np.isnan(seconds.rpm).all()
    assert np.isnan(seconds.motor_amps_a).all()


def test_an_input_current_is_not_taken_for_the_motor_s() -> None:
    seconds = gathered("input", Drive(pole_pairs=POLE_PAIRS))
    assert np.isfinite(seconds.rpm[RUNNING]).all()
    assert np.isnan(seconds.motor_amps_a).all()


@pytest.mark.parametrize("pieces", [2, 7, 40])
def test_the_partition_of_the_log_does_not_matter(pieces: int) -> None:
    whole, cut = gathered("motor"), gathered("motor", pieces=pieces)
    for name in ("t_s", "power_w", "east_mps", "volts_v", "rpm", "motor_amps_a"):
        assert getattr(cut, name) == pytest.approx(getattr(whole, name), rel=1e-9, nan_ok=True)


def test_a_sample_counts_for_the_second_that_it_lies_in() -> None:
    t_s = np.arange(0.25, 20.0, 0.25)
    columns = {name: np.full(len(t_s), np.nan) for name in COLUMNS["drive"]}
    columns["rpm"] = 100.0 * np.ceil(t_s)
    gathering = LogSeconds(Profile())
    gathering.fold(Block({"drive": Channel(t_s, columns)}))
    seconds = gathering.seconds()
    assert seconds.rpm == pytest.approx(100.0 * seconds.t_s)
    assert seconds.t_s.tolist() == list(range(2, 21))


@pytest.mark.parametrize(
    ("rpm", "pole_pairs", "wanted"),
    # 8641 / 7 pole pairs: 1234.43 (definition).
    [(np.nan, 7, 1234.43), (1200.0, 7, 1200.0), (1200.0, None, 1200.0), (np.nan, None, np.nan)],
)
def test_electrical_revs_are_divided_by_pole_pairs(
    rpm: float, pole_pairs: int | None, wanted: float
) -> None:
    t_s = np.arange(0.25, 20.0, 0.25)
    columns = {name: np.full(len(t_s), np.nan) for name in COLUMNS["drive"]}
    columns |= {"rpm": np.full(len(t_s), rpm), "erpm": np.full(len(t_s), 8641.0)}
    gathering = LogSeconds(Profile(drive=Drive(pole_pairs=pole_pairs)))
    gathering.fold(Block({"drive": Channel(t_s, columns)}))
    assert gathering.seconds().rpm == pytest.approx(wanted, abs=5e-3, nan_ok=True)


def test_a_display_s_speed_has_the_direction_of_the_heading() -> None:
    t_s = np.arange(0.25, 60.0, 0.25)

    # There at 350 to 10 degrees, which lie about north; back after half a minute.
    heading = (np.where(t_s < 30.0, 0.0, 180.0) + 10.0 * np.sin(40.0 * t_s)) % 360.0
    gathering = LogSeconds(Profile())
    gathering.fold(
        Block(
            {
                "power": channel("power", t_s, volts_v=25.0, amps_a=16.0),
                "hud": channel("hud", t_s, speed_mps=2.0, heading_deg=heading),
            }
        )
    )
    seconds = gathering.seconds()
    north = seconds.north_mps[2:-2]
    assert np.hypot(seconds.east_mps, seconds.north_mps)[2:-2] == pytest.approx(2.0)
    assert north[:24] == pytest.approx(2.0, rel=0.01)
    assert north[32:] == pytest.approx(-2.0, rel=0.01)


def test_an_empty_log() -> None:
    seconds = LogSeconds(Profile()).seconds()
    assert len(seconds) == 0
    assert len(seconds.motor_amps_a) == 0
