"""The autopilot's clocks at both ends of a record, and between which records it kept running."""

import math
from pathlib import Path

import numpy as np
import pytest

from onboard.restarts import record_clocks as module
from onboard.restarts.record_clocks import RecordClocks, kept_running_between, record_clocks
from onboard.ride.learned_file import Clocks
from onboard.ride.ride import Ride
from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.onboard.restarts.harbour_loop import PROFILE, parts, session
from tests.small_streams import Sender, records

NONE = float("nan")


@pytest.mark.parametrize("end_bytes", [module.END_BYTES, 1 << 12])
def test_the_clocks_are_read_from_both_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, end_bytes: int
) -> None:
    monkeypatch.setattr(module, "END_BYTES", end_bytes)
    first, _ = parts()
    ride = Ride(PROFILE)
    ride.take(first)
    ride.finish()
    folder = session(tmp_path / "a", first).folder
    found = record_clocks(folder)
    assert found.last.boot_s == pytest.approx(ride.clocks.boot_s, abs=0.01)
    assert found.last.utc_s == pytest.approx(ride.clocks.utc_s, abs=0.3)
    since_s = ride.t_s
    assert found.first.boot_s == pytest.approx(ride.clocks.boot_s - since_s, abs=1.0)
    assert found.first.utc_s == pytest.approx(ride.clocks.utc_s - since_s, abs=1.0)
    (folder / RECORD_NAME).write_bytes(b"")
    assert not record_clocks(folder).has_boot
    assert np.isnan(record_clocks(tmp_path).last.boot_s)


def of(frames: list[bytes], folder: Path, system_id: int | None = None) -> RecordClocks:
    (folder / RECORD_NAME).write_bytes(records(frames))
    return record_clocks(folder, system_id)


def test_a_restart_inside_a_record_parts_the_times_of_day(tmp_path: Path) -> None:
    sender = Sender()
    frames = [sender.heartbeat(), *(sender.attitude(500 + n) for n in range(5))]
    frames += [sender.attitude(3.0), sender.time_of_day(1.75e9, 4.0), sender.attitude(6.0)]
    found = of(frames, tmp_path)
    assert found.first.boot_s == 500
    assert math.isnan(found.first.utc_s)
    assert (found.last.boot_s, found.last.utc_s) == (6.0, 1.75e9 + 2.0)


def test_only_the_autopilots_clocks_count(tmp_path: Path) -> None:
    other, craft = Sender(system=9, component=190), Sender()
    assert not of([other.attitude(77.0), other.heartbeat(6, 8)], tmp_path).has_boot
    frames = [craft.heartbeat(), craft.attitude(40.0), craft.attitude(0.0), other.attitude(77.0)]
    assert of(frames, tmp_path).last.boot_s == 40.0
    assert not of(frames, tmp_path, system_id=9).has_boot


def clocks(boot_s: float, lasts_s: float, began_utc_s: float = NONE) -> RecordClocks:
    return RecordClocks(*(Clocks(at, began_utc_s + at, NONE) for at in (boot_s, boot_s + lasts_s)))


UTC_S = 1.75e9


@pytest.mark.parametrize(
    ("records_of", "same"),
    [
        # Both state the time of day: it decides.
        ([clocks(100, 50, UTC_S), clocks(170, 5, UTC_S)], [True]),
        ([clocks(100, 50, UTC_S), clocks(170, 5, UTC_S + 3600)], [False]),
        ([clocks(100, 50, UTC_S), clocks(3, 5, UTC_S + 170)], [False]),
        # Short records in between have no time of day, but those around them do.
        ([clocks(100, 50, UTC_S), clocks(151, 1), clocks(153, 9, UTC_S)], [True, True]),
        # No record for five hours, and yet it kept running.
        ([clocks(100, 50, UTC_S), clocks(151, 1), clocks(18e3, 9, UTC_S)], [True, True]),
        # Restarted, and its clock has passed the old one: in the longest gap.
        ([clocks(100, 50, UTC_S), clocks(151, 1), clocks(400, 9, UTC_S + 9e3)], [True, False]),
        ([clocks(100, 50, UTC_S), clocks(397, 1), clocks(400, 9, UTC_S + 9e3)], [False, True]),
        # Restarted only where the boot clock went back.
        ([clocks(100, 50, UTC_S), clocks(5, 1), clocks(400, 9, UTC_S + 9e3)], [False, True]),
        # No time of day at all: the boot clock, for a limited time.
        ([clocks(100, 50), clocks(151, 1), clocks(153, 1), clocks(3, 1)], [True, True, False]),
        ([clocks(100, 50), clocks(151 + 4 * 3600, 1)], [False]),
        ([clocks(100, 50)], []),
        ([], []),
    ],
)
def test_between_which_records_it_kept_running(
    records_of: list[RecordClocks], same: list[bool]
) -> None:
    assert kept_running_between(records_of) == same
