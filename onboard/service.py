"""The daemon: link, ride, record and feed wired together. The only place that owns a clock."""

import asyncio
import logging
import signal
import time
from collections import deque
from dataclasses import dataclass
from pathlib import Path

from onboard import lean_memory, notify
from onboard.efficiency.figure import Number, Unknown
from onboard.efficiency.speed_power import Posterior
from onboard.efficiency.target import Aim
from onboard.errors import LinkError, ProfileError, UsageError
from onboard.feed.commands import Command, Mark, Refused, Reply
from onboard.feed.server import FeedServer
from onboard.feed.snapshot import as_line, trip_line_message
from onboard.link_reader import LinkReader
from onboard.marks import Noted, noted
from onboard.obey import obey, settings_in_force, with_place
from onboard.own_alerts import OwnAlerts, Running
from onboard.pairing.door import CrewDoor, DoorSettings
from onboard.profile import Profile, load_profile
from onboard.ride import Ride
from onboard.session_book import SessionBook
from onboard.telemetry.asking import Asking
from onboard.telemetry.frames import Frames
from onboard.telemetry.link_scanner import LinkScanner
from onboard.telemetry.links.base import Link
from onboard.telemetry.links.reopening import Reopener
from onboard.telemetry.signing import (
    SETUP_SIGNING,
    SignatureGate,
    Signer,
    key_from_text,
    without_key,
)
from onboard.trip_keeper import TripKeeper

PUBLISH_EVERY_S = 0.2
"""Blocks are folded and snapshots published at this pace."""

RATE_OVER_S = 5.0

GIVE_BACK_EVERY_S = 10.0
"""Free memory goes back to the board at this pace, and at once when the curve was fitted."""

TRIP_LINE_EVERY_S = 60.0
"""All viewers are told the trip so far this often; each draws it on by itself in between."""

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
    profile_path: Path | None = None
    """Read anew on SIGHUP."""
    listen_only: bool = False
    door: DoorSettings | None = None
    """Where paired viewers come in; None where they cannot."""


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
        link = settings.profile.link
        key = key_from_text(link.signing_key) if link.signing_key else None
        self._scanner = LinkScanner()
        self._gate = SignatureGate(key)
        self._asking = Asking(
            settings.listen_only or link.listen_only,
            Signer(key, self._clock, self._gate) if key else None,
            settings.system_id or link.system_id,
        )
        self._feed = FeedServer()
        self._alerts = OwnAlerts()
        self._book: SessionBook | None = None
        self._keeper = TripKeeper(settings.profile, settings.system_id, aim=settings.aim)
        self._last_stamp_us = self._clock.start_us
        self._began_s = time.monotonic()
        self._heard_s: float | None = None
        self._counts: deque[tuple[float, int]] = deque()
        self._link_said: str | None = None
        self._asked: tuple[int, int | None] | None = None
        self._watchdog_every_s = notify.watchdog_every_s()
        self._watchdog_due_s = 0.0
        self._trip_line_due_s = 0.0
        self._give_back_due_s = 0.0
        self._fitted: Posterior | None = None
        self._stop = asyncio.Event()

    @property
    def _ride(self) -> Ride:
        return self._keeper.ride

    async def run(self) -> None:
        """Start, serve until told to stop, and save.

        Raises
        ------
        WattwakeError
            If the link, the record's folder or the feed's address cannot be had at the start.
        """
        settings = self._settings
        reopen = Reopener(settings.connection, settings.baud)
        link = self._first_link(reopen)
        name = link.name if link else settings.connection
        reader = LinkReader(link, reopen, self._clock)
        door: asyncio.Task[None] | None = None
        try:
            # Before anything is said: whoever hears it may end us at once.
            self._on_signals()
            host, port = settings.listen
            craft = settings.profile.craft.name
            port = await self._feed.open(host, port, craft, self._on_command, self._trip_line)
            self._open_book()
            print(f"wattwake: link {name}", flush=True)
            if self._book:
                print(f"wattwake: record {self._book.folder}", flush=True)
            print(f"wattwake: feed on {host}:{port}", flush=True)
            self._began_s = time.monotonic()
            reader.start()
            notify.ready(f"link {name}, feed on {host}:{port}")
            door = self._keep_door()
            await self._serve(reader, name)
        finally:
            notify.stopping()
            reader.stop()
            if door is not None:
                door.cancel()
                await asyncio.wait({door})
            await self._feed.close()
            if self._book is not None:
                self._book.close(self._ride.kept())

    def _keep_door(self) -> "asyncio.Task[None] | None":
        """Let paired viewers in beside all else; without them the daemon goes on as well."""
        settings = self._settings.door
        if settings is None:
            return None

        def opened(port: int) -> None:
            print(f"wattwake: crew on {settings.host}:{port}", flush=True)

        def ended(task: "asyncio.Task[None]") -> None:
            if not task.cancelled() and (fault := task.exception()) is not None:
                log.error("no paired viewer comes in any more", exc_info=fault)

        door = asyncio.create_task(CrewDoor(settings, self._feed, opened).run())
        door.add_done_callback(ended)
        return door

    def _open_book(self) -> None:
        """Begin a session, and go on with the trip of an earlier one if it turns out to be that."""
        settings = self._settings
        if settings.record is None:
            return
        text = settings.profile_text and without_key(settings.profile_text)
        self._book = SessionBook(settings.record, self._clock.start_us, text)
        self._keeper = TripKeeper(
            settings.profile, settings.system_id, self._book.kept, self._book.earlier, settings.aim
        )

    def _first_link(self, reopen: Reopener) -> Link | None:
        """Open the link. A server that is not up yet will be tried again; all else is an error."""
        try:
            return reopen()
        except LinkError as problem:
            if not self._settings.connection.startswith("tcp:"):
                raise
            log.warning("%s; trying again", problem)
            return None

    def _on_signals(self) -> None:
        loop = asyncio.get_running_loop()
        acts = {
            signal.SIGINT: self._stop.set,
            signal.SIGTERM: self._stop.set,
            signal.SIGHUP: self._reload,
        }
        for number, act in acts.items():
            # Ignored from outside (nohup) stays ignored.
            if signal.getsignal(number) is not signal.SIG_IGN:
                loop.add_signal_handler(number, act)

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
        """Fold what came, record it, ask for what is missing, publish."""
        # Read before the bytes are taken: what comes later is stamped later.
        now_s, now_us = time.monotonic(), self._clock()
        frames = self._gate.push(self._scanner.push(reader.take()))
        if len(frames):
            self._last_stamp_us = int(frames.stamp_us[-1])
        before = self._ride.decoder.messages
        self._keeper.take(frames, now_us)
        if self._ride.decoder.messages > before:
            self._heard_s = now_s
        if self._keeper.poll(now_s):
            self._counts.clear()
            self._trip_line_due_s = now_s
            if self._book is not None and self._keeper.went_on:
                self._book.goes_on(self._keeper.sessions)
        craft = self._ride.decoder.craft
        if self._asked is None and craft.system_id is not None:
            # For the whole run: a viewer that begins a new trip changes nothing on the link.
            self._asked = craft.system_id, craft.component_id
        self._asking.heard(frames, now_s)
        reader.write(self._asking.due(now_s, *(self._asked or (None, None))))
        if self._book is not None:
            self._book.write(_for_the_record(frames), now_us, self._ride.utc)
            if self._book.save_if_due(now_s, self._ride.kept):
                self._give_back_due_s = now_s
        self._watch_link(reader.problem)
        self._publish(reader, name, now_s)
        if self._watchdog_every_s is not None and now_s >= self._watchdog_due_s:
            self._watchdog_due_s = now_s + self._watchdog_every_s
            notify.watchdog()
            notify.status(f"{name}: {self._ride.messages} messages, {self._feed.viewers} viewers")
        fitted = self._ride.engine.learner.posterior
        if now_s >= self._give_back_due_s or fitted is not self._fitted:
            self._give_back_due_s, self._fitted = now_s + GIVE_BACK_EVERY_S, fitted
            lean_memory.give_back()

    def _publish(self, reader: LinkReader, name: str, now_s: float) -> None:
        self._counts.append((now_s, self._ride.decoder.messages))
        while now_s - self._counts[0][0] > RATE_OVER_S:
            self._counts.popleft()
        running = Running(
            now_s,
            reader.problem,
            self._began_s if reader.heard_s is None else reader.heard_s,
            reader.dropped_bytes,
            self._gate.refused,
            self._book.problems if self._book is not None else (),
        )
        snapshot = self._ride.snapshot(
            source=name,
            age_s=self._age_s(now_s),
            messages_per_s=self._messages_per_s(),
            alerts=self._alerts.now(running),
        )
        line = as_line(snapshot.as_dict())
        if now_s >= self._trip_line_due_s:
            self._trip_line_due_s = now_s + TRIP_LINE_EVERY_S
            line = self._trip_line() + line
        self._feed.publish(line, now_s)

    def _trip_line(self) -> bytes:
        return as_line(trip_line_message(self._ride.engine.trip_line))

    def _on_command(self, command: Command, reply: Reply) -> None:
        """Do what a viewer says, and write it down."""
        placed = with_place(command, self._ride)
        if isinstance(placed, Refused):
            reply(placed.why, None)
            return
        one = noted(placed, self._ride, self._last_stamp_us)
        why_not = obey(placed, self._ride, lambda: self._new_trip(one))
        # A new trip is noted where the old one ends.
        if why_not is None and not (isinstance(placed, Mark) and placed.mark == "new_trip"):
            self._keeper.say(one)
            if self._book is not None:
                self._book.mark(one)
        reply(why_not, placed)

    def _new_trip(self, said: Noted) -> str | None:
        """Begin a new trip, in a session of its own; set-up and reserve stay as they are."""
        stay = settings_in_force(self._ride, self._keeper.profile)
        if self._book is not None:
            self._book.mark(said)
            try:
                self._book.begin_anew(self._clock(), self._ride.kept())
            except UsageError as problem:
                return str(problem)
        self._keeper.new_trip()
        self._counts.clear()
        self._trip_line_due_s = 0.0
        for one in stay:
            obey(one, self._ride, lambda: None)
            if self._book is not None:
                self._book.mark(noted(one, self._ride, self._last_stamp_us))
        return None

    def _reload(self) -> None:
        """Read the profile anew; one that is not right changes nothing."""
        path = self._settings.profile_path
        if path is None:
            log.warning("no --profile was given: there is nothing to read anew")
            return
        notify.reloading()
        try:
            profile = load_profile(path)
        except ProfileError as problem:
            log.error("%s: going on with the profile as it was", problem)
        else:
            log.info("%s: read anew; link, record and feed stay as they are", path)
            present = self._book.present(self._last_stamp_us) if self._book else None
            self._keeper.reload(profile, present)
        notify.ready()

    def _watch_link(self, problem: str | None) -> None:
        """Say once when the link goes down and when it comes back."""
        if problem != self._link_said:
            log.warning("%s", problem or "the link is back")
            self._link_said = problem

    def _age_s(self, now_s: float) -> Number:
        if self._heard_s is None:
            return Unknown("no autopilot heard yet")
        return now_s - self._heard_s

    def _messages_per_s(self) -> Number:
        (first_s, first), (last_s, last) = self._counts[0], self._counts[-1]
        if last_s - first_s < 1.0:
            return Unknown("counting")
        return (last - first) / (last_s - first_s)


def _for_the_record(frames: Frames) -> Frames:
    """Leave out the message that carries a signing key: it belongs in no record."""
    carries_key = frames.message_id == SETUP_SIGNING
    return frames.where(~carries_key) if carries_key.any() else frames
