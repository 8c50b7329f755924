"""From a connection string of `--link` to an open link."""

from pathlib import Path

from onboard.errors import UsageError
from onboard.telemetry.link.base import Link
from onboard.telemetry.link.log_file import LogFileLink
from onboard.telemetry.link.serial_port import SerialLink
from onboard.telemetry.link.tcp import TcpLink
from onboard.telemetry.link.udp import UdpLink

EXPECTED = (
    "expected udpin:HOST:PORT, tcp:HOST:PORT, file:PATH or a serial device such as /dev/ttyAMA0"
)


def open_link(connection: str, baud: int) -> Link:
    """Open a link.

    Parameters
    ----------
    connection
        `udpin:HOST:PORT` (or `udp:`), `tcp:HOST:PORT`, `file:PATH`, or a serial device's path.
    baud
        Speed of a serial device [baud].

    Raises
    ------
    UsageError
        If the connection string is none of these.
    LinkError
        If it cannot be opened.
    """
    kind, colon, rest = connection.partition(":")
    if kind in ("udpin", "udp") and colon:
        return UdpLink(*_address(connection, rest))
    if kind == "tcp" and colon:
        return TcpLink(*_address(connection, rest))
    if kind == "file" and rest:
        return LogFileLink(Path(rest))
    if connection.startswith("/"):
        return SerialLink(connection, baud)
    raise UsageError(f"--link {connection}: {EXPECTED}")


def _address(connection: str, rest: str) -> tuple[str, int]:
    host, _, port = rest.rpartition(":")
    if not host or not (port.isdecimal() and len(port) <= len("65535") and int(port) <= 65535):
        raise UsageError(f"--link {connection}: {EXPECTED}")
    return host, int(port)
