"""The clock of receipt starts at the wall clock, and then runs independently of it."""

from types import SimpleNamespace

import pytest

from onboard.telemetry.link import stamp_clock
from onboard.telemetry.link.stamp_clock import StampClock


def test_setting_the_wall_clock_does_not_step_the_stamps(monkeypatch: pytest.MonkeyPatch) -> None:
    now = SimpleNamespace(wall_ns=1_750_000_000_123_456_789, gone_ns=5_000)
    clock = SimpleNamespace(time_ns=lambda: now.wall_ns, monotonic_ns=lambda: now.gone_ns)
    monkeypatch.setattr(stamp_clock, "time", clock)
    stamps = StampClock()
    assert stamps.start_us == stamps() == 1_750_000_000_123_456
    now.gone_ns += 2_000_000_000
    now.wall_ns -= 3600 * 10**9
    assert stamps() == stamps.start_us + 2_000_000
    # The low two bits stay clear: in a log they may state where a frame came from.
    now.gone_ns += 3_000
    assert stamps() == stamps.start_us + 2_000_000
    now.gone_ns += 1_000
    assert stamps() == stamps.start_us + 2_000_004
