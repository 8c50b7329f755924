"""A serial port, or anything that looks like one."""

import os
import termios

import serial

from onboard.errors import LinkError
from onboard.telemetry.link.base import Part, Source, broken
from onboard.telemetry.link.outlet import Outlet

READ_MOST_BYTES = 65_536

FAULTS = (serial.SerialException, OSError, termios.error)
"""What an unplugged or unsuitable device raises, here and there."""


class SerialLink:
    """Reads a serial device, and writes to it.

    Parameters
    ----------
    device
        Its path, such as /dev/ttyAMA0, or a lasting one below /dev/serial/by-id/.
    baud
        Its speed [baud].

    Raises
    ------
    LinkError
        If it is not there or cannot be opened.
    """

    def __init__(self, device: str, baud: int) -> None:
        self.name = device
        try:
            self._port = serial.Serial(device, baud, timeout=0, exclusive=True)
        except (*FAULTS, ValueError) as problem:
            text, number = f"{device}: {_cause(problem)}", getattr(problem, "errno", None)
            raise LinkError(text, device, "cannot_open", number) from None
        # Not the port's own write: with no time to wait it tries a full buffer without end.
        self._outlet = Outlet(lambda data: os.write(self._port.fileno(), data), self._port.close)

    def read(self, timeout_s: float) -> list[Part]:
        """Return the bytes that are there; see `Link.read`."""
        try:
            self._port.timeout = timeout_s
            first: bytes = self._port.read(1)
            if not first:
                return []
            self._port.timeout = 0
            rest: bytes = self._port.read(READ_MOST_BYTES)
        except (*FAULTS, TypeError) as problem:
            raise broken(self.name, problem, _cause(problem)) from None
        return [Part(first + rest)]

    @property
    def unsent_bytes(self) -> int:
        """How many bytes were dropped: the device takes none, or takes them too slowly."""
        return self._outlet.unsent_bytes

    def write(self, data: bytes, _to: Source | None = None) -> None:
        """Send bytes; see `Link.write`."""
        try:
            self._outlet.write(data)
        except FAULTS as problem:
            raise broken(self.name, problem, _cause(problem)) from None

    def close(self) -> None:
        """Close the device."""
        self._outlet.close()


def _cause(problem: Exception) -> str:
    number = getattr(problem, "errno", None)
    if number == 2:
        return "no such serial device: is it plugged in, and is the name right?"
    if number == 13:
        return "no permission to open it: add your user to the group that owns it (often dialout)"
    return f"cannot be used as a serial port ({problem})"
