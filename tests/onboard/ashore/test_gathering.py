"""Facts gathered over simulated links, on a simulated clock."""

import socket
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from onboard.ashore import gathering
from onboard.ashore.daemon_feed import DaemonFeed, probe
from onboard.ashore.facts import PairingFacts, Port
from onboard.ashore.findings import CheckVerdict
from onboard.ashore.gathering import (
    BoardClocks,
    disk_facts,
    gather,
    pairing_facts,
    same_link,
)
from onboard.ashore.report import FIRST, as_dict, as_lines, judge
from onboard.contract.codec import as_line
from onboard.contract.figure import Unknown
from onboard.contract.messages import Hello
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import unknown_snapshot
from onboard.crew.door import DoorSettings
from onboard.crew.keys import identity_path
from onboard.daemon.run_settings import Settings
from onboard.errors import LinkEndedError, LinkError, UsageError
from onboard.profile import parse_profile
from onboard.telemetry.link.base import Part
from tests.onboard.crew.doors import member, paired_folder
from tests.patience import PATIENCE_S
from tests.small_streams import GROUND_STATION, INVALID, Sender

PROFILE = parse_profile(
    "[craft]\nname = 'skiff'\n[battery]\nchemistry = 'li-ion'\ncells = 14\ncapacity_ah = 23.5\n"
)
START_US = 1_764_063_600_000_000


class Played:
    """A link that yields a second of telemetry per second, on a clock advanced by its reads."""

    def __init__(self, seconds: list[bytes | Exception]) -> None:
        self.name = "udpin:127.0.0.1:14550"
        self.now_s = 50.0
        self.closed = False
        self._due = [(50.0 + n, data) for n, data in enumerate(seconds)]

    def read(self, timeout_s: float) -> list[Part]:
        assert timeout_s >= 0
        if self._due and self._due[0][0] <= self.now_s:
            _, data = self._due.pop(0)
            if isinstance(data, Exception):
                raise data
            return [Part(data)]
        self.now_s += max(timeout_s, 1e-3)
        return []

    def write(self, data: bytes) -> None:
        raise AssertionError("the check sends nothing")

    def close(self) -> None:
        self.closed = True

    @property
    def clocks(self) -> BoardClocks:
        return BoardClocks(lambda: self.now_s, lambda: START_US + round(self.now_s * 1e6))


def telemetry(seconds: int, sender: Sender | None = None, **changes) -> list[bytes]:
    sender = sender or Sender()
    values = {"volts": 58.4, "amps": 0.1, "speed": 0.05, **changes}
    return [b"".join(sender.second(100 + n, **values)) for n in range(seconds)]


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(
        profile=PROFILE,
        profile_path=Path("craft.toml"),
        connection="udpin:127.0.0.1:14550",
        baud=57600,
        system_id=None,
        listen=("127.0.0.1", 0),
        record=tmp_path / "new" / "sessions",
    )


@pytest.fixture
def play(monkeypatch):
    def begin(link: Played) -> BoardClocks:
        monkeypatch.setattr(gathering, "open_link", lambda connection, baud: link)
        return link.clocks

    return begin


def test_a_craft_at_rest_gives_its_facts(settings: Settings, play) -> None:
    link = Played(telemetry(30))
    facts = gather(settings, clocks=play(link))
    assert link.closed
    assert facts.link.seconds_s == pytest.approx(10.0, abs=0.3)
    assert facts.link.problem is None
    assert facts.link.messages == 10 * 7
    assert facts.link.received_bytes == sum(map(len, telemetry(10)))
    assert facts.link.bad_bytes == facts.link.lost == 0
    assert facts.autopilot.system_id == 1
    assert facts.autopilot.others == ()
    assert facts.autopilot.armed is True  # as the sender says
    assert facts.fix.fix == 3.0
    assert facts.fix.satellites == 12.0
    assert set(facts.fix.speeds_mps) == {0.05}
    assert set(facts.power.amps_a) == {0.1}
    assert set(facts.power.volts_v) == {58.4}
    assert facts.clock.autopilot_s is None
    assert facts.disk.folder == settings.record
    assert not settings.record.exists()
    assert facts.disk.writable
    # Eight bytes of stamp per message.
    expected = (facts.link.received_bytes + 8 * facts.link.messages) / facts.link.seconds_s
    assert facts.disk.bytes_per_s == pytest.approx(expected)
    verdicts = {one.name: one.verdict for one in judge(facts)}
    looks = {"autopilot", "clock"}
    assert verdicts == {
        name: CheckVerdict.LOOK if name in looks else CheckVerdict.OK for name in verdicts
    }
    assert list(verdicts)[:3] == ["link", "autopilot", "fix"]


def test_silence_garbage_and_a_lone_ground_station_differ(settings: Settings, play) -> None:
    silent = judge(gather(settings, clocks=play(Played([]))))
    assert "nothing came in 10 s" in silent[0].text
    assert [one.verdict for one in silent].count(CheckVerdict.BAD) == 1
    noise = judge(gather(settings, clocks=play(Played([b"\x55\xaa\x13" * 50] * 20))))
    assert "no MAVLink message" in noise[0].text
    station = Sender(255, 190)
    beats = [station.heartbeat(GROUND_STATION, INVALID)] * 20
    alone = judge(gather(settings, clocks=play(Played(beats))))
    assert alone[1].verdict is CheckVerdict.BAD
    assert "HEARTBEAT" in alone[1].text


def test_another_craft_on_the_link_is_named(settings: Settings, play) -> None:
    ours, theirs = telemetry(20), telemetry(20, Sender(7))
    both = [a + b[: len(b) // 2] for a, b in zip(ours, theirs, strict=True)]
    facts = gather(settings, clocks=play(Played(both)))
    assert (facts.autopilot.system_id, facts.autopilot.others) == (1, (7,))
    facts = gather(replace(settings, system_id=7), clocks=play(Played(both)))
    assert (facts.autopilot.system_id, facts.autopilot.others) == (7, (1,))


def test_unknown_instruments_stay_unknown(settings: Settings, play) -> None:
    sender = Sender()
    unknown = [
        b"".join([sender.heartbeat(), sender.attitude(n + 1.0), sender.sys_status(65.535, -0.01)])
        for n in range(20)
    ]
    facts = gather(settings, clocks=play(Played(unknown)))
    assert facts.power.amps_a == facts.power.volts_v == ()
    assert facts.fix.fix is None
    found = {one.name: one for one in judge(facts)}
    assert [found[name].verdict for name in ("fix", "current", "voltage")] == [CheckVerdict.BAD] * 3
    assert "GPS_RAW_INT" in found["fix"].text


def test_a_link_that_breaks_or_ends_while_listening(settings: Settings, play) -> None:
    broken = Played([*telemetry(3), LinkError("/dev/x: gone")])
    facts = gather(settings, clocks=play(broken))
    assert facts.link.problem == "/dev/x: gone"
    assert facts.link.messages == 21
    assert judge(facts)[0].verdict is CheckVerdict.BAD
    ended = Played([*telemetry(3), LinkEndedError("file:x: played to its end")])
    facts = gather(settings, clocks=play(ended))
    assert facts.link.problem is None
    assert facts.link.seconds_s == pytest.approx(3.0, abs=0.3)
    assert facts.autopilot.system_id == 1


def test_the_autopilots_clock_is_compared_with_the_boards(settings: Settings, play) -> None:
    import pymavlink.dialects.v20.all as dialect

    sender = Sender()
    seconds = []
    for n, data in enumerate(telemetry(20, sender)):
        utc_us = START_US + (50 + n) * 1_000_000 - 7_200_000_000
        stamp = dialect.MAVLink_system_time_message(utc_us, (100 + n) * 1000)
        seconds.append(data + sender.pack(stamp))
    facts = gather(settings, clocks=play(Played(seconds)))
    assert facts.clock.autopilot_s is not None
    assert facts.clock.board_s - facts.clock.autopilot_s == pytest.approx(7200.0, abs=1.5)


def test_an_unavailable_link_is_a_finding_and_a_malformed_one_an_error(
    settings: Settings, tmp_path: Path
) -> None:
    facts = gather(replace(settings, connection="/dev/nosuch"))
    assert "no such serial device" in judge(facts)[0].text
    with pytest.raises(UsageError):
        gather(replace(settings, connection="nonsense"))
    with pytest.raises(LinkError):
        gather(replace(settings, connection=f"file:{tmp_path / 'no.tlog'}"))


def test_the_folder_of_the_records(settings: Settings, tmp_path: Path, monkeypatch) -> None:
    file = tmp_path / "file"
    file.write_text("")
    assert disk_facts(file / "sessions").problem == f"{file} is no folder"
    assert disk_facts(None).folder is None
    monkeypatch.setattr(gathering.os, "access", lambda path, mode: False)
    assert disk_facts(tmp_path).writable is False


class Server:
    """A server that sends the same lines to everybody who connects."""

    def __init__(self, *lines: bytes) -> None:
        self.inlet = socket.create_server(("127.0.0.1", 0))
        self.port = self.inlet.getsockname()[1]
        self._lines = lines
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self) -> "Server":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.inlet.shutdown(socket.SHUT_RDWR)
        self.inlet.close()
        self._thread.join(PATIENCE_S)

    def _serve(self) -> None:
        while True:
            try:
                viewer, _ = self.inlet.accept()
            except OSError:
                return
            with viewer:
                viewer.sendall(b"".join(self._lines))


HELLO = as_line(Hello("skiff", 5.0))


def snapshot(n: int, source: str) -> bytes:
    nothing = unknown_snapshot(Unknown(Reason.NO_FIX), source)
    counts = {"messages": 100 + 50 * n, "bad_bytes": 3, "lost": n, "system_id": 4}
    return as_line(
        replace(
            nothing,
            utc="2025-11-25T09:40:00.2Z",
            amps_a=0.25,
            volts_v=57.0,
            position_deg=(45.0, -30.0),
            link=replace(nothing.link, **counts),
        )
    )


def test_a_busy_link_is_judged_by_its_daemons_snapshots(settings: Settings) -> None:
    with socket.socket(type=socket.SOCK_DGRAM) as holder:
        holder.bind(("127.0.0.1", 0))
        connection = f"udpin:127.0.0.1:{holder.getsockname()[1]}"
        said = [HELLO, b"{broken\n", b'{"kind": "ack"}\n']
        said += [snapshot(n, connection) for n in range(5)]
        with Server(*said) as server:
            busy = replace(settings, connection=connection, listen=("127.0.0.1", server.port))
            facts = gather(busy)
            other = gather(replace(busy, connection="/dev/nosuch"))
    assert facts.link.asked_daemon
    assert facts.link.messages == 50 * 4
    assert facts.link.lost == 4
    assert facts.link.received_bytes is None
    assert facts.autopilot.system_id == 4
    assert facts.autopilot.armed is None
    assert facts.power.amps_a == (0.25,) * 5
    assert facts.fix.speeds_mps == ()
    assert facts.fix.why_no_speed == "the GPS has no fix"
    assert facts.clock.autopilot_s == pytest.approx(1_764_063_600.2)
    assert (facts.feed.used_by, facts.feed.craft) == (Port.OURS, "skiff")
    # A daemon that listens elsewhere says nothing about this link.
    assert not other.link.asked_daemon
    assert other.link.problem is not None


def test_use_of_the_port() -> None:
    clock = Played([]).clocks.clock_s
    with Server(b"220 something else\r\n") as server:
        assert probe("127.0.0.1", server.port, clock).used_by is Port.OTHER
        assert probe("0.0.0.0", server.port, clock).used_by is Port.OTHER
    assert probe("127.0.0.1", server.port, clock).used_by is Port.FREE
    assert probe("no host", 1, clock).used_by is Port.REFUSED
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))  # in use, though it does not listen
        held = probe("127.0.0.1", bound.getsockname()[1], clock)
    assert (held.used_by, held.problem) == (Port.REFUSED, "address already in use")
    assert probe("127.0.0.1", 0, clock).used_by is Port.FREE


def test_a_line_without_an_end_does_not_fill_the_memory() -> None:
    with (
        Server(HELLO, b"x" * 3_000_000) as server,
        DaemonFeed("127.0.0.1", server.port, Played([]).clocks.clock_s) as feed,
    ):
        assert feed.hello
        assert feed.snapshots(1.0) == []
        assert feed.lines.pending_bytes <= 1 << 20


def test_links_are_compared_by_their_targets(tmp_path: Path) -> None:
    device, name = tmp_path / "ttyX", tmp_path / "by-id"
    device.write_text("")
    name.symlink_to(device)
    assert same_link(str(device), str(name))
    assert same_link("udp:0.0.0.0:1", "udpin:0.0.0.0:1")
    assert not same_link("udpin:0.0.0.0:1", "udpin:0.0.0.0:2")


def test_lines_fit_the_terminal_and_units_stay_with_their_numbers(settings: Settings, play) -> None:
    findings = judge(gather(settings, clocks=play(Played(telemetry(20)))))
    for width in (40, 80):
        lines = as_lines(findings, width)
        assert max(map(len, lines)) <= width
        assert not any(line.strip().startswith(("%", "m/s", "kB/s", "V,")) for line in lines)
        assert "\N{NO-BREAK SPACE}" not in "".join(lines)
    assert len(FIRST) <= 80
    assert lines[0].startswith("OK    link       udpin:")
    assert lines[-1].startswith("Nothing is in the way")
    assert any("sensors.current_offset_a = -0.1" in line for line in as_lines(findings, 40))


def test_json_has_each_finding(settings: Settings, play) -> None:
    facts = gather(settings, clocks=play(Played(telemetry(20))))
    told = as_dict(facts, judge(facts))
    assert told["verdict"] == "look"
    assert told["findings"][0]["name"] == "link"
    assert {one["verdict"] for one in told["findings"]} == {"ok", "look"}
    assert "propeller off" in told["first"]


def test_a_short_check_of_a_slow_link_still_chooses_and_reads(settings: Settings, play) -> None:
    """Two seconds are too short for the daemon to choose a craft, but not for the check."""
    facts = gather(settings, 2.0, play(Played(telemetry(2))))
    assert facts.autopilot.system_id == 1
    assert facts.power.amps_a
    assert facts.fix.fix == 3.0


def test_members_and_exposed_files(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    member(folder, "phone", "viewer")

    def facts() -> PairingFacts:
        return pairing_facts(folder, DoorSettings("0.0.0.0", 27222, folder, "skiff"))

    found = facts()
    assert found == PairingFacts(True, "0.0.0.0:27222", ("phone (viewer)",))
    identity_path(folder).chmod(0o644)
    assert facts().exposed == (str(identity_path(folder)),)
    identity_path(folder).write_text("x")
    assert "cannot be read" in (facts().problem or "")
    assert pairing_facts(tmp_path / "elsewhere", None) == PairingFacts()
