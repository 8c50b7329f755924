"""The encrypted port for other machines' browsers; limits connections until they name a member.

As at the encrypted feed (`onboard/crew`), every wait has a timeout and everything that can pile up
has a bound, so that a stranger costs the board little and logged-in members nothing.
"""

import asyncio
import logging
import socket
import ssl
from collections.abc import Callable
from typing import Any, Final

from aiohttp import web

from onboard.crew.limits import Limits, counted_as

HANDSHAKE_TIMEOUT_S: Final = 5.0
IDENTIFY_TIMEOUT_S: Final = 10.0
"""Time for a connection to name a member before it is closed [s]; a browser opens another."""
IDLE_S: Final = 30.0
CONNECTIONS_MOST: Final = 192
"""Limit on the connections of all browsers, including members'."""
BACKLOG: Final = 128
REFUSAL_PAUSE_S: Final = 0.001
"""Pause after each refused connection [s]; bounds what a flood of them costs the board."""
FIELD_MOST_BYTES: Final = 4096

SETTINGS: Final[dict[str, Any]] = {
    "access_log": None,
    "keepalive_timeout": IDLE_S,
    "max_line_size": FIELD_MOST_BYTES,
    "max_field_size": FIELD_MOST_BYTES,
    "max_headers": 64,
    "lingering_time": 0.5,
    "auto_decompress": False,
}

log = logging.getLogger("wattwake")


class QuietRequestHandler(web.RequestHandler):
    """HTTP on one connection; the answer to a malformed request does not reveal the server."""

    def __init__(self, server: web.Server, **settings: Any) -> None:
        super().__init__(server, **settings)
        self.is_member = False
        self.settled, self.closed = asyncio.Event(), asyncio.Event()

    def identify(self) -> None:
        """Note that a request on this connection named a member."""
        self.is_member = True
        self.settled.set()

    def connection_lost(self, exc: BaseException | None) -> None:
        """Note that the connection is closed."""
        super().connection_lost(exc)
        self.settled.set()
        self.closed.set()

    def handle_error(
        self,
        request: web.BaseRequest,
        status: int = 500,
        exc: BaseException | None = None,
        message: str | None = None,  # noqa: ARG002
    ) -> web.StreamResponse:
        """Answer a malformed request, or an internal failure, with a bare status."""
        if status >= 500:
            log.error("a browser's request failed", exc_info=exc)
        if request.writer.output_size > 0:
            raise ConnectionError("an answer was begun")
        response = web.Response(status=status, headers={"Server": ""})
        response.force_close()
        return response


class TlsListener:
    """Accepts encrypted connections.

    Parameters
    ----------
    server
        Answers the requests.
    context
        Returns the TLS context; None if there is currently no key.
    limits
        Rate limits for each address.
    """

    def __init__(
        self, server: web.Server, context: Callable[[], ssl.SSLContext | None], limits: Limits
    ) -> None:
        self._server, self._context, self._limits = server, context, limits
        self._connections: set[asyncio.Task[None]] = set()

    async def run(self, listener: socket.socket) -> None:
        """Accept connections until cancelled, then close all of them.

        Parameters
        ----------
        listener
            A listening socket, non-blocking.
        """
        loop = asyncio.get_running_loop()
        try:
            while True:
                try:
                    connection, peer = await loop.sock_accept(listener)
                except OSError:  # out of descriptors, or closed meanwhile
                    await asyncio.sleep(0.1)
                    continue
                context = self._context()
                if context is None or not self._admits(counted_as(peer), loop.time()):
                    connection.close()
                    await asyncio.sleep(REFUSAL_PAUSE_S)
                    continue
                connection.setblocking(False)
                task = asyncio.create_task(self._handle(connection, counted_as(peer), context))
                self._connections.add(task)
                task.add_done_callback(self._connections.discard)
                # Accepting does not yield while more are queued: let other tasks run.
                await asyncio.sleep(0)
        finally:
            listener.close()
            for task in self._connections:
                task.cancel()

    def _admits(self, address: str, now_s: float) -> bool:
        return len(self._connections) < CONNECTIONS_MOST and self._limits.come(address, now_s)

    async def _handle(
        self, connection: socket.socket, address: str, context: ssl.SSLContext
    ) -> None:
        loop = asyncio.get_running_loop()
        handler = QuietRequestHandler(self._server, loop=loop, **SETTINGS)
        transport: asyncio.BaseTransport | None = None
        try:
            try:
                async with asyncio.timeout(IDENTIFY_TIMEOUT_S):
                    transport, _ = await loop.connect_accepted_socket(
                        lambda: handler,
                        connection,
                        ssl=context,
                        ssl_handshake_timeout=HANDSHAKE_TIMEOUT_S,
                        ssl_shutdown_timeout=1.0,
                    )
                    await handler.settled.wait()
            except OSError:
                return
            finally:
                self._limits.known(address)  # no longer waiting
            if handler.is_member:
                await handler.closed.wait()
        finally:
            if isinstance(transport, asyncio.Transport) and not handler.closed.is_set():
                transport.abort()


def listen(host: str, port: int) -> socket.socket:
    """Return a listening socket, non-blocking; `::` takes IPv4 as well.

    Raises
    ------
    OSError
        If the address cannot be used.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    both = host == "::" and socket.has_dualstack_ipv6()
    listener = socket.create_server(
        (host, port), family=family, backlog=BACKLOG, dualstack_ipv6=both
    )
    listener.setblocking(False)
    return listener
