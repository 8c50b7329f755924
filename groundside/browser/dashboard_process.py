"""A dashboard in a process of its own, its pipes joined to the websocket of one browser tab.

The process outlives a lost websocket: while it waits for its tab, what it draws is read and
dropped, so that it never blocks and nothing piles up. When the tab comes back, the terminal's modes
are sent again, and the dashboard is asked to redraw the whole screen.
"""

import asyncio
import contextlib
import os
import re
from asyncio.subprocess import PIPE, Process
from collections.abc import Sequence

from aiohttp import WSMsgType, web
from textual_serve.app_service import AppService
from textual_serve.download_manager import DownloadManager

from groundside.terminal import SERVED_VARIABLE
from onboard.crew.members import Member

SMALLEST, LARGEST = 10, 500
"""Limits on the rows and columns of a browser's terminal."""
CLOSE_QUIT = 4001
"""Websocket close code if the rider quit; 4000 to 4999 are private (RFC 6455, 7.4.2)."""
CLOSE_REVOKED = 4003
"""Websocket close code if the browser was revoked."""
CLOSE_MOVED = 4004
"""Websocket close code if another websocket of the same tab has taken over the dashboard."""
CLOSE_FAILED = 4005
"""Websocket close code if the dashboard ended by itself."""
_MALFORMED = (ValueError, TypeError, KeyError, OverflowError, RecursionError)
"""Errors raised by a malformed message, which the page never sends."""
END_TIMEOUT_S = 1.0
"""Time for a dashboard to exit cleanly before it is killed [s]."""
MODES_WITHIN_BYTES = 4096
"""A dashboard sets its terminal's modes within this many bytes of its output."""
DRAW_ALL = b"\x0c"
"""The key ctrl+l, on which a dashboard redraws the whole screen."""
_MODE = re.compile(rb"\x1b\[\?(?!2026)[\d;]{1,16}[hl]")
"""A private mode set or reset, except the one around each frame (synchronized output)."""


class DashboardProcess(AppService):
    """The dashboard of one browser tab.

    Parameters
    ----------
    command
        The dashboard's command line.
    member
        Who sees it; None on a page that is open to all.
    tab
        The name that the tab gave itself; empty for one that never comes back.
    """

    def __init__(self, command: Sequence[str], member: Member | None = None, tab: str = "") -> None:
        self.member, self.tab = member, tab
        self._argv = list(command)
        self._socket: web.WebSocketResponse | None = None
        self._starting = asyncio.Lock()
        self._closing: asyncio.Task[bool] | None = None
        self._head = b""
        self._over = False
        super().__init__(
            "",
            write_bytes=self._send_bytes,
            write_str=self._send_str,
            close=self._close_after_quit,
            download_manager=DownloadManager(),
        )

    @property
    def socket(self) -> web.WebSocketResponse | None:
        """The websocket that shows the dashboard; None while it waits for its tab."""
        return self._socket

    @property
    def is_over(self) -> bool:
        """Whether the dashboard has ended, or is about to."""
        return self._over or (self._process is not None and self._process.returncode is not None)

    async def _open_app_process(self, width: int = 80, height: int = 24) -> Process:
        """Start the dashboard without a shell; it exits by itself if this server is gone."""
        environment = self._build_environment(width=width, height=height)
        environment[SERVED_VARIABLE] = str(os.getpid())
        process = await asyncio.create_subprocess_exec(
            *self._argv,
            stdin=PIPE,
            stdout=PIPE,
            stderr=PIPE,
            env=environment,
            start_new_session=True,  # the terminal's Ctrl-C is for the server, which ends it
        )
        self._process, self._stdin = process, process.stdin
        return process

    async def show_on(self, socket: web.WebSocketResponse, width: int, height: int) -> None:
        """Show the dashboard on a websocket, starting it if need be, until the websocket closes.

        Parameters
        ----------
        socket
            The browser's websocket.
        width, height
            Size of the browser's terminal in cells.
        """
        try:
            async with self._starting:
                if self._process is None:
                    self._socket = socket
                    await self.start(clamp(width), clamp(height))
                else:
                    await self._move_to(socket, clamp(width), clamp(height))
            async for message in socket:
                if message.type == WSMsgType.TEXT:
                    with contextlib.suppress(*_MALFORMED):
                        await self._take(message.json(), socket)
        finally:
            if self._socket is socket:
                self._socket = None

    async def _move_to(self, socket: web.WebSocketResponse, width: int, height: int) -> None:
        """Carry on at another websocket, whose terminal may be new."""
        before, self._socket = self._socket, socket
        if before is not None:  # its link may be dead, so do not wait for it
            self._closing = asyncio.create_task(before.close(code=CLOSE_MOVED, message=b"moved"))
        with contextlib.suppress(ConnectionError):
            await socket.send_bytes(modes_in(self._head))
        await self.set_terminal_size(width, height)
        await self.send_bytes(DRAW_ALL)

    async def _take(self, message: object, socket: web.WebSocketResponse) -> None:
        """Pass on a message from the page; ignore anything else."""
        if not (isinstance(message, list) and len(message) >= 2):
            return
        kind, content = message[0], message[1]
        if kind == "ping":
            await socket.send_json(["pong", content])
        elif self._socket is not socket:  # the dashboard has moved on
            return
        elif kind == "stdin" and isinstance(content, str):
            await self.send_bytes(content.encode())
        elif kind == "resize" and isinstance(content, dict):
            width, height = (clamp(int(content[key])) for key in ("width", "height"))
            await self.set_terminal_size(width, height)
        elif kind == "focus":
            await self.focus()
        elif kind == "blur":
            await self.blur()

    async def _send_bytes(self, data: bytes) -> None:
        """Send the browser what was drawn, or drop it while there is no websocket."""
        if len(self._head) < MODES_WITHIN_BYTES:
            self._head += data[: MODES_WITHIN_BYTES - len(self._head)]
        if self._socket is not None:
            with contextlib.suppress(ConnectionError, RuntimeError):
                await self._socket.send_bytes(data)

    async def _send_str(self, text: str) -> None:
        if self._socket is not None:
            with contextlib.suppress(ConnectionError, RuntimeError):
                await self._socket.send_str(text)

    async def run(self) -> None:
        """Pass on what the dashboard draws, until it ends; tell the page if it failed."""
        await super().run()
        if not self._over:
            await self._close(CLOSE_FAILED, b"ended")

    async def _close_after_quit(self) -> None:
        """Tell the page that the rider quit, so that it does not restart on its own."""
        await self._close(CLOSE_QUIT, b"left")

    async def _close(self, code: int, why: bytes) -> None:
        self._over = True
        if self._socket is not None:
            await self._socket.close(code=code, message=why)

    async def end(self) -> None:
        """Stop the dashboard, by force if it does not exit cleanly."""
        self._over = True
        try:
            with contextlib.suppress(TimeoutError, ConnectionError):
                async with asyncio.timeout(END_TIMEOUT_S):
                    await self.stop()
            if self._process is not None:
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(END_TIMEOUT_S / 2):
                        await self._process.wait()
        finally:
            # Also if the server itself is stopped and does not wait for this.
            if self._process is not None and self._process.returncode is None:
                with contextlib.suppress(ProcessLookupError):
                    self._process.kill()
                await self._process.wait()


def clamp(cells: int) -> int:
    """Return a terminal size within its limits.

    Examples
    --------
    >>> clamp(-3), clamp(80), clamp(10**9)
    (10, 80, 500)
    """
    return min(max(cells, SMALLEST), LARGEST)


def modes_in(head: bytes) -> bytes:
    r"""Return the terminal modes set in a dashboard's first output, in order.

    Examples
    --------
    >>> modes_in(b"\x1b[?1049h\x1b[?2026$p\x1b[?2026h\x1b[38;2;0;0;0mx\x1b[?25l\x1b[?100")
    b'\x1b[?1049h\x1b[?25l'
    """
    return b"".join(_MODE.findall(head))
