"""An accepted connection turned into an encrypted one, with access to the transport below it."""

import asyncio
import socket
import ssl
from typing import cast

from onboard.dataclass import dataclass

READ_LIMIT_BYTES = 4096
"""Read buffer: a viewer that sends faster than it is read waits."""
CLOSE_S = 2.0


@dataclass(frozen=True, eq=False)
class EncryptedConnection:
    """An encrypted connection; `below` is the transport that carries it."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    below: asyncio.Transport

    def abort(self) -> None:
        """Close it at once, discarding buffered data."""
        self.writer.transport.abort()
        self.below.abort()


class _PausedProtocol(asyncio.Protocol):
    """Leave incoming bytes in the kernel until the TLS layer takes over."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        cast(asyncio.Transport, transport).pause_reading()


class _TlsReaderProtocol(asyncio.StreamReaderProtocol):
    def eof_received(self) -> bool:
        # TLS connections are never half open.
        super().eof_received()
        return False


async def accept_encrypted(
    connection: socket.socket, context: ssl.SSLContext, within_s: float
) -> EncryptedConnection:
    """Do the TLS handshake as the server.

    Parameters
    ----------
    connection
        Accepted, non-blocking; closed if this fails.
    context
        The server's context, with its key.
    within_s
        Longest handshake [s].

    Raises
    ------
    OSError
        If the handshake fails or takes too long.
    """
    loop = asyncio.get_running_loop()
    try:
        below, _ = await loop.connect_accepted_socket(_PausedProtocol, connection)
    except BaseException:
        connection.close()
        raise
    reader = asyncio.StreamReader(limit=READ_LIMIT_BYTES)
    protocol = _TlsReaderProtocol(reader)
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
    if secure is None:  # the peer broke off during the handshake
        raise ConnectionAbortedError
    protocol.connection_made(secure)
    writer = asyncio.StreamWriter(secure, protocol, reader, loop)
    return EncryptedConnection(reader, writer, below)
