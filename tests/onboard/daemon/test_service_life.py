"""The daemon over its life, as a real process: kills, commands, reloads, and what it sends."""

import contextlib
import json
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pymavlink.dialects.v20.all as dialect
import pytest

from groundside.reports.review.summary import review
from onboard.contract.codec import plain
from onboard.profile import load_profile
from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.craft.telemetry_log import log_frames
from tests.daemon_process import Daemon
from tests.patience import PATIENCE_S
from tests.udp_queue import Outlet

pytestmark = pytest.mark.slow

LOGS = Path(__file__).parents[3] / "replay_logs"
CRAFT = LOGS / "harbour_loop.toml"
FRAMES = [frame.data for frame in log_frames(LOGS / "harbour_loop.tlog")]
HALF = len(FRAMES) // 2


class Autopilot:
    """Sends frames to a daemon's UDP link, and records the answers."""

    def __init__(self, port: int) -> None:
        self._outlet = Outlet(port)
        self._outlet.socket.setblocking(False)
        self.heard = b""

    def __enter__(self) -> "Autopilot":
        return self

    def __exit__(self, *_: object) -> None:
        self._outlet.socket.close()

    def send(self, frames: list[bytes]) -> None:
        for n, frame in enumerate(frames):
            self._outlet.send(frame)
            if n % 40 == 0:
                self.listen()

    def listen(self) -> None:
        with contextlib.suppress(BlockingIOError, ConnectionRefusedError):
            while data := self._outlet.socket.recv(65_536):
                self.heard += data


@contextlib.contextmanager
def running(folder: Path, *more: str) -> Iterator[tuple[Daemon, Autopilot]]:
    options = ("--link", "udpin:127.0.0.1:0", "--profile", str(CRAFT), "--record", str(folder))
    with Daemon(*options, *more) as daemon, Autopilot(daemon.port("link udpin")) as autopilot:
        yield daemon, autopilot


def has(count: int):
    return lambda snapshot: snapshot["link"]["messages"] >= count


def sessions(folder: Path) -> list[Path]:
    return sorted((one.parent for one in folder.glob("*/" + RECORD_NAME)), key=lambda p: p.name)


def on_card(folder: Path) -> int:
    """Return the size of the newest record [bytes]."""
    return (sessions(folder)[-1] / RECORD_NAME).stat().st_size


def test_a_trip_survives_a_kill_whole(tmp_path: Path) -> None:
    whole = plain(review(LOGS / "harbour_loop.tlog", load_profile(CRAFT)).trip)
    options = ("--link", "udpin:127.0.0.1:0", "--profile", str(CRAFT), "--record", str(tmp_path))
    first = Daemon(*options)
    with Autopilot(first.port("link udpin")) as autopilot:
        autopilot.send(FRAMES[:HALF])
    first.snapshot_when(has(HALF))
    assert first.send_command(kind="set", key="target_distance_m", value=9000)["ok"]
    end_s = time.monotonic() + PATIENCE_S
    while (size := sum(8 + len(frame) for frame in FRAMES[:HALF])) > on_card(tmp_path):
        assert time.monotonic() < end_s, size
        time.sleep(0.02)
    first.process.send_signal(signal.SIGKILL)
    first.process.communicate()
    with running(tmp_path) as (daemon, autopilot):
        autopilot.send(FRAMES[HALF:])
        snapshot = daemon.snapshot_when(has(len(FRAMES)))
        # The target was set before the kill; the distance made since then counts.
        assert snapshot["target"]["distance_m"] < 9000
    for key in ("energy_wh", "distance_m"):
        assert snapshot["trip"][key]["value"] == pytest.approx(whole[key]["value"], rel=2e-3), key
    assert snapshot["trip"]["elapsed_s"] == pytest.approx(whole["elapsed_s"], abs=2)
    earlier, later = sessions(tmp_path)
    note = json.loads((later / "session.json").read_text())
    assert note["continues"] == earlier.name
    assert (
        json.loads((earlier / "session.json").read_text())["note"] == "ended without being closed"
    )


def test_an_earlier_trip_is_not_continued(tmp_path: Path) -> None:
    with running(tmp_path) as (daemon, autopilot):
        autopilot.send(FRAMES[HALF:])
        daemon.snapshot_when(has(len(FRAMES) - HALF))
    with running(tmp_path) as (daemon, autopilot):
        # The autopilot has restarted since: its boot clock is behind.
        autopilot.send(FRAMES[:HALF])
        snapshot = daemon.snapshot_when(lambda one: has(HALF)(one) and one["link"]["age_s"] > 2.0)
        assert snapshot["link"]["messages"] == HALF
    assert json.loads((sessions(tmp_path)[-1] / "session.json").read_text())["continues"] is None


def test_a_new_trip_begins_a_session_and_counts_from_zero(tmp_path: Path) -> None:
    with running(tmp_path) as (daemon, autopilot):
        autopilot.send(FRAMES[:HALF])
        before = daemon.snapshot_when(has(HALF))["trip"]["energy_wh"]["value"]
        assert daemon.send_command(kind="set", key="setup", value="small propeller")["ok"]
        assert daemon.send_command(kind="mark", mark="new_trip", text="")["ok"]
        autopilot.send(FRAMES[HALF:])
        snapshot = daemon.snapshot_when(has(len(FRAMES) - HALF))
        assert 0 < snapshot["trip"]["energy_wh"]["value"] < 1.4 * before
        refused = daemon.send_command(kind="set", key="reserve_fraction", value=2)
        assert not refused["ok"]
        assert refused["why"] == {
            "code": "not_allowed", "key": "value", "given": "2", "of": "reserve_fraction",
        }  # fmt: skip
    first, second = sessions(tmp_path)
    marks = [json.loads(line) for line in (second / "marks.jsonl").read_text().splitlines()]
    assert ("setup", "small propeller") in {(one.get("key"), one.get("value")) for one in marks}
    assert (first / "marks.jsonl").exists()


def test_sighup_reloads_the_profile_and_a_faulty_one_changes_nothing(tmp_path: Path) -> None:
    profile = tmp_path / "craft.toml"
    profile.write_text(CRAFT.read_text())
    with running(tmp_path / "s", "--profile", str(profile)) as (daemon, autopilot):
        autopilot.send(FRAMES)
        before = daemon.snapshot_when(has(len(FRAMES)))
        profile.write_text(CRAFT.read_text() + "\n[sensors]\ncurrent_scale = 1.2\n")
        daemon.process.send_signal(signal.SIGHUP)
        energy = before["trip"]["energy_wh"]["value"]
        after = daemon.snapshot_when(lambda s: s["trip"]["energy_wh"]["value"] > 1.15 * energy)
        assert after["trip"]["energy_wh"]["value"] == pytest.approx(1.2 * energy, rel=1e-6)
        assert after["trip"]["distance_m"] == before["trip"]["distance_m"]
        profile.write_text("[battery]\ncells = 0\n")
        daemon.process.send_signal(signal.SIGHUP)
        time.sleep(1.0)
        assert next(daemon.snapshots())["trip"]["energy_wh"] == after["trip"]["energy_wh"]


def decoded(data: bytes) -> list[Any]:
    link = dialect.MAVLink(None)
    link.robust_parsing = True
    return link.parse_buffer(data) or []


def test_it_sends_only_a_heartbeat_and_requests(tmp_path: Path) -> None:
    with running(tmp_path) as (_, autopilot):
        # Only a heartbeat per second arrives, so all needed messages are requested.
        beats = [frame for frame in FRAMES if int.from_bytes(frame[7:10], "little") == 0]
        # Choosing a craft that sends so little takes 3 s; the next heartbeat has its address.
        answers: list[str] = []
        for frame in beats:
            autopilot.send([frame])
            time.sleep(0.5)
            autopilot.listen()
            answers = [message.get_type() for message in decoded(autopilot.heard)]
            if answers.count("HEARTBEAT") >= 3 and {*answers} > {"HEARTBEAT"}:
                break
    sent = decoded(autopilot.heard)
    assert answers.count("HEARTBEAT") >= 3
    asked = [message for message in sent if message.get_type() != "HEARTBEAT"]
    assert asked
    for message in asked:
        assert message.get_type() in ("COMMAND_LONG", "REQUEST_DATA_STREAM")
        assert (message.target_system, message.target_component) == (1, 1)
        if message.get_type() == "COMMAND_LONG":
            assert message.command == dialect.MAV_CMD_SET_MESSAGE_INTERVAL
    for message in sent:
        if message.get_type() == "HEARTBEAT":
            assert message.type == dialect.MAV_TYPE_ONBOARD_CONTROLLER
            assert message.autopilot == dialect.MAV_AUTOPILOT_INVALID


def test_listen_only_sends_nothing_at_all(tmp_path: Path) -> None:
    profile = tmp_path / "craft.toml"
    profile.write_text("[link]\nlisten_only = true\n")
    with running(tmp_path / "s", "--profile", str(profile)) as (daemon, autopilot):
        autopilot.send(FRAMES[:500])
        daemon.snapshot_when(has(500))
        time.sleep(2.5)
        autopilot.listen()
    assert autopilot.heard == b""


def test_with_a_key_unsigned_frames_are_refused_counted_and_not_recorded(tmp_path: Path) -> None:
    key = bytes(range(32))
    profile = tmp_path / "craft.toml"
    profile.write_text(f'[link]\nsigning_key = "{key.hex()}"\n')
    sender = dialect.MAVLink(None, srcSystem=1, srcComponent=1)
    sender.signing.secret_key, sender.signing.sign_outgoing = key, True
    sender.signing.timestamp = 34_399_320_012_345
    signed = [
        dialect.MAVLink_attitude_message(1000 * n, 0, 0, 1, 0, 0, 0).pack(sender) for n in range(50)
    ]
    with running(tmp_path / "s", "--profile", str(profile)) as (daemon, autopilot):
        autopilot.send(FRAMES[:100] + signed)
        snapshot = daemon.snapshot_when(has(50))
        assert snapshot["link"]["messages"] == 50
        (alert,) = (one for one in snapshot["alerts"] if one["code"] == "frames_refused")
        assert alert["unsigned"] == 100
    (session,) = sessions(tmp_path / "s")
    assert (session / RECORD_NAME).stat().st_size == sum(8 + len(frame) for frame in signed)
    assert key.hex() not in (session / "profile.toml").read_text()


def test_a_silent_link_is_an_alert_within_a_little_over_two_seconds(tmp_path: Path) -> None:
    with running(tmp_path) as (daemon, autopilot):
        autopilot.send(FRAMES[:300])
        daemon.snapshot_when(has(300))
        began, cpu_wait_s = time.monotonic(), daemon.cpu_wait_s()
        codes = lambda snapshot: {alert["code"] for alert in snapshot["alerts"]}  # noqa: E731
        daemon.snapshot_when(lambda snapshot: "link_silent" in codes(snapshot))
        took_s = time.monotonic() - began
        assert took_s - (daemon.cpu_wait_s() - cpu_wait_s) < 2.8
        autopilot.send(FRAMES[300:400])
        daemon.snapshot_when(lambda snapshot: "link_silent" not in codes(snapshot))
