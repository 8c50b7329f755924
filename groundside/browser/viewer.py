"""One viewer: a dashboard in a process of its own, between its pipes and a browser's websocket."""

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
"""A browser's terminal has at least and at most so many rows and columns."""
LEFT = 4001
"""The websocket's closing code where the rider left; 4000 to 4999 are private (RFC 6455, 7.4.2)."""
PUT_OUT = 4003
"""The same where the browser was revoked."""
_NOT_SAID = (ValueError, TypeError, KeyError, OverflowError, RecursionError)
"""What reading a message can lead to that no page of ours says."""
END_S = 1.0
"""A dashboard ends in good order within this, else it is killed [s]."""


class Viewer(AppService):
    """A dashboard for one browser.

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
            close=self._left,
            download_manager=DownloadManager(),
        )

    async def _open_app_process(self, width: int = 80, height: int = 24) -> Process:
        """Start the dashboard without a shell; it ends by itself where we are gone."""
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

    async def run_for(self, width: int, height: int) -> None:
        """Run the dashboard until the browser or the rider leaves.

        Parameters
        ----------
        width, height
            Size of the browser's terminal in cells.
        """
        await self.start(held(width), held(height))
        try:
            async for message in self._socket:
                if message.type == WSMsgType.TEXT:
                    with contextlib.suppress(*_NOT_SAID):
                        await self._take(message.json())
        finally:
            await self.end()

    async def _take(self, told: object) -> None:
        """Pass on what the page says; anything else than the few things it can say is nothing."""
        if not (isinstance(told, list) and len(told) >= 2):
            return
        kind, what = told[0], told[1]
        if kind == "stdin" and isinstance(what, str):
            await self.send_bytes(what.encode())
        elif kind == "resize" and isinstance(what, dict):
            await self.set_terminal_size(held(int(what["width"])), held(int(what["height"])))
        elif kind == "ping":
            await self._socket.send_json(["pong", what])
        elif kind == "focus":
            await self.focus()
        elif kind == "blur":
            await self.blur()

    async def _left(self) -> None:
        """Tell the page that the rider left, so that it does not begin anew by itself."""
        await self._socket.close(code=LEFT, message=b"left")

    async def end(self) -> None:
        """End the dashboard, by force where it does not end in good order."""
        try:
            with contextlib.suppress(TimeoutError, ConnectionError):
                async with asyncio.timeout(END_S):
                    await self.stop()
            if self._process is not None:
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(END_S / 2):
                        await self._process.wait()
        finally:
            # Also where the server itself ends and does not wait for this.
            if self._process is not None and self._process.returncode is None:
                with contextlib.suppress(ProcessLookupError):
                    self._process.kill()
                await self._process.wait()


def held(cells: int) -> int:
    """Hold a size within bounds.

    Examples
    --------
    >>> held(-3), held(80), held(10**9)
    (10, 80, 500)
    """
    return min(max(cells, SMALLEST), LARGEST)
