"""A link over a serial port, or a device that behaves like one."""

import os
import termios

import serial

from onboard.errors import LinkError
from onboard.telemetry.link.base import DescriptorLink, Part

READ_MOST_BYTES = 65_536


class SerialLink(DescriptorLink):
    """A serial device.

    Parameters
    ----------
    device
        Its path, such as /dev/ttyAMA0, or a persistent one below /dev/serial/by-id/.
    baud
        Its speed [baud].

    Raises
    ------
    LinkError
        If it is missing or cannot be opened.
    """

    # Exceptions that an unplugged or unsuitable device may raise.
    faults = (serial.SerialException, OSError, termios.error, ValueError, TypeError)

    def __init__(self, device: str, baud: int) -> None:
        try:
            port = self._port = serial.Serial(device, baud, timeout=0, exclusive=True)
        except self.faults as problem:
            text, number = f"{device}: {self.cause(problem)}", getattr(problem, "errno", None)
            raise LinkError(text, device, "cannot_open", number) from None
        # Not the port's own write, which without a timeout retries a full buffer for ever.
        super().__init__(device, lambda data: os.write(port.fileno(), data), port.close)

    def receive(self, timeout_s: float) -> list[Part]:
        """Return the bytes that are there."""
        self._port.timeout = timeout_s
        first: bytes = self._port.read(1)
        if not first:
            return []
        self._port.timeout = 0
        rest: bytes = self._port.read(READ_MOST_BYTES)
        return [Part(first + rest)]

    def cause(self, problem: Exception) -> str:
        """Return the system's error in words, with the remedy."""
        number = getattr(problem, "errno", None)
        if number == 2:
            return "no such serial device: is it plugged in, and is the name right?"
        if number == 13:
            return (
                "no permission to open it: add your user to the group that owns it (often dialout)"
            )
        return f"cannot be used as a serial port ({problem})"
