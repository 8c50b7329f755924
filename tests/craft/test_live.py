"""Sending live."""

import os
import socket
import threading
import tty
from contextlib import closing

import pytest

from tests.craft.live import opened, play
from tests.craft.mavlink_stream import Frame, ground_station_frames
from tests.patience import PATIENCE_S

FRAMES = ground_station_frames(40.0)


class Clock:
    """A clock that only advances by sleeping, and always oversleeps."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds + 0.01


@pytest.mark.parametrize("speed", [0.5, 1.0, 8.0])
def test_oversleeping_does_not_add_up(speed: float) -> None:
    clock, sent_s = Clock(), []
    frames = [Frame(float(second), b"x") for second in range(50)]
    count = play(frames, lambda _: sent_s.append(clock.now_s - 100.0), speed, clock, clock.sleep)
    assert count == 50
    late_s = [at - frame.time_s / speed for at, frame in zip(sent_s, frames, strict=True)]
    assert all(-1e-9 <= late <= 0.0101 for late in late_s)


def test_udp_receives_each_frame_as_a_datagram() -> None:
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.settimeout(PATIENCE_S)
        with opened(f"udpout:127.0.0.1:{receiver.getsockname()[1]}") as send:
            play(FRAMES, send, speed=1e6)
        assert [receiver.recv(300) for _ in FRAMES] == [frame.data for frame in FRAMES]


def test_pseudo_terminal_receives_the_same_bytes() -> None:
    controller, device = os.openpty()
    tty.setraw(device)
    wanted = b"".join(frame.data for frame in FRAMES)
    received = bytearray()

    def collect() -> None:
        while len(received) < len(wanted):
            received.extend(os.read(controller, 4096))

    reader = threading.Thread(target=collect, daemon=True)
    reader.start()
    with opened(f"device:{os.ttyname(device)}") as send:
        play(FRAMES, send, speed=1e6)
    reader.join(PATIENCE_S)
    os.close(device)
    os.close(controller)
    assert bytes(received) == wanted


def test_pty_target_prints_a_path_that_can_be_read(capsys: pytest.CaptureFixture[str]) -> None:
    with opened("pty") as send:
        reader = os.open(capsys.readouterr().out.strip(), os.O_RDONLY | os.O_NOCTTY)
        send(FRAMES[0].data)
        assert os.read(reader, 100) == FRAMES[0].data
        os.close(reader)


def test_unknown_targets_are_refused() -> None:
    with pytest.raises(ValueError, match="expected udpout"), opened("carrier:pigeon"):
        pass
