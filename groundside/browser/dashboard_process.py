"""A dashboard in a process of its own, between its pipes and one browser's websocket."""

import asyncio
import contextlib
import os
from asyncio.subprocess import PIPE, Process
from collections.abc import Sequence

from aiohttp import WSMsgType, web
from textual_serve.app_service import AppService
from textual_serve.download_manager import DownloadManager

from groundside.terminal import SERVED_VARIABLE

SMALLEST, LARGEST = 10, 500
"""Limits on the rows and columns of a browser's terminal."""
CLOSE_QUIT = 4001
"""Websocket close code if the rider quit; 4000 to 4999 are private (RFC 6455, 7.4.2)."""
CLOSE_REVOKED = 4003
"""Websocket close code if the browser was revoked."""
_MALFORMED = (ValueError, TypeError, KeyError, OverflowError, RecursionError)
"""Errors raised by a malformed message, which the page never sends."""
END_TIMEOUT_S = 1.0
"""Time for a dashboard to exit cleanly before it is killed [s]."""


class DashboardProcess(AppService):
    """The dashboard of one browser.

    Parameters
    ----------
    command
        The dashboard's command line.
    socket
        The browser's websocket.
    """

    def __init__(self, command: Sequence[str], socket: web.WebSocketResponse) -> None:
        self._argv = list(command)
        self._socket = socket
        super().__init__(
            "",
            write_bytes=socket.send_bytes,
            write_str=socket.send_str,
            close=self._close_after_quit,
            download_manager=DownloadManager(),
        )

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

    async def run_until_closed(self, width: int, height: int) -> None:
        """Run the dashboard until the browser leaves or the rider quits.

        Parameters
        ----------
        width, height
            Size of the browser's terminal in cells.
        """
        await self.start(clamp(width), clamp(height))
        try:
            async for message in self._socket:
                if message.type == WSMsgType.TEXT:
                    with contextlib.suppress(*_MALFORMED):
                        await self._take(message.json())
        finally:
            await self.end()

    async def _take(self, message: object) -> None:
        """Pass on a message from the page; ignore anything else."""
        if not (isinstance(message, list) and len(message) >= 2):
            return
        kind, content = message[0], message[1]
        if kind == "stdin" and isinstance(content, str):
            await self.send_bytes(content.encode())
        elif kind == "resize" and isinstance(content, dict):
            width, height = (clamp(int(content[key])) for key in ("width", "height"))
            await self.set_terminal_size(width, height)
        elif kind == "ping":
            await self._socket.send_json(["pong", content])
        elif kind == "focus":
            await self.focus()
        elif kind == "blur":
            await self.blur()

    async def _close_after_quit(self) -> None:
        """Tell the page that the rider quit, so that it does not restart on its own."""
        await self._socket.close(code=CLOSE_QUIT, message=b"left")

    async def end(self) -> None:
        """Stop the dashboard, by force if it does not exit cleanly."""
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
