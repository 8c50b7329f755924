"""A sender with a bad link, which loses, duplicates, reorders, corrupts, cuts, stalls and bursts.

Everything is drawn from a seed, so that the bytes are known before they are sent.
"""

import os
import random
import threading
import time
import tty
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.small_streams import Sender
from tests.udp_queue import Outlet

Send = Callable[[bytes], object]


@dataclass(frozen=True)
class Faults:
    """Probability of each fault per frame (0..1), and how long a stall lasts [s]."""

    drop: float = 0.0
    duplicate: float = 0.0
    reorder: float = 0.0
    corrupt: float = 0.0
    split: float = 0.0
    junk: float = 0.0
    stall: float = 0.0
    stall_s: float = 0.0


BAD = Faults(0.05, 0.03, 0.03, 0.05, 0.2, 0.02, 0.005, 0.7)


@dataclass(frozen=True)
class Chunk:
    """Bytes sent at once, and their time [s from the start]."""

    at_s: float
    data: bytes


def spoil(frames: Iterable[tuple[float, bytes]], faults: Faults, seed: int) -> Iterator[Chunk]:
    """Yield the chunks into which a bad link turns frames with their times."""
    chance = random.Random(seed)
    until_s, late = -1.0, None
    for time_s, frame in frames:
        if chance.random() < faults.stall:
            until_s = time_s + faults.stall_s
        # Frames during a stall are sent all at once at its end.
        at_s = max(time_s, until_s)
        if chance.random() < faults.drop:
            continue
        if late is None and chance.random() < faults.reorder:
            late = frame
            continue
        data = frame
        if chance.random() < faults.corrupt:
            spoilt = bytearray(frame)
            spoilt[chance.randrange(len(spoilt))] ^= 1 << chance.randrange(8)
            data = bytes(spoilt)
        if chance.random() < faults.junk:
            data += chance.randbytes(chance.randrange(1, 60))
        if chance.random() < faults.split:
            cut = chance.randrange(len(data) + 1)
            yield from (Chunk(at_s, part) for part in (data[:cut], data[cut:]) if part)
        else:
            yield Chunk(at_s, data)
        if chance.random() < faults.duplicate:
            yield Chunk(at_s, frame)
        if late is not None:
            yield Chunk(at_s, late)
            late = None


def ride(seconds: float, rate_hz: float = 20.0, utc_s: float | None = None):
    """Return messages of a ride with their times [s]; `utc_s` is the time of day they state."""
    sender = Sender()
    for n in range(round(seconds * rate_hz)):
        time_s = n / rate_hz
        frames = [
            sender.attitude(100 + time_s),
            sender.sys_status(50, 10),
            sender.gps(2.0),
            sender.position(100 + time_s, 2.0),
        ]
        if n % 20 == 0:
            frames.append(sender.heartbeat())
            if utc_s is not None:
                frames.append(sender.time_of_day(utc_s + time_s, 100 + time_s))
        yield from ((time_s, frame) for frame in frames)


def play(chunks: Iterable[Chunk], send: Send, stop: threading.Event | None = None) -> list[float]:
    """Send each chunk at its time; return the times of sending [s, monotonic]."""
    began_s, sent_s = time.monotonic(), []
    for chunk in chunks:
        ahead_s = began_s + chunk.at_s - time.monotonic()
        if ahead_s > 0:
            time.sleep(ahead_s)
        if stop is not None and stop.is_set():
            break
        sent_s.append(time.monotonic())
        send(chunk.data)
    return sent_s


@contextmanager
def udp(port: int) -> Iterator[Send]:
    """Yield a function that sends datagrams to a local port."""
    with Outlet(port) as outlet:
        yield outlet.send


class Plug:
    """A pseudo-terminal with a persistent name, as under /dev/serial/by-id.

    Parameters
    ----------
    name
        A symbolic link, which exists while the device is plugged in.
    """

    def __init__(self, name: Path) -> None:
        self.name = name
        self.devices: list[str] = []
        self._ends: tuple[int, int] | None = None
        self._holes: list[int] = []

    def plug(self) -> None:
        """Plug it in, under any device number."""
        if self.devices:
            # Occupy the lowest free number, so that the device gets another one this time.
            self._holes += os.openpty()
        ours, theirs = os.openpty()
        tty.setraw(theirs)
        self._ends = ours, theirs
        self.devices.append(os.ttyname(theirs))
        self.name.parent.mkdir(exist_ok=True)
        self.name.symlink_to(self.devices[-1])

    def unplug(self) -> None:
        """Unplug it, even while something is being sent."""
        if self._ends is not None:
            self.name.unlink()
            for end in self._ends:
                os.close(end)
            self._ends = None

    def send(self, data: bytes) -> None:
        """Write all data: a pseudo-terminal accepts only a limited amount at once."""
        assert self._ends is not None
        rest = memoryview(data)
        while rest:
            rest = rest[os.write(self._ends[0], rest) :]

    def __enter__(self) -> "Plug":
        self.plug()
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()
        for hole in self._holes:
            os.close(hole)


@contextmanager
def background(chunks: Sequence[Chunk], send: Send) -> Iterator[list[float]]:
    """Send in a thread until the block ends; yield the times at which chunks were sent."""
    stop, sent_s = threading.Event(), []

    def note(data: bytes) -> None:
        sent_s.append(time.monotonic())
        send(data)

    thread = threading.Thread(target=play, args=(chunks, note, stop))
    thread.start()
    try:
        yield sent_s
    finally:
        stop.set()
        thread.join()
