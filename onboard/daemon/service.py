"""The daemon: link, ride, record and feed wired together. The only place that owns a clock."""

import asyncio
import logging
import signal
import time
from collections.abc import Sequence
from functools import partial

from onboard.contract.alerts import AlertCode
from onboard.contract.commands import Command, Mark, Refused, Reply
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.crew.door import CrewDoor
from onboard.daemon import lean_memory, notify
from onboard.daemon.ending import Ending
from onboard.daemon.intake import Intake
from onboard.daemon.own_alerts import Running
from onboard.daemon.print_line import print_line
from onboard.daemon.publisher import Publisher
from onboard.daemon.quiet_log import ANSWER
from onboard.daemon.run_settings import Settings
from onboard.errors import LinkError, ProfileError, RecordError
from onboard.feed.server import FeedServer
from onboard.profile import load_profile
from onboard.record.marks import Noted, noted
from onboard.record.record_lock import RecordLock
from onboard.record.subscriber import Subscriber
from onboard.restarts.last_charge import caught_up
from onboard.restarts.rejoin import Session
from onboard.restarts.session_book import SessionBook
from onboard.restarts.trip_journal import Verdict
from onboard.restarts.trip_keeper import BehindError, TripKeeper
from onboard.ride.commands import obey, settings_in_force, with_place
from onboard.ride.ride import Ride
from onboard.telemetry.link.base import Link
from onboard.telemetry.link.link_reader import LinkReader
from onboard.telemetry.link.reopening import Reopener
from onboard.telemetry.link.requests import Requests
from onboard.telemetry.link.stamp_clock import StampClock
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.signing import SignatureGate, Signer, key_from_text, without_key

PUBLISH_EVERY_S = 0.2
"""Blocks are folded and snapshots published at this pace."""

log = logging.getLogger("wattwake")


class Service:
    """One run of the daemon.

    Parameters
    ----------
    settings
        What to run.
    ending
        Makes sure that it ends; None: one that leaves the process alone.
    """

    def __init__(self, settings: Settings, ending: Ending | None = None) -> None:
        self._settings = settings
        self._clock = StampClock()
        link = settings.profile.link
        key = key_from_text(link.signing_key) if link.signing_key else None
        self._gate = SignatureGate(key)
        self._intake: Intake | None = None
        self._asking = Requests(
            settings.listen_only or link.listen_only,
            Signer(key, self._clock, self._gate) if key else None,
            settings.system_id or link.system_id,
        )
        self._feed = FeedServer()
        self._publisher = Publisher(self._feed, lambda: self._keeper)
        self._book: SessionBook | None = None
        self._keeper = self._keep_trip()
        self._figures = Subscriber(AlertCode.FIGURES_FAILED, "the figures")
        self._requests = Subscriber(AlertCode.REQUESTS_FAILED, "the requests to the autopilot")
        self._publishing = Subscriber(AlertCode.FEED_FAILED, "the feed")
        self._saving = Subscriber(AlertCode.NOTES_FAILED, "the notes beside the record")
        self._memory = Subscriber(AlertCode.MEMORY_FAILED, "the return of free memory")
        self._door = Subscriber(AlertCode.DOOR_FAILED, "the door for paired viewers")
        self._subscribers = (
            self._figures,
            self._requests,
            self._publishing,
            self._publisher.watching,
            self._saving,
            self._memory,
            self._door,
        )
        self._began_s = time.monotonic()
        self._link_said: str | None = None
        self._asked: tuple[int, int | None] | None = None
        self._watchdog_every_s = notify.watchdog_every_s()
        self._watchdog_due_s = 0.0
        self._give_back = lean_memory.GiveBack()
        self._stop = asyncio.Event()
        self._ending = ending or Ending()

    @property
    def _ride(self) -> Ride:
        return self._keeper.ride

    async def run(self) -> None:
        """Start, serve until told to stop, and save.

        Raises
        ------
        WattwakeError
            If the link, the record's folder or the feed's address is not to be had at the start,
            or another daemon keeps its records in that folder.
        """
        with RecordLock(self._settings.record):
            await self._run()

    async def _run(self) -> None:
        settings = self._settings
        reopen = Reopener(settings.connection, settings.baud)
        link = self._first_link(reopen)
        name = link.name if link else settings.connection
        reader = LinkReader(link, reopen, self._clock)
        self._intake = Intake(reader, self._gate, self._clock)
        reader.relief = self._intake.advance
        door: asyncio.Task[None] | None = None
        try:
            # Before any output: whoever reads it may stop us at once.
            self._on_signals()
            # Before the look back: what comes in meanwhile waits for the record.
            reader.start()
            host, port = settings.listen
            craft, greeting = settings.profile.craft.name, self._publisher.trip_line
            port = await self._feed.open(host, port, craft, self._on_command, greeting)
            self._open_book()
            self._intake.record_to(self._book.write if self._book is not None else None)
            print_line(f"link {name}")
            if self._book:
                print_line(f"record {self._book.folder}")
            print_line(f"feed on {host}:{port}")
            self._began_s = time.monotonic()
            notify.ready(f"link {name}, feed on {host}:{port}")
            door = asyncio.create_task(self._keep_door())
            await self._serve(reader, name, door)
        finally:
            self._ending.begin()
            notify.stopping()
            reader.stop()
            if door is not None:
                door.cancel()
                await asyncio.wait({door})
            await self._feed.close()
            if self._book is not None:
                kept = self._keeper.kept() if self._keeper.is_whole else None
                self._book.close(kept, self._ending.left_s())
            self._ending.is_over = True

    async def _keep_door(self) -> None:
        """Let paired viewers in; a door that fails is opened again after a pause."""
        settings = self._settings.door
        if settings is None:
            return

        def opened(port: int) -> None:
            print_line(f"crew on {settings.host}:{port}")

        while True:
            try:
                await CrewDoor(settings, self._feed, opened).run()
            except Exception as fault:
                self._door.failed(time.monotonic(), fault)
            await asyncio.sleep(self._door.pause_s)

    def _keep_trip(self, book: SessionBook | None = None) -> TripKeeper:
        settings = self._settings
        return TripKeeper(
            settings.profile,
            settings.system_id,
            book.kept if book else None,
            book.past if book else None,
            settings.aim,
            start_us=self._clock.start_us,
            present=self._present,
            written=lambda: self._book is None or self._book.flush(),
            settle=self._settle,
        )

    def _settle(self, verdict: Verdict) -> None:
        if self._book is not None:
            self._book.settle(verdict)

    def _present(self, until_us: int) -> Session | None:
        """Return the session that is being recorded, up to a stamp [us]."""
        return self._book.present(until_us) if self._book else None

    def _open_book(self) -> None:
        """Begin a session; if the autopilot kept running, it goes on with an earlier trip."""
        settings = self._settings
        if settings.record is None:
            return
        text = settings.profile_text and without_key(settings.profile_text)
        followed = settings.system_id or settings.profile.link.system_id
        catch_up = partial(caught_up, settings.profile, settings.system_id)
        self._book = SessionBook(settings.record, self._clock.start_us, text, followed, catch_up)
        self._keeper = self._keep_trip(self._book)

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
        self._ending.listen(loop, self._stop)
        # Ignored from outside (nohup) stays ignored.
        if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:
            loop.add_signal_handler(signal.SIGHUP, self._reload)

    async def _serve(self, reader: LinkReader, name: str, door: "asyncio.Task[None]") -> None:
        due_s = time.monotonic()
        while not self._stop.is_set():
            self._tick(reader, name)
            if door.done():
                door.result()
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
        while reader.waiting_bytes:
            self._tick(reader, name)

    def _tick(self, reader: LinkReader, name: str) -> None:
        """Have what came in recorded, then give it to each subscriber, whatever the others do."""
        # Read before the bytes are taken: what comes in after is stamped later.
        now_s, now_us = time.monotonic(), self._clock()
        assert self._intake is not None
        parts = self._intake.turn()
        self._figures.run(now_s, lambda: self._take_in(parts, now_s, now_us))
        self._requests.run(now_s, lambda: self._ask(reader, parts, now_s))
        self._saving.run(now_s, lambda: self._save(now_s, now_us))
        self._watch_link(reader.problem)
        running = partial(self._running, reader, now_s)
        self._publishing.run(now_s, lambda: self._publisher.publish(running(), name))
        if self._watchdog_every_s is not None and now_s >= self._watchdog_due_s:
            self._watchdog_due_s = now_s + self._watchdog_every_s
            notify.watchdog()
            notify.status(f"{name}: {self._ride.messages} messages, {self._feed.viewers} viewers")
        learned = self._ride.engine.learner
        self._memory.run(now_s, lambda: self._give_back.if_due(now_s, learned.posterior))

    def _take_in(self, parts: Sequence[Frames], now_s: float, now_us: int) -> None:
        """Return the figures what came in."""
        assert self._intake is not None
        before = self._ride.decoder.messages
        self._keeper.take(parts, now_us)
        if self._intake.fell_behind:
            self._intake.fell_behind = False
            self._keeper.failed(BehindError("more came in than could be taken"))
        if self._ride.decoder.messages > before or (self._keeper.why_none and self._ours(parts)):
            self._publisher.heard(now_s)
        if self._keeper.poll(now_s):
            self._publisher.another_ride()
        craft = self._ride.decoder.craft
        if self._asked is None and craft.system_id is not None:
            # For the whole run: a viewer that begins a new trip changes nothing on the link.
            self._asked = self._intake.followed = craft.system_id, craft.component_id

    def _ours(self, parts: Sequence[Frames]) -> bool:
        """Return whether the followed craft is among the senders."""
        return self._asked is not None and any(
            bool((frames.system_id == self._asked[0]).any()) for frames in parts
        )

    def _ask(self, reader: LinkReader, parts: Sequence[Frames], now_s: float) -> None:
        """Ask the autopilot for what is missing."""
        for frames in parts:
            self._asking.observe(frames, now_s)
        reader.write(self._asking.due(now_s, *(self._asked or (None, None))))

    def _save(self, now_s: float, now_us: int) -> None:
        """Write the notes beside the record, and what was learned."""
        if self._book is not None:
            if (utc := self._ride.utc) is not None:
                self._book.note_utc(utc, now_us)
            if self._keeper.is_whole and self._book.save_if_due(now_s, self._keeper.kept):
                self._give_back.soon()

    def _running(self, reader: LinkReader, now_s: float) -> Running:
        assert self._intake is not None
        return Running(
            now_s,
            reader.problem,
            self._began_s if reader.received_s is None else reader.received_s,
            reader.dropped_bytes,
            self._gate.refused,
            self._book.alerts if self._book is not None else (),
            self._intake.scan_faults.count,
            self._intake.record_faults.count,
            tuple(self._keeper.alerts()),
            [one for one in self._subscribers if one.failing],
        )

    def _on_command(self, command: Command, reply: Reply) -> None:
        """Do what a viewer says, and write it down."""
        placed = with_place(command, self._ride)
        if isinstance(placed, Refused):
            reply(placed.why, None)
            return
        one = noted(placed, self._ride, self._keeper.last_stamp_us)
        try:
            why_not = obey(placed, self._ride, lambda: self._new_trip(one))
        except Exception as fault:
            # The figures may have been left half changed.
            self._keeper.failed(fault)
            why_not = Refusal(RefusalCode.FAULT)
        # A new trip is noted where the old one ends.
        if why_not is None and not (isinstance(placed, Mark) and placed.mark == "new_trip"):
            self._keeper.say(one)
            if self._book is not None:
                self._book.mark(one)
        reply(why_not, placed)

    def _new_trip(self, said: Noted) -> Refusal | None:
        """Begin a new trip, in a session of its own; set-up and reserve stay as they are."""
        assert self._intake is not None
        if not self._keeper.caught_up:
            return Refusal(RefusalCode.READING_RECORD)
        if self._book is not None and self._book.behind:
            # What waits for the card belongs to the trip of now, and would be lost.
            return Refusal(RefusalCode.CARD_BEHIND)
        with self._intake.at_rest() as parts:
            # What is in the old record belongs to the old trip.
            self._take_in(parts, time.monotonic(), self._clock())
            stay = settings_in_force(self._ride, self._keeper.profile)
            if self._book is not None:
                self._book.mark(said)
                try:
                    self._book.begin_anew(self._clock(), self._keeper.kept())
                except RecordError as problem:
                    return Refusal(
                        RefusalCode.CANNOT_RECORD, path=problem.path, errno=problem.number
                    )
        self._keeper.new_trip()
        self._publisher.another_ride()
        for one in stay:
            obey(one, self._ride, lambda: None)
            if self._book is not None:
                self._book.mark(noted(one, self._ride, self._keeper.last_stamp_us))
        return None

    def _reload(self) -> None:
        """Reload the profile, and say what became of it; a faulty one changes nothing."""
        path = self._settings.profile_path
        if path is None:
            log.warning("no --profile was given: nothing to reload", extra=ANSWER)
            return
        notify.reloading()
        try:
            profile = load_profile(path)
            if profile.battery is None and self._keeper.profile.battery is not None:
                # More likely a file half written than a pack taken out under way.
                raise ProfileError(
                    f"{path}: it has no [battery], and one is in use: restart to go without"
                )
        except ProfileError as problem:
            log.error("%s: keeping the profile in use", problem, extra=ANSWER)
        else:
            log.info("%s: reloaded; link, record and feed stay as they are", path, extra=ANSWER)
            self._keeper.reload(profile)
        finally:
            notify.ready()

    def _watch_link(self, problem: LinkError | None) -> None:
        """Say once when the link goes down and when it comes back."""
        said = None if problem is None else str(problem)
        if said != self._link_said:
            log.warning("%s", said or "the link is back")
            self._link_said = said
