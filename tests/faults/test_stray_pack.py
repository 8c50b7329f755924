"""A stray pack, a dying pack, the mark `unplugged` and a restart, on a real daemon by its feed."""

from pathlib import Path
from typing import Any

import pytest

from tests.daemon_process import Daemon
from tests.faults.faulty_link import Send, udp
from tests.small_streams import Sender

pytestmark = pytest.mark.slow

PROFILE = '[battery]\nchemistry = "li-ion"\ncells = 14\nenergy_wh = 1000.0\n'
BOOT_S, UTC_S = 100, 1_750_000_000
AT_ONCE_S = 20
"""Seconds of the stream sent before waiting for the daemon."""


class Craft:
    """An autopilot with packs of 50 V and 10 A each, played as fast as the daemon takes it."""

    def __init__(self) -> None:
        self.sender = Sender()
        self.now_s = 0

    def ride(self, daemon: Daemon, seconds: int, *packs: int, stray: int | None = None) -> dict:
        """Ride on at 2 m/s; return the snapshot at the end. A stray pack sends one frame midway."""
        with udp(daemon.port("link udpin")) as send:
            end_s = self.now_s + seconds
            stray_s = self.now_s + seconds // 2
            while self.now_s < end_s:
                self._second(send, packs)
                if stray is not None and self.now_s == stray_s:
                    send(self.sender.battery_status(50, 10, stray))
                self.now_s += 1
                if self.now_s % AT_ONCE_S == 0 or self.now_s == end_s:
                    found = daemon.snapshot_when(self._has_come)
        return found

    def _has_come(self, snapshot: dict[str, Any]) -> bool:
        return bool(snapshot["t_s"] >= self.now_s - 0.6)

    def _second(self, send: Send, packs: tuple[int, ...]) -> None:
        sender = self.sender
        for half_s in (0.0, 0.5):
            boot_s = BOOT_S + self.now_s + half_s
            clock = sender.time_of_day(UTC_S + boot_s, boot_s)
            frames = [sender.attitude(boot_s), clock, sender.gps(2.0)]
            frames += [sender.battery_status(50, 10, pack) for pack in packs]
            send(b"".join([sender.heartbeat(), *frames]))


def sources(snapshot: dict[str, Any], code: str) -> list[str]:
    return [name for one in snapshot["alerts"] if one["code"] == code for name in one["sources"]]


def started(folder: Path) -> Daemon:
    (folder / "craft.toml").write_text(PROFILE)
    profile, record = str(folder / "craft.toml"), str(folder / "record")
    return Daemon("--link", "udpin:127.0.0.1:0", "--profile", profile, "--record", record)


def unplugged(daemon: Daemon, source: str):
    return daemon.send_command(kind="mark", mark="unplugged", source=source)


KNOWN = ("power_w", "time_left_s")


def test_strays_and_dying_packs_over_a_restart(tmp_path: Path) -> None:
    craft = Craft()
    with started(tmp_path) as daemon:
        found = craft.ride(daemon, 100, 0, 1, stray=5)
        assert found["power_w"] == pytest.approx(1000.0)
        assert found["range_m"]["now"] is not None
        assert found["time_left_s"] is not None
        assert found["wh_per_km"]["trip"]["value"] == pytest.approx(1000 / 7.2, rel=0.02)
        assert sources(found, "source_brief") == ["battery 5"]

        refused = unplugged(daemon, "battery 1")
        assert refused["why"] == {"code": "still_heard", "source": "battery 1"}
        found = craft.ride(daemon, 80, 0)
        assert [found[key] for key in KNOWN] == [None, None]
        assert found["range_m"]["now"] is found["range_m"]["best"] is None
        assert found["why"]["power_w"]["source"] == "battery 1"
        assert sources(found, "source_silent") == ["battery 1"]
        daemon.process.kill()
        daemon.process.wait()
        daemon.process.returncode = 0  # the end of the block expects a daemon that ended by itself

    with started(tmp_path) as daemon:
        # The trip continues, and the pack is still reported as missing.
        found = craft.ride(daemon, 20, 0)
        found = daemon.snapshot_when(lambda one: (one["trip"]["elapsed_s"] or 0.0) > 190)
        assert [found[key] for key in KNOWN] == [None, None]
        assert sources(found, "source_silent") == ["battery 1"]
        assert sources(found, "source_brief") == ["battery 5"]
        assert unplugged(daemon, "battery 1")["ok"]
        before = craft.ride(daemon, 40, 0)
        assert before["power_w"] == pytest.approx(500.0)
        assert before["range_m"]["now"] is not None
        assert sources(before, "source_silent") == []
        energy_wh = (1000 * 99.5 + 500 * 140) / 3600
        assert before["trip"]["energy_wh"]["value"] == pytest.approx(energy_wh, rel=0.01)

    with started(tmp_path) as daemon:
        # The mark is applied again.
        craft.ride(daemon, 20, 0)
        found = daemon.snapshot_when(lambda one: (one["trip"]["elapsed_s"] or 0.0) > 250)
        assert found["power_w"] == pytest.approx(500.0)
        assert sources(found, "source_silent") == []
        energy_wh += 500 * 20 / 3600
        assert found["trip"]["energy_wh"]["value"] == pytest.approx(energy_wh, rel=0.01)
