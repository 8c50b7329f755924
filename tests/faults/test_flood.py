"""Junk on the link's port costs less than frames, loses no good frame and is not answered.

The cost is the daemon's own CPU time, compared with that of plain frames in the same run: a
slow or busy machine is slow at both.
"""

import contextlib
import random
import socket
from pathlib import Path

import pytest

from onboard.telemetry.logs.telemetry_log import read_log
from tests.daemon_process import Daemon
from tests.newest import latest_session
from tests.patience import PATIENCE_S
from tests.small_streams import Sender

pytestmark = pytest.mark.slow

FLOOD_BYTES, DATAGRAM_BYTES = 200_000, 1400
AT_ONCE_BYTES = 100_000
"""Bytes sent at once in such datagrams: fit into the smallest socket buffer of a system."""

FLOODS = {
    "0xFD": b"\xfd" * FLOOD_BYTES,
    "0xFE": b"\xfe" * FLOOD_BYTES,
    "random": random.Random(5).randbytes(FLOOD_BYTES),
    "headers": (b"\xfd\xff\x00\x00\x01\x01\x01\x1e\x00\x00\xfe\xff\x01" * FLOOD_BYTES)[
        :FLOOD_BYTES
    ],
    "zero": bytes(FLOOD_BYTES),
}
FRAMES, FRAMES_AT_ONCE = 3200, 400


def recorded(directory: Path, system: int) -> list[bytes]:
    """Return the frames of one system in the record."""
    session = latest_session(directory)
    assert session is not None
    found: list[bytes] = []
    for part in read_log(session):
        mine = part.where(part.system_id == system)
        for at, size in zip(mine.marker.tolist(), mine.size.tolist(), strict=True):
            found.append(part.data[at : at + size].tobytes())
    return found


def cpu_s(daemon: Daemon) -> float:
    """Return the CPU time that the daemon has used [s]."""
    # Per thread: for the whole process the resolution is only a hundredth of a second.
    threads = Path(f"/proc/{daemon.process.pid}/task").glob("*/schedstat")
    return sum(int(one.read_text().split()[0]) for one in threads) * 1e-9


class Craft(socket.socket):
    """Sends good frames from its own address, and records them."""

    def __init__(self, port: int) -> None:
        super().__init__(socket.AF_INET, socket.SOCK_DGRAM)
        self.connect(("127.0.0.1", port))
        self.sent: list[bytes] = []
        self.sender = Sender()

    def send_frames(self, count: int) -> None:
        for n in range(len(self.sent), len(self.sent) + count):
            attitude = self.sender.attitude(100 + n * 0.01)
            self.sent.append(attitude if n % 10 else self.sender.heartbeat())
            self.send(self.sent[-1])


def test_a_flood_costs_little_loses_nothing_and_is_not_answered(tmp_path: Path) -> None:
    daemon = Daemon("--link", "udpin:127.0.0.1:0", "--record", str(tmp_path))
    port = daemon.port("link udpin")
    spent_s: dict[str, float] = {}
    bad_bytes = 0
    with daemon, Craft(port) as craft, socket.socket(type=socket.SOCK_DGRAM) as stranger:
        stranger.connect(("127.0.0.1", port))
        other = Sender(system=9)

        def when(counted: str, least: int) -> None:
            daemon.snapshot_when(lambda snapshot: snapshot["link"][counted] >= least)

        # Another system sends first and last; the craft is selected, and answered.
        stranger.send(other.attitude(1.0))
        craft.send_frames(200)
        stranger.send(other.attitude(1.0))
        when("messages", 200)
        craft.send_frames(1)
        stranger.send(other.attitude(1.0))
        craft.settimeout(PATIENCE_S)
        assert craft.recv(1000)[0] == 0xFD
        before_s = cpu_s(daemon)
        for _ in range(0, FRAMES, FRAMES_AT_ONCE):
            craft.send_frames(FRAMES_AT_ONCE)
            when("messages", len(craft.sent))
        spent_s["frames"] = cpu_s(daemon) - before_s
        for name, junk in FLOODS.items():
            before_s = cpu_s(daemon)
            for at in range(0, len(junk), DATAGRAM_BYTES):
                datagram = junk[at : at + DATAGRAM_BYTES]
                stranger.send(datagram)
                craft.send_frames(1)
                bad_bytes += len(datagram)
                if at % AT_ONCE_BYTES < DATAGRAM_BYTES:
                    # Some wait for the bytes after them; a few random ones form a frame.
                    when("bad_bytes", bad_bytes - 2000)
            spent_s[name] = cpu_s(daemon) - before_s
        with Craft(port) as moved:
            moved.sent, moved.sender = craft.sent, craft.sender
            # It is answered once its old address has been silent for a while.
            moved.settimeout(0.5)
            answer = b""
            while not answer:
                moved.send_frames(1)
                with contextlib.suppress(TimeoutError):
                    answer = moved.recv(1000)
            assert answer[0] == 0xFD
        stranger.setblocking(False)
        with pytest.raises(BlockingIOError):
            stranger.recv(1000)
    print({name: f"{spent * 1e3:.0f} ms" for name, spent in spent_s.items()})
    frames_s = spent_s.pop("frames")
    frames_bytes = sum(map(len, craft.sent[201 : 201 + FRAMES]))
    assert sum(spent_s.values()) / bad_bytes < frames_s / frames_bytes
    assert recorded(tmp_path, system=1) == craft.sent
