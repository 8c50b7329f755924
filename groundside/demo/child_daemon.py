"""A daemon as a child process, on free local ports."""

import asyncio
import contextlib
import os
import re
import sys
from pathlib import Path
from types import TracebackType

from onboard.errors import FeedError

START_S = 20.0
"""Time limit for the start [s]: what a small board without cached bytecode takes to import
everything."""

END_S = 3.0


class ChildDaemon:
    """A daemon that runs while the context is entered.

    Parameters
    ----------
    profile
        Its craft profile.
    target_distance_m
        Distance to go from the start [m].
    """

    def __init__(self, profile: Path, target_distance_m: float | None = None) -> None:
        self._profile = profile
        self._target: tuple[str, ...] = ()
        if target_distance_m is not None:
            self._target = ("--target-distance-m", str(target_distance_m))
        self._process: asyncio.subprocess.Process | None = None
        self.link_port = 0
        self.feed_port = 0

    async def __aenter__(self) -> "ChildDaemon":
        """Start the daemon, and wait until it serves its feed.

        Raises
        ------
        FeedError
            If it does not start.
        """
        source = str(Path(__file__).resolve().parents[2])
        paths = [source, os.environ.get("PYTHONPATH", "")]
        self._process = await asyncio.create_subprocess_exec(
            sys.executable,
            *("-m", "onboard", "run", "--no-record", "--profile", str(self._profile)),
            *("--link", "udpin:127.0.0.1:0", "--listen", "127.0.0.1:0"),
            *("--crew-listen", "off"),
            *self._target,
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.DEVNULL,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(path for path in paths if path)},
        )
        try:
            async with asyncio.timeout(START_S):
                await self._read_ports()
        except TimeoutError:
            await self._end()
            raise FeedError("the daemon did not start within 20 s") from None
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop the daemon."""
        await self._end()

    async def _read_ports(self) -> None:
        assert self._process is not None and self._process.stdout is not None
        while not self.feed_port:
            line = (await self._process.stdout.readline()).decode()
            if not line:
                raise FeedError("the daemon ended before it served anything")
            if found := re.search(r"link udpin:.*:(\d+)", line):
                self.link_port = int(found[1])
            if found := re.search(r"feed on .*:(\d+)", line):
                self.feed_port = int(found[1])

    async def _end(self) -> None:
        if self._process is None or self._process.returncode is not None:
            return
        with contextlib.suppress(ProcessLookupError):
            self._process.terminate()
        try:
            async with asyncio.timeout(END_S):
                await self._process.wait()
        except TimeoutError:
            self._process.kill()
            await self._process.wait()
