"""A second ride on the same charge: the pack does not count as full, whatever was restarted."""

import time
from pathlib import Path
from typing import Any

import pytest

from onboard.errors import LogError
from onboard.telemetry.logs.telemetry_log import read_log
from tests.daemon_process import Daemon
from tests.faults.faulty_link import udp
from tests.newest import latest_session
from tests.patience import PATIENCE_S
from tests.small_streams import Sender

pytestmark = pytest.mark.slow

PROFILE = "[battery]\nchemistry = 'lfp'\ncells = 16\ncapacity_ah = 20.0\nresistance_ohm = 0.01\n"
UTC_S = 1_760_000_000.0
FULL = 0.8
"""Charge of a full pack above the reserve."""


class Craft:
    """The daemons of one craft, and its autopilot, played faster than real time."""

    def __init__(self, folder: Path) -> None:
        self._profile = folder / "craft.toml"
        self._profile.write_text(PROFILE)
        self.records = folder / "sessions"
        self._sender = Sender()
        self.boot_s = self.t_s = 0.0
        self.utc_s = UTC_S

    def daemon(self) -> Daemon:
        self.t_s = 0.0
        link = ("--link", "udpin:127.0.0.1:0", "--profile", str(self._profile))
        return Daemon(*link, "--record", str(self.records))

    def off(self, seconds: float) -> None:
        self.boot_s, self.utc_s = 5.0, self.utc_s + seconds

    def rides(self, daemon: Daemon, seconds: int, amps: float, utc: bool = True) -> dict[str, Any]:
        """Ride, and return the snapshot at the end."""
        with udp(daemon.port("link udpin")) as send:
            for _ in range(seconds):
                frames = self._sender.second(self.boot_s, 52.0, amps, 2.0)
                if utc:
                    frames.append(self._sender.time_of_day(self.utc_s, self.boot_s))
                send(b"".join(frames))
                self.boot_s, self.utc_s, self.t_s = self.boot_s + 1, self.utc_s + 1, self.t_s + 1
            # At first the last record is read, and nothing is shown yet.
            return daemon.snapshot_when(
                lambda seen: seen["t_s"] > self.t_s - 1.5 and seen["battery"]
            )

    def cut_off(self, daemon: Daemon, seen: dict[str, Any]) -> None:
        """Kill a daemon once its card has everything sent to it."""
        deadline = time.monotonic() + PATIENCE_S
        while self._on_card() < seen["link"]["messages"]:
            assert time.monotonic() < deadline
            time.sleep(0.05)
        daemon.process.kill()
        daemon.process.communicate()

    def _on_card(self) -> int:
        session = latest_session(self.records)
        assert session is not None
        try:
            return sum(len(part) for part in read_log(session))
        except LogError:
            return 0


def left(seen: dict[str, Any]) -> float:
    value: float = seen["battery"]["left_fraction"]["value"]
    return value


def codes(seen: dict[str, Any]) -> list[str]:
    return [alert["code"] for alert in seen["alerts"]]


def test_a_second_ride_continues_with_the_charge_left_and_asks(tmp_path: Path) -> None:
    craft = Craft(tmp_path)
    with craft.daemon() as daemon:
        first = left(craft.rides(daemon, 400, 90.0))
    assert first < 0.4
    craft.off(7200.0)
    with craft.daemon() as daemon:
        # From the first figure on, even before the time of day is known.
        early = craft.rides(daemon, 3, 20.0, utc=False)["battery"]["left_fraction"]
        assert early["value"] == pytest.approx(first, abs=0.02)
        seen = craft.rides(daemon, 30, 20.0)
        assert left(seen) == pytest.approx(first, abs=0.03)
        assert seen["battery"]["left_fraction"]["high"] == pytest.approx(FULL, abs=0.05)
        assert "charge_unsaid" in codes(seen)
        assert daemon.send_command(kind="mark", mark="charged", charged_wh=0)["ok"]
        seen = craft.rides(daemon, 1, 20.0)
        assert "charge_unsaid" not in codes(seen)
        assert seen["battery"]["left_fraction"]["high"] < FULL - 0.2
        assert daemon.send_command(kind="mark", mark="charged", left_fraction=0.9)["ok"]
        assert left(craft.rides(daemon, 1, 20.0)) == pytest.approx(0.7, abs=0.02)


def test_a_brown_out_of_both_continues_the_count(tmp_path: Path) -> None:
    craft = Craft(tmp_path)
    daemon = craft.daemon()
    seen = craft.rides(daemon, 300, 90.0)
    # Most of it was drawn after the last save.
    craft.cut_off(daemon, seen)
    craft.off(8.0)
    with craft.daemon() as daemon:
        after = craft.rides(daemon, 30, 5.0)
    assert left(after) == pytest.approx(left(seen), abs=0.015)
    assert "charge_unsaid" not in codes(after)
    reach = after["battery"]["left_fraction"]
    assert reach["high"] - reach["low"] < 0.14


def test_a_second_kill_soon_after_a_start_does_not_lose_the_first_ride(tmp_path: Path) -> None:
    craft = Craft(tmp_path)
    for _ in range(2):
        # What was drawn was not saved before either kill, but is in the record.
        daemon = craft.daemon()
        seen = craft.rides(daemon, 100, 90.0)
        craft.cut_off(daemon, seen)
        craft.off(8.0)
    with craft.daemon() as daemon:
        after = craft.rides(daemon, 30, 5.0)
    assert left(seen) < FULL - 0.22
    assert left(after) == pytest.approx(left(seen), abs=0.015)


def test_a_charge_stated_before_the_craft_sends_counts_after_a_restart_too(
    tmp_path: Path,
) -> None:
    craft = Craft(tmp_path)
    with craft.daemon() as daemon:
        craft.rides(daemon, 300, 90.0)
    craft.off(7200.0)
    daemon = craft.daemon()
    assert daemon.send_command(kind="mark", mark="charged_full")["ok"]
    seen = craft.rides(daemon, 60, 60.0)
    assert left(seen) == pytest.approx(FULL - 0.05, abs=0.02)
    craft.cut_off(daemon, seen)
    with craft.daemon() as daemon:
        craft.rides(daemon, 30, 5.0)
        # The autopilot kept running: the records are folded again, with the mark.
        again = daemon.snapshot_when(lambda now: now["t_s"] > 85.0)
    assert left(again) == pytest.approx(left(seen), abs=0.015)
    assert "charge_unsaid" not in codes(again)


def test_without_learned_json_the_records_are_used(tmp_path: Path) -> None:
    craft = Craft(tmp_path)
    with craft.daemon() as daemon:
        first = left(craft.rides(daemon, 300, 90.0))
    (craft.records / "learned.json").write_text("{}")
    craft.off(7200.0)
    with craft.daemon() as daemon:
        assert left(craft.rides(daemon, 30, 20.0)) == pytest.approx(first, abs=0.03)
    assert "not readable" in daemon.stderr or "another version" in daemon.stderr
    assert "the battery's count is taken from the last trip's records" in daemon.stderr
