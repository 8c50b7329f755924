"""Sends a telemetry log as MAVLink datagrams to a UDP port on this machine."""

import asyncio
import socket
from pathlib import Path

from groundside.replay.pacing import Pacing
from onboard.telemetry.logs.cursors import FrameCursor
from onboard.telemetry.mavlink.frames import Frames

TICK_S = 0.02

DATAGRAM_BYTES = 1400
"""Size to which frames are packed into a datagram [bytes], as telemetry routers do; fits into an
Ethernet frame."""


class LogSender:
    """Sends a log's frames, unaltered, at a chosen pace.

    Parameters
    ----------
    path
        The log.
    pacing
        The pace.
    address
        Host and port to send to.
    """

    def __init__(self, path: Path, pacing: Pacing, address: tuple[str, int]) -> None:
        self._cursor = FrameCursor(path)
        self._pacing = pacing
        self._address = address
        self.sent = 0
        """Frames sent so far."""

    async def run(self) -> None:
        """Send until the log ends."""
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outlet:
            while not self._cursor.ended:
                for frames in self._cursor.upto(self._pacing.place_s()):
                    for datagram in _datagrams(frames):
                        outlet.sendto(datagram, self._address)
                    self.sent += len(frames)
                await asyncio.sleep(TICK_S)


def _datagrams(frames: Frames) -> list[bytes]:
    data = frames.data.tobytes()
    datagrams, current = [], b""
    for at, size in zip(frames.marker.tolist(), frames.size.tolist(), strict=True):
        if len(current) + size > DATAGRAM_BYTES:
            datagrams.append(current)
            current = b""
        current += data[at : at + size]
    return [*datagrams, current] if current else datagrams
