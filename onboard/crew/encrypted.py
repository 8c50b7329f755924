"""An accepted connection made an encrypted one, with sight of what waits below the encryption."""

import asyncio
import socket
import ssl
from dataclasses import dataclass
from typing import cast

READ_LIMIT_BYTES = 4096
"""What is held of a viewer that says more than is taken."""
CLOSE_S = 2.0


@dataclass(frozen=True, eq=False)
class Hand:
    """An encrypted connection; `below` is what it writes to."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    below: asyncio.Transport

    def drop(self) -> None:
        """End it at once, whatever waits."""
        self.writer.transport.abort()
        self.below.abort()


class _Held(asyncio.Protocol):
    """Leaves what comes where it is until the encryption can take it."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        cast(asyncio.Transport, transport).pause_reading()


class _Reading(asyncio.StreamReaderProtocol):
    def eof_received(self) -> bool:
        # An encrypted connection has no open half.
        super().eof_received()
        return False


async def encrypted(connection: socket.socket, context: ssl.SSLContext, within_s: float) -> Hand:
    """Shake hands as the server.

    Parameters
    ----------
    connection
        Accepted, not blocking; it is closed where this fails.
    context
        The key.
    within_s
        How long the other side may take [s].

    Raises
    ------
    OSError
        If the other side does not, or takes too long.
    """
    loop = asyncio.get_running_loop()
    try:
        below, _ = await loop.connect_accepted_socket(_Held, connection)
    except BaseException:
        connection.close()
        raise
    reader = asyncio.StreamReader(limit=READ_LIMIT_BYTES)
    protocol = _Reading(reader)
    try:
        secure = await loop.start_tls(
            below,
            protocol,
            context,
            server_side=True,
            ssl_handshake_timeout=within_s,
            ssl_shutdown_timeout=CLOSE_S,
        )
    except BaseException:
        below.abort()
        raise
    if secure is None:  # it broke off within the handshake
        raise ConnectionAbortedError
    protocol.connection_made(secure)
    return Hand(reader, asyncio.StreamWriter(secure, protocol, reader, loop), below)
