"""Ports for servers that tests start."""

import socket


def free_port(kind: int = socket.SOCK_STREAM) -> int:
    """Return a local port on which nothing listens."""
    with socket.socket(type=kind) as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])
