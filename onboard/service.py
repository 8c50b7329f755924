"""The daemon: link, ride, record and feed wired together. The only place that owns a clock."""

import asyncio
import logging
import signal
import time
from collections import deque
from dataclasses import dataclass
from pathlib import Path

from onboard.efficiency.alerts import Alert
from onboard.efficiency.figure import Number, Unknown
from onboard.efficiency.target import Aim
from onboard.errors import LinkError
from onboard.feed.server import FeedServer
from onboard.feed.snapshot import as_line
from onboard.kept import load, save
from onboard.link_reader import LinkReader
from onboard.profile import Profile
from onboard.ride import Ride
from onboard.telemetry.frames import Frames
from onboard.telemetry.link_scanner import LinkScanner
from onboard.telemetry.links.base import Link
from onboard.telemetry.links.opening import open_link
from onboard.telemetry.recorder import Recorder

PUBLISH_EVERY_S = 0.2
"""Blocks are folded and snapshots published at this pace."""

RATE_OVER_S = 5.0

SAVE_EVERY_S = 30.0
"""What was learned is written down at this pace: few writes are kind to a card."""

log = logging.getLogger("wattwake")


@dataclass(frozen=True)
class Settings:
    """What a run of the daemon needs to know; profile and command line are already merged."""

    profile: Profile
    connection: str
    baud: int
    system_id: int | None
    listen: tuple[str, int]
    record: Path | None
    profile_text: str | None = None
    aim: Aim | None = None


class StampClock:
    """The clock of receipt: the wall clock at the start plus monotonic time since [us]."""

    def __init__(self) -> None:
        self.start_us = time.time_ns() // 1000 & ~3
        self._start_ns = time.monotonic_ns()

    def __call__(self) -> int:
        """Give the time now [us since the Unix epoch], the low two bits clear."""
        return self.start_us + (time.monotonic_ns() - self._start_ns) // 1000 & ~3


class Service:
    """One run of the daemon.

    Parameters
    ----------
    settings
        What to run.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._clock = StampClock()
        self._scanner = LinkScanner()
        self._ride = self._new_ride()
        if settings.aim is not None:
            self._ride.engine.set_aim(settings.aim)
        self._save_due_s = time.monotonic() + SAVE_EVERY_S
        self._feed = FeedServer()
        self._recorder: Recorder | None = None
        self._record_problem: tuple[str, float] | None = None
        self._heard_s: float | None = None
        self._counts: deque[tuple[float, int]] = deque()
        self._link_problem: tuple[str, float] | None = None
        self._stop = asyncio.Event()

    async def run(self) -> None:
        """Start, serve until told to stop, and save.

        Raises
        ------
        WattwakeError
            If the link, the record's folder or the feed's address cannot be had at the start.
        """
        settings = self._settings
        link = self._first_link()
        name = link.name if link else settings.connection
        reader = LinkReader(
            link, lambda: open_link(settings.connection, settings.baud), self._clock
        )
        try:
            host, _ = settings.listen
            port = await self._feed.open(*settings.listen, settings.profile.craft.name)
            if settings.record is not None:
                self._recorder = Recorder(
                    settings.record, self._clock.start_us, settings.profile_text
                )
            print(f"wattwake: link {name}", flush=True)
            if self._recorder:
                print(f"wattwake: record {self._recorder.folder}", flush=True)
            print(f"wattwake: feed on {host}:{port}", flush=True)
            self._on_signals()
            reader.start()
            await self._serve(reader, name)
        finally:
            reader.stop()
            await self._feed.close()
            self._close_record()
            self._save()

    def _new_ride(self) -> Ride:
        """Begin a ride with what earlier ones left, where they left anything."""
        settings = self._settings
        kept = load(settings.record) if settings.record is not None else None
        try:
            return Ride(settings.profile, settings.system_id, kept)
        except ValueError as problem:
            log.warning("%s: starting without what was learned", problem)
            return Ride(settings.profile, settings.system_id)

    def _save(self) -> None:
        """Write down what must outlast this run; a full card must not stop the figures."""
        if self._recorder is None or self._settings.record is None:
            return
        try:
            save(self._settings.record, self._ride.kept())
        except OSError as problem:
            log.warning("what was learned could not be saved: %s", problem.strerror)

    def _first_link(self) -> Link | None:
        """Open the link. A server that is not up yet will be tried again; all else is an error."""
        try:
            return open_link(self._settings.connection, self._settings.baud)
        except LinkError as problem:
            if not self._settings.connection.startswith("tcp:"):
                raise
            log.warning("%s; trying again", problem)
            return None

    def _on_signals(self) -> None:
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            # Ignored from outside (nohup) stays ignored.
            if signal.getsignal(number) is not signal.SIG_IGN:
                loop.add_signal_handler(number, self._stop.set)

    async def _serve(self, reader: LinkReader, name: str) -> None:
        due_s = time.monotonic()
        while not self._stop.is_set():
            self._tick(reader, name)
            # From an absolute start, so that late wake-ups do not add up.
            due_s = max(due_s + PUBLISH_EVERY_S, time.monotonic())
            try:
                async with asyncio.timeout(due_s - time.monotonic()):
                    await self._stop.wait()
            except TimeoutError:
                pass
        # What the link gave up to now is still taken and recorded.
        reader.stop()
        self._tick(reader, name)

    def _tick(self, reader: LinkReader, name: str) -> None:
        """Fold what came, record it, publish."""
        # Read before the bytes are taken: what comes later is stamped later.
        now_s, now_us = time.monotonic(), self._clock()
        frames = self._scanner.push(reader.take())
        self._record(frames)
        before = self._ride.decoder.messages
        self._ride.take(frames)
        self._ride.silence(now_us)
        if self._ride.decoder.messages > before:
            self._heard_s = now_s
        self._watch_link(reader.problem, now_s)
        if now_s >= self._save_due_s:
            self._save_due_s = now_s + SAVE_EVERY_S
            self._save()
        self._counts.append((now_s, self._ride.decoder.messages))
        while now_s - self._counts[0][0] > RATE_OVER_S:
            self._counts.popleft()
        snapshot = self._ride.snapshot(
            source=name,
            age_s=self._age_s(now_s),
            messages_per_s=self._messages_per_s(),
            alerts=self._alerts(now_s, reader.dropped_bytes),
        )
        self._feed.publish(as_line(snapshot.as_dict()), now_s)

    def _record(self, frames: Frames) -> None:
        if self._recorder is None or self._record_problem:
            return
        try:
            self._recorder.write(frames, self._clock())
            if (utc := self._ride.utc) is not None:
                self._recorder.note_utc(utc, self._clock())
        except OSError as problem:
            text = f"Recording stopped: {problem.strerror}."
            self._record_problem = (text, time.monotonic())
            log.error("%s", text)

    def _close_record(self) -> None:
        if self._recorder is None:
            return
        try:
            self._recorder.close()
        except OSError as problem:
            log.error("the last second of the record is lost: %s", problem.strerror)

    def _watch_link(self, problem: str | None, now_s: float) -> None:
        """Note when the link goes down and comes back, and say so once."""
        known = self._link_problem[0] if self._link_problem else None
        if problem == known:
            return
        log.warning("%s", problem or "the link is back")
        since_s = self._link_problem[1] if self._link_problem else now_s
        self._link_problem = (problem, since_s) if problem else None

    def _age_s(self, now_s: float) -> Number:
        if self._heard_s is None:
            return Unknown("no autopilot heard yet")
        return now_s - self._heard_s

    def _messages_per_s(self) -> Number:
        (first_s, first), (last_s, last) = self._counts[0], self._counts[-1]
        if last_s - first_s < 1.0:
            return Unknown("counting")
        return (last - first) / (last_s - first_s)

    def _alerts(self, now_s: float, dropped_bytes: int) -> tuple[Alert, ...]:
        alerts = []
        if dropped_bytes:
            text = f"This board was too slow: {dropped_bytes} bytes of telemetry were dropped."
            alerts.append(Alert("bytes_dropped", "warning", text, 0.0))
        if self._link_problem:
            problem, since_s = self._link_problem
            alerts.append(Alert("link_down", "warning", problem, now_s - since_s))
        if self._record_problem:
            problem, since_s = self._record_problem
            alerts.append(Alert("record_stopped", "warning", problem, now_s - since_s))
        return tuple(alerts)
