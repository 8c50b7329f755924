"""Where browsers from elsewhere connect: encrypted, and counted until it is known who they are.

As at the feed's door (`onboard/crew`): every wait ends, and all that can pile up is limited, so
that a stranger costs the board little, and those who are in nothing.
"""

import asyncio
import logging
import socket
import ssl
from collections.abc import Callable
from typing import Any, Final

from aiohttp import web

from onboard.crew.limits import Limits, counted_as

HANDSHAKE_S: Final = 5.0
KNOWN_WITHIN_S: Final = 10.0
"""A connection that has not named a member by then is closed; a browser makes another."""
IDLE_S: Final = 30.0
CONNECTIONS_MOST: Final = 192
"""Of all browsers, those who are in too."""
BACKLOG: Final = 128
REST_S: Final = 0.001
"""After each connection that is not heard: a flood of them takes no more of the board."""
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


class Terse(web.RequestHandler):
    """Talks HTTP on one connection; what is none gets no answer that says what we are."""

    def __init__(self, server: web.Server, **settings: Any) -> None:
        super().__init__(server, **settings)
        self.is_known = False
        self.settled, self.gone = asyncio.Event(), asyncio.Event()

    def is_of_a_member(self) -> None:
        """Take note that a request on this connection named a member."""
        self.is_known = True
        self.settled.set()

    def connection_lost(self, exc: BaseException | None) -> None:
        """Take note that it is over."""
        super().connection_lost(exc)
        self.settled.set()
        self.gone.set()

    def handle_error(
        self,
        request: web.BaseRequest,
        status: int = 500,
        exc: BaseException | None = None,
        message: str | None = None,  # noqa: ARG002
    ) -> web.StreamResponse:
        """Answer what is no request, or what failed here, by its number alone."""
        if status >= 500:
            log.error("a browser's request failed", exc_info=exc)
        if request.writer.output_size > 0:
            raise ConnectionError("an answer was begun")
        answer = web.Response(status=status, headers={"Server": ""})
        answer.force_close()
        return answer


class Inlet:
    """Takes encrypted connections.

    Parameters
    ----------
    server
        What answers requests.
    context
        Gives the key; None where there is none now.
    limits
        Keeps account of addresses.
    """

    def __init__(
        self, server: web.Server, context: Callable[[], ssl.SSLContext | None], limits: Limits
    ) -> None:
        self._server, self._context, self._limits = server, context, limits
        self._talks: set[asyncio.Task[None]] = set()

    async def run(self, listening: socket.socket) -> None:
        """Take connections until this is cancelled; all are ended then.

        Parameters
        ----------
        listening
            Not blocking.
        """
        loop = asyncio.get_running_loop()
        try:
            while True:
                try:
                    connection, peer = await loop.sock_accept(listening)
                except OSError:  # out of descriptors, or it was gone again
                    await asyncio.sleep(0.1)
                    continue
                context = self._context()
                if context is None or not self._is_heard(counted_as(peer), loop.time()):
                    connection.close()
                    await asyncio.sleep(REST_S)
                    continue
                connection.setblocking(False)
                task = asyncio.create_task(self._receive(connection, counted_as(peer), context))
                self._talks.add(task)
                task.add_done_callback(self._talks.discard)
                # What is accepted at once does not wait: others must have their turn.
                await asyncio.sleep(0)
        finally:
            listening.close()
            for task in self._talks:
                task.cancel()

    def _is_heard(self, address: str, now_s: float) -> bool:
        return len(self._talks) < CONNECTIONS_MOST and self._limits.come(address, now_s)

    async def _receive(
        self, connection: socket.socket, address: str, context: ssl.SSLContext
    ) -> None:
        loop = asyncio.get_running_loop()
        talk = Terse(self._server, loop=loop, **SETTINGS)
        below: asyncio.BaseTransport | None = None
        try:
            try:
                async with asyncio.timeout(KNOWN_WITHIN_S):
                    below, _ = await loop.connect_accepted_socket(
                        lambda: talk,
                        connection,
                        ssl=context,
                        ssl_handshake_timeout=HANDSHAKE_S,
                        ssl_shutdown_timeout=1.0,
                    )
                    await talk.settled.wait()
            except OSError:
                return
            finally:
                self._limits.known(address)  # it does not wait any more
            if talk.is_known:
                await talk.gone.wait()
        finally:
            if isinstance(below, asyncio.Transport) and not talk.gone.is_set():
                below.abort()


def listening(host: str, port: int) -> socket.socket:
    """Listen.

    Raises
    ------
    OSError
        If the address cannot be had.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    both = host == "::" and socket.has_dualstack_ipv6()
    inlet = socket.create_server((host, port), family=family, backlog=BACKLOG, dualstack_ipv6=both)
    inlet.setblocking(False)
    return inlet
