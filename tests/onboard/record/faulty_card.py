"""A recorder's surroundings in tests: a card that fails on demand, and a stream to record."""

import errno
import os
import threading
from pathlib import Path

import pytest

from onboard.record.recorder import Recorder
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.logs.telemetry_log import read_log
from onboard.telemetry.mavlink.frames import Frames
from tests.small_streams import Sender

START_US = 1_750_000_000_000_000
TICK_US = 200_000


class Card:
    """A file system between the recorder and the real one, which fails on demand."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.room: int | None = None
        self.write_error = errno.ENOSPC
        self.cut_fails = self.sync_fails = False
        self.answers = threading.Event()
        self.answers.set()
        self.appends = self.syncs = 0
        self._pwrite, self._cut, self._sync = os.pwrite, os.ftruncate, os.fdatasync
        monkeypatch.setattr(os, "pwrite", self.pwrite)
        monkeypatch.setattr(os, "ftruncate", self.ftruncate)
        monkeypatch.setattr(os, "fdatasync", self.fdatasync)

    def pwrite(self, descriptor: int, data, place: int) -> int:
        self.appends += 1
        if self.room is not None:
            data = data[: self.room]
            if not data:
                raise OSError(self.write_error, os.strerror(self.write_error))
            self.room -= len(data)
        return self._pwrite(descriptor, data, place)

    def ftruncate(self, descriptor: int, size: int) -> None:
        if self.cut_fails:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        self._cut(descriptor, size)

    def fdatasync(self, descriptor: int) -> None:
        self.syncs += 1
        self.answers.wait(20)
        if self.sync_fails:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        self._sync(descriptor)


class Stream:
    """Ticks of the service, with some messages each, written to a recorder."""

    def __init__(self, recorder: Recorder) -> None:
        self.recorder = recorder
        self.scanner, self.sender = LinkScanner(), Sender()
        self.sent: list[bytes] = []
        self.now_us = START_US

    def frames(self, count: int) -> Frames:
        new = [self.sender.attitude(len(self.sent) + n) for n in range(count)]
        self.sent += new
        return self.scanner.push([(self.now_us, b"".join(new))])

    def tick(self, times: int = 1, count: int = 3, wait: bool = True) -> None:
        for _ in range(times):
            self.now_us += TICK_US
            self.recorder.write(self.frames(count), self.now_us)
            if wait:
                assert self.recorder.wait_idle()


def spans(folder: Path) -> list[bytes]:
    """Return the frames of a record that contains nothing else."""
    parts = list(read_log(folder))
    assert sum(part.bad_bytes for part in parts) == 0
    return [
        part.data[at : at + size].tobytes()
        for part in parts
        for at, size in zip(part.marker.tolist(), part.size.tolist(), strict=True)
    ]
