"""Ports of this machine for tests."""

import socket


def free_port(kind: int = socket.SOCK_STREAM) -> int:
    """Return a port of the loopback address that is free now, for TCP or SOCK_DGRAM."""
    with socket.socket(type=kind) as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port
