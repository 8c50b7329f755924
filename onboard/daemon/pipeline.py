"""The daemon's pipeline: data of the link are recorded, then passed to each subscriber.

Subscribers are the figures, the requests to the autopilot, the notes beside the record, the feed
and others: each may fail alone. Commands of viewers and a new profile enter asynchronously.
"""

import logging
import math
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from onboard.coach.carried import CarriedTrial, carried_trial
from onboard.coach.live import LiveCoach
from onboard.contract.alerts import AlertCode
from onboard.contract.commands import Command, Mark, Refused, Reply
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.daemon import lean_memory, notify
from onboard.daemon.held_frames import HeldFrames
from onboard.daemon.intake import Intake
from onboard.daemon.own_alerts import Running
from onboard.daemon.publisher import Publisher
from onboard.daemon.quiet_log import ANSWER
from onboard.daemon.rhythm import FOLD_EVERY_S, Rhythm, read_s
from onboard.daemon.run_settings import Settings
from onboard.errors import LinkError, ProfileError, RecordError
from onboard.feed.server import FeedServer
from onboard.profile import load_profile
from onboard.record.marks import TimedCommand, timed_command
from onboard.record.subscriber import Subscriber
from onboard.restarts.learned_update import update_learned
from onboard.restarts.session_book import SessionBook
from onboard.restarts.trip_keeper import BehindError, TripKeeper
from onboard.ride.commands import apply_command, settings_in_force, with_place
from onboard.ride.newest import Reading
from onboard.ride.ride import Ride
from onboard.telemetry.link.link_reader import FINE_S, LinkReader
from onboard.telemetry.link.requests import Requests
from onboard.telemetry.link.stamp_clock import StampClock
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.signing import SignatureGate, Signer, key_from_text, without_key

log = logging.getLogger("wattwake")


class Pipeline:
    """Everything between the link's reader and the feed of one run.

    Parameters
    ----------
    settings
        Settings of the run.
    reader
        Reads the link.
    link
        Name of the link.
    clock
        Clock of receipt.
    """

    def __init__(
        self, settings: Settings, reader: LinkReader, link: str, clock: StampClock
    ) -> None:
        self._settings, self._reader, self._link, self._clock = settings, reader, link, clock
        stated = settings.profile.link
        key = key_from_text(stated.signing_key) if stated.signing_key else None
        self._gate = SignatureGate(key)
        self.intake = Intake(reader, self._gate, clock)
        reader.relief = self.intake.advance
        self._requester = Requests(
            settings.listen_only or stated.listen_only,
            Signer(key, clock, self._gate) if key else None,
            settings.system_id or stated.system_id,
        )
        self.feed = FeedServer()
        self.coach = LiveCoach(settings.system_id)
        self._carried = CarriedTrial()
        self.publisher = Publisher(self.feed, lambda: self.keeper, self.coach.now)
        self.book: SessionBook | None = None
        self.keeper = self._keep_trip()
        self._figures = Subscriber(AlertCode.FIGURES_FAILED, "the figures")
        self._requests = Subscriber(AlertCode.REQUESTS_FAILED, "the requests to the autopilot")
        self._publishing = Subscriber(AlertCode.FEED_FAILED, "the feed")
        self._notes = Subscriber(AlertCode.NOTES_FAILED, "the notes beside the record")
        self._coaching = Subscriber(AlertCode.COACH_FAILED, "the coach")
        self._memory = Subscriber(AlertCode.MEMORY_FAILED, "the return of free memory")
        self.door = Subscriber(AlertCode.DOOR_FAILED, "the door for paired viewers")
        self._subscribers = (
            self._figures,
            self._requests,
            self._publishing,
            self.publisher.watching,
            self._notes,
            self._coaching,
            self._memory,
            self.door,
        )
        self._began_s = time.monotonic()
        self._logged_problem: str | None = None
        self._followed: tuple[int, int | None] | None = None
        self._watchdog_every_s = notify.watchdog_every_s()
        self._watchdog_due_s = 0.0
        self._trimmer = lean_memory.Trimmer()
        self.rhythm = Rhythm()
        self.wake: Callable[[], None] = lambda: None
        """Ends the pause before the next tick, which is a long one without a viewer."""
        self._held = HeldFrames()
        self._readings: dict[str, Reading] | None = None
        """Readings of this tick, newer than the last fold; None after a fold."""
        self._newest_t_s = 0.0

    @property
    def ride(self) -> Ride:
        """The ride that is shown now."""
        return self.keeper.ride

    def begin(self) -> None:
        """Begin a session, unless no record is kept, and record from now on.

        If the autopilot kept running, the session continues an earlier trip.
        """
        settings = self._settings
        if settings.record is not None:
            text = settings.profile_text and without_key(settings.profile_text)
            followed = settings.system_id or settings.profile.link.system_id
            update = partial(update_learned, settings.profile, settings.system_id)
            self._carried = carried_trial(settings.record, self._clock.start_us)
            self.book = SessionBook(settings.record, self._clock.start_us, text, followed, update)
            self.keeper = self._keep_trip(self.book)
        self.intake.record_to(self.book.write if self.book is not None else None)
        self._began_s = time.monotonic()
        for command in self._carried.commands:
            self.on_command(command, lambda *_: None)

    def close(self, left_s: Callable[[], float]) -> None:
        """Save the learned state and close the session.

        Parameters
        ----------
        left_s
            Returns the remaining wait for the card [s].
        """
        self._take_held()
        self.coach.close()
        if self.book is not None:
            saved = self.keeper.saved_state() if self.keeper.is_whole else None
            self.book.close(saved, left_s())

    def _keep_trip(self, book: SessionBook | None = None) -> TripKeeper:
        settings = self._settings
        return TripKeeper(
            settings.profile,
            settings.system_id,
            book.saved_state if book else None,
            book.past if book else None,
            settings.aim,
            start_us=self._clock.start_us,
            present=lambda until_us: self.book.present(until_us) if self.book else None,
            written=lambda: self.book is None or self.book.flush(),
            settle=lambda verdict: self.book.settle(verdict) if self.book else None,
        )

    def tick(self, arrival: bool = False) -> None:
        """Record what has arrived, then run each subscriber, even if others fail.

        Parameters
        ----------
        arrival
            Whether a viewer has just come, which gets a full snapshot.
        """
        # Read the clocks before the bytes are taken: later bytes get later stamps.
        now_s, now_us = time.monotonic(), self._clock()
        parts = self.intake.turn()
        watched = arrival or self.feed.viewers > 0
        if arrival:
            self.rhythm.fold_soon()
        # Without a boot clock, times of receipt are all there is.
        clocked = math.isfinite(self.ride.decoder.time.boot_s)
        self._reader.batch_s = read_s(watched) if clocked else FINE_S
        self._readings = None
        hold = partial(self._hold, parts, watched, now_s, now_us)
        # Where the figures fail, viewers get the reason at every tick.
        folded = self._figures.run(now_s, hold) is not False
        self._requests.run(now_s, lambda: self._request(parts, now_s))
        if folded:
            self._notes.run(now_s, lambda: self.save_notes(now_s, now_us))
            self._coaching.run(now_s, self._coach_turn)
        self._log_link(self._reader.problem)
        if watched:
            self._publishing.run(now_s, lambda: self._publish(now_s))
        elif folded:
            self.publisher.watch(self._running(now_s))
        if self._watchdog_every_s is not None and now_s >= self._watchdog_due_s:
            self._watchdog_due_s = now_s + self._watchdog_every_s
            notify.watchdog()
            viewers, messages = self.feed.viewers, self.ride.messages + self._held.count
            notify.status(f"{self._link}: {messages} messages, {viewers} viewers")
        if folded:
            fit = self.ride.engine.learner.posterior
            self._memory.run(now_s, lambda: self._trimmer.trim_if_due(now_s, fit))

    def greeting(self) -> bytes:
        """Return the trip line for a new viewer; the first one also brings a full snapshot."""
        if not self.feed.viewers:
            self.tick(arrival=True)
            self.wake()
        return self.publisher.trip_line()

    def _hold(self, parts: Sequence[Frames], watched: bool, now_s: float, now_us: int) -> bool:
        """Hold the frames received until the next fold, which may be due; return whether it was."""
        self._held.add(parts, watched)
        if self._held.take_came():
            self.publisher.craft_seen(now_s)
        if not self.rhythm.fold_due(now_s, watched, self._held.count) and self._can_wait(now_s):
            newest = self._held.newest
            if not watched:
                return False
            if newest is not None:
                self._readings = self.publisher.readings(newest, now_s)
                if self._readings is not None and not newest.in_doubt:
                    self._newest_t_s = newest.t_s
                    return False
        self._readings = None
        self._fold(now_s, now_us)
        return True

    def _can_wait(self, now_s: float) -> bool:
        """Return whether nothing needs a fold at once."""
        if self._followed is None or not self.keeper.is_settled:
            return False
        # In silence, messages that wait for a stamp are settled by the time that passes.
        silent = self.publisher.silent_s(now_s) > FOLD_EVERY_S
        return not (silent and self.ride.decoder.time.waiting)

    def _publish(self, now_s: float) -> None:
        if self._readings is None:
            self.publisher.publish(self._running(now_s), self._link)
        else:
            self.publisher.publish_newest(self._readings, self._newest_t_s, now_s)

    def _take_held(self) -> None:
        """Pass the frames held back to the figures before anything else happens to them."""
        if self._held.count:
            now_s, now_us = time.monotonic(), self._clock()
            self._figures.run(now_s, lambda: self.keeper.take(self._held.take(), now_us))

    def _fold(self, now_s: float, now_us: int) -> None:
        """Fold the frames held back, and see whether another ride takes over."""
        self.rhythm.folded(now_s)
        parts = self._held.take()
        before = self.ride.decoder.messages
        self.keeper.take(parts, now_us)
        if self.intake.fell_behind:
            self.intake.fell_behind = False
            self.keeper.failed(BehindError("more came in than could be taken"))
        if not self._held.is_reading and (
            self.ride.decoder.messages > before
            or (self.keeper.why_none and self._has_followed(parts))
        ):
            self.publisher.craft_seen(now_s)
        if self.keeper.poll(now_s):
            self.publisher.another_ride()
        craft = self.ride.decoder.craft
        if self._followed is None and craft.system_id is not None:
            # For the whole run: a new trip changes nothing on the link.
            self._followed = self.intake.followed = craft.system_id, craft.component_id
        self._held.folded(self.ride, parts, self.publisher.silent_s(now_s))

    def _has_followed(self, parts: Sequence[Frames]) -> bool:
        """Return whether the followed craft is among the senders."""
        return self._followed is not None and any(
            bool((frames.system_id == self._followed[0]).any()) for frames in parts
        )

    def _request(self, parts: Sequence[Frames], now_s: float) -> None:
        """Request missing messages from the autopilot."""
        for frames in parts:
            self._requester.observe(frames, now_s)
        self._reader.write(self._requester.due(now_s, *(self._followed or (None, None))))

    def save_notes(self, now_s: float, now_us: int) -> None:
        """Write the notes beside the record and the learned state, if due."""
        if self.book is not None:
            if (utc := self.ride.utc) is not None:
                self.book.note_utc(utc, now_us)
            if self.keeper.is_whole and self.book.save_if_due(now_s, self.keeper.saved_state):
                self._trimmer.trim_soon()

    def _coach_turn(self) -> None:
        keeper = self.keeper
        self.coach.turn(keeper.ride, self._trial_folders(), keeper.last_stamp_us)

    def _trial_folders(self) -> list[Path]:
        """Return the sessions of the present trial: it may have begun before the present trip."""
        if self.book is None:
            return []
        trip = [*(session.folder for session in self.keeper.sessions), self.book.folder]
        return [*self._carried.followed_by(self.ride.trial, trip).folders]

    def _running(self, now_s: float) -> Running:
        reader = self._reader
        return Running(
            now_s,
            reader.problem,
            self._began_s if reader.received_s is None else reader.received_s,
            reader.dropped_bytes,
            self._gate.refused,
            self.book.alerts if self.book is not None else (),
            self.intake.scan_faults.count,
            self.intake.record_faults.count,
            tuple(self.keeper.alerts()),
            [subscriber for subscriber in self._subscribers if subscriber.failing],
        )

    def on_command(self, command: Command, reply: Reply) -> None:
        """Execute a viewer's command, and note it beside the record."""
        # It applies to all that has come in; its effect shows at the next tick.
        self._take_held()
        self.rhythm.fold_soon()
        placed = with_place(command, self.ride)
        if isinstance(placed, Refused):
            reply(placed.why, None)
            return
        timed = timed_command(placed, self.ride, self.keeper.last_stamp_us)
        try:
            refusal = apply_command(placed, self.ride, lambda: self._new_trip(timed))
        except Exception as fault:
            # The figures may have been left in an inconsistent state.
            self.keeper.failed(fault)
            refusal = Refusal(RefusalCode.FAULT)
        # A new trip is noted where the old one ends.
        if refusal is None and not (isinstance(placed, Mark) and placed.mark == "new_trip"):
            self.keeper.add(timed)
            self.coach.mark()
            if self.book is not None:
                self.book.mark(timed)
        reply(refusal, placed)

    def _new_trip(self, mark: TimedCommand) -> Refusal | None:
        """Begin a new trip in a new session; set-up and reserve stay in force."""
        if not self.keeper.caught_up:
            return Refusal(RefusalCode.READING_RECORD)
        if self.book is not None and self.book.behind:
            # Frames queued for the card belong to the present trip, and would be lost.
            return Refusal(RefusalCode.CARD_BEHIND)
        with self.intake.at_rest() as parts:
            # Frames in the old record belong to the old trip.
            self._held.add(parts, False)
            self._fold(time.monotonic(), self._clock())
            stay = settings_in_force(self.ride, self.keeper.profile)
            if self.book is not None:
                self.book.mark(mark)
                carried = self._carried.followed_by(self.ride.trial, self._trial_folders())
                try:
                    self.book.begin_new_trip(self._clock(), self.keeper.saved_state())
                except RecordError as problem:
                    return Refusal(
                        RefusalCode.CANNOT_RECORD, path=problem.path, errno=problem.number
                    )
                self._carried = carried
        self.keeper.new_trip()
        self.publisher.another_ride()
        for command in stay:
            apply_command(command, self.ride, lambda: None)
            if self.book is not None:
                self.book.mark(timed_command(command, self.ride, self.keeper.last_stamp_us))
        return None

    def reload(self) -> None:
        """Reload the profile and log the outcome; a faulty one changes nothing."""
        path = self._settings.profile_path
        if path is None:
            log.warning("no --profile was given: nothing to reload", extra=ANSWER)
            return
        notify.reloading()
        try:
            profile = load_profile(path)
            if profile.battery is None and self.keeper.profile.battery is not None:
                # More likely a half-written file than a pack removed under way.
                raise ProfileError(
                    f"{path}: it has no [battery], and one is in use: restart to go without"
                )
        except ProfileError as problem:
            log.error("%s: keeping the profile in use", problem, extra=ANSWER)
        else:
            log.info("%s: reloaded; link, record and feed stay as they are", path, extra=ANSWER)
            self.keeper.reload(profile)
        finally:
            notify.ready()

    def _log_link(self, problem: LinkError | None) -> None:
        """Log when the link goes down and when it is back, once each."""
        text = None if problem is None else str(problem)
        if text != self._logged_problem:
            log.warning("%s", text or "the link is back")
            self._logged_problem = text
