"""Sends a stream in real time: to a UDP address, a device, or a pseudo-terminal."""

import os
import socket
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

from tests.craft.mavlink_stream import Frame

Send = Callable[[bytes], object]


@contextmanager
def opened(target: str) -> Iterator[Send]:
    """Open `udpout:HOST:PORT` or `device:PATH`; yield a function that sends a frame there.

    The target `pty` creates a pseudo-terminal, which looks like a serial port, and prints its path.
    """
    kind, _, where = target.partition(":")
    if kind == "udpout":
        host, _, port = where.rpartition(":")
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as link:
            address = (host, int(port))
            yield lambda data: link.sendto(data, address)
    elif kind in ("device", "pty"):
        hold = -1
        if kind == "pty":
            import tty

            descriptor, hold = os.openpty()
            tty.setraw(hold)
            print(os.ttyname(hold), flush=True)
        else:
            descriptor = os.open(where, os.O_WRONLY | os.O_NOCTTY)
        try:
            yield lambda data: write_all(descriptor, data)
        finally:
            os.close(descriptor)
            if hold >= 0:
                os.close(hold)
    else:
        raise ValueError(f"target = {target!r}: expected udpout:HOST:PORT, device:PATH or pty")


def write_all(descriptor: int, data: bytes) -> None:
    """Write all data: a pseudo-terminal accepts only a limited amount at once."""
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(descriptor, rest) :]


def play(
    frames: Iterable[Frame],
    send: Send,
    speed: float = 1.0,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], object] = time.sleep,
) -> int:
    """Send each frame at its time divided by `speed`; return the number sent.

    Times count from one start, so that errors of single sleeps do not accumulate.
    """
    start_s = clock()
    sent = 0
    for frame in frames:
        wait_s = start_s + frame.time_s / speed - clock()
        if wait_s > 0.0:
            sleep(wait_s)
        send(frame.data)
        sent += 1
    return sent
