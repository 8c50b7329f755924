"""One run of the daemon: start, main loop, end."""

import asyncio
import contextlib
import logging
import signal
import time

from onboard.crew.door import CrewDoor
from onboard.daemon import notify
from onboard.daemon.ending import Ending
from onboard.daemon.pipeline import Pipeline
from onboard.daemon.print_line import print_line
from onboard.daemon.rhythm import next_tick_s
from onboard.daemon.run_settings import Settings
from onboard.errors import LinkError
from onboard.record.record_lock import record_lock
from onboard.telemetry.link.base import Link
from onboard.telemetry.link.link_reader import LinkReader
from onboard.telemetry.link.reopening import Reopener
from onboard.telemetry.link.stamp_clock import StampClock

log = logging.getLogger("wattwake")


class Service:
    """One run of the daemon.

    Parameters
    ----------
    settings
        Settings of the run.
    ending
        Bounds the time of its shutdown; by default one that never exits the process.
    """

    def __init__(self, settings: Settings, ending: Ending | None = None) -> None:
        self._settings = settings
        self._ending = ending or Ending()
        self.stop = asyncio.Event()
        """Set it to end the run."""
        self._wake = asyncio.Event()
        """Set to end the present pause."""

    async def run(self) -> None:
        """Start, serve until stopped, and save.

        Raises
        ------
        WattwakeError
            If the link, the record's folder or the feed's address is not available at the start,
            or another daemon keeps its records in that folder.
        """
        with record_lock(self._settings.record):
            reopen = Reopener(self._settings.connection, self._settings.baud)
            link = self._first_link(reopen)
            name = link.name if link else self._settings.connection
            clock = StampClock()
            reader = LinkReader(link, reopen, clock)
            pipeline = Pipeline(self._settings, reader, name, clock)
            door: asyncio.Task[None] | None = None
            try:
                await self._start(pipeline, reader, name)
                door = asyncio.create_task(self._keep_door(pipeline))
                await self._main_loop(pipeline, reader, door)
            finally:
                await self._end(pipeline, reader, door)

    def _first_link(self, reopen: Reopener) -> Link | None:
        """Open the link; a server that is not up yet is retried, anything else is an error."""
        try:
            return reopen()
        except LinkError as problem:
            if not self._settings.connection.startswith("tcp:"):
                raise
            log.warning("%s; trying again", problem)
            return None

    async def _start(self, pipeline: Pipeline, reader: LinkReader, name: str) -> None:
        # Signals before any output: its reader may stop the daemon at once.
        loop = asyncio.get_running_loop()
        self._ending.listen(loop, self.stop)
        # A signal inherited as ignored (nohup) stays ignored.
        if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:
            loop.add_signal_handler(signal.SIGHUP, pipeline.reload)
        # The reader before the session: finding the last one takes time, and bytes wait meanwhile.
        reader.start()
        host, port = self._settings.listen
        craft = self._settings.profile.craft.name
        port = await pipeline.feed.open(host, port, craft, pipeline.on_command, pipeline.greeting)
        pipeline.wake = self._wake.set
        pipeline.begin()
        print_line(f"link {name}")
        if pipeline.book:
            print_line(f"record {pipeline.book.folder}")
        print_line(f"feed on {host}:{port}")
        notify.ready(f"link {name}, feed on {host}:{port}")

    async def _keep_door(self, pipeline: Pipeline) -> None:
        """Admit paired viewers; a door that fails is opened again after a pause."""
        settings = self._settings.door
        if settings is None:
            return

        def opened(port: int) -> None:
            print_line(f"crew on {settings.host}:{port}")

        while True:
            try:
                await CrewDoor(settings, pipeline.feed, opened).run()
            except Exception as fault:
                pipeline.door.failed(time.monotonic(), fault)
            await asyncio.sleep(pipeline.door.pause_s)

    async def _main_loop(
        self, pipeline: Pipeline, reader: LinkReader, door: "asyncio.Task[None]"
    ) -> None:
        stopping = asyncio.create_task(self._wake_at_stop())
        while not self.stop.is_set():
            pipeline.tick()
            if door.done():
                door.result()
            await self._pause(next_tick_s(time.monotonic(), pipeline.feed.viewers > 0))
        await stopping
        # Bytes received by now are still recorded, and shown.
        reader.stop()
        pipeline.rhythm.fold_soon()
        pipeline.tick()
        while reader.waiting_bytes:
            pipeline.tick()

    async def _wake_at_stop(self) -> None:
        await self.stop.wait()
        self._wake.set()

    async def _pause(self, until_s: float) -> None:
        """Wait until a time of the monotonic clock [s], or until woken: by the end, or a viewer."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(until_s - time.monotonic()):
                await self._wake.wait()
        self._wake.clear()

    async def _end(
        self, pipeline: Pipeline, reader: LinkReader, door: "asyncio.Task[None] | None"
    ) -> None:
        self._ending.begin()
        notify.stopping()
        reader.stop()
        if door is not None:
            door.cancel()
            await asyncio.wait({door})
        await pipeline.feed.close()
        pipeline.close(self._ending.left_s)
        self._ending.is_over = True
