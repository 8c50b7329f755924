"""The review of one log: its facts, its events and the trip's sums."""

from dataclasses import replace
from pathlib import Path

from groundside.reports.review.instruments import Instruments
from groundside.reports.review.log_inspection import log_remarks
from groundside.reports.review.saved_reasons import at_end, without_current
from groundside.studies.review_result import LogEvent, LogSummary, Review
from groundside.studies.ride_series import PieceMaker, Series
from groundside.studies.velocity_cells import VelocityCells
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.errors import LogError
from onboard.profile import Profile
from onboard.record.marks import read_marks
from onboard.restarts.refold import load_carried, replay
from onboard.ride.ride import Ride, utc_text
from onboard.telemetry.logs.formats import format_of, open_log
from onboard.telemetry.logs.log_files import LogFacts, Progress, session_folder

PLAUSIBLE_FROM_S = 1e9
"""September 2001 [s since the Unix epoch]: an earlier stamp comes from a clock that was never
set."""


class SeriesRecorder:
    """Collects the data for plots while a log is read."""

    def __init__(self) -> None:
        self.series: Series | None = None
        """The result, once the log has been read."""
        self._pieces, self._velocities = PieceMaker(), VelocityCells()

    def begin(self, ride: Ride) -> None:
        """Subscribe to a ride before its first block."""
        ride.engine.second_listeners += [self._pieces.fold, self._velocities.fold]

    def end(self, ride: Ride, profile: Profile) -> None:
        """Make the series, after the end of the ride."""
        made = self._pieces
        line, velocities = ride.engine.trip_line, self._velocities
        self.series = Series(profile.craft.name, line, made.every_s, made.rows, velocities)


def review(
    path: Path,
    profile: Profile,
    system_id: int | None = None,
    progress: Progress | None = None,
    recorder: SeriesRecorder | None = None,
) -> Review:
    """Read a whole log, apply its session's marks, and sum up the trip.

    Parameters
    ----------
    path
        The log, or a session's folder.
    profile
        The craft.
    system_id
        MAVLink system to follow; None for the profile's, else the one that sends most.
    progress
        Called with the bytes read so far.
    recorder
        Collects the data for plots; None if not requested.

    Raises
    ------
    LogError
        If the log cannot be read, or lacks the system to follow.
    """
    folder = session_folder(path)
    ride, log = _begin(profile, system_id, folder), open_log(path)
    instruments = Instruments()
    ride.engine.block_listeners.append(instruments.fold)
    if recorder is not None:
        recorder.begin(ride)
    replay(ride, log.parts(progress), read_marks(folder) if folder else ())
    ride.finish()
    if recorder is not None:
        recorder.end(ride, profile)
    facts = log.facts()
    craft = ride.decoder.craft
    if craft.system_id is None and craft.others:
        others = ", ".join(str(number) for number in sorted(craft.others))
        raise LogError(f"{path}: no autopilot of the system asked for: it holds system {others}")
    result = _summed_up(ride, facts, instruments, str(path))
    if (craft.system_id is not None or not craft.frames) and _holds_nothing(result):
        what = format_of(path).without_power_or_speed(facts.messages)
        raise LogError(f"{path}: {what} {'records' if not craft.frames else 'frames'}")
    return result


def _begin(profile: Profile, system_id: int | None, folder: Path | None) -> Ride:
    """Return a ride with the battery as it was known when the session's trip began.

    The curve is the log's own.
    """
    carried = None if folder is None else load_carried(folder)
    if carried is not None:
        try:
            return Ride(profile, system_id, {**carried, "curves": None})
        except ValueError:  # written by another version
            pass
    return Ride(profile, system_id)


def _summed_up(ride: Ride, facts: LogFacts, instruments: Instruments, source: str) -> Review:
    snapshot, start_utc = at_end(ride.snapshot(source, age_s=0.0)), _start_utc(ride, facts)
    ridden, curve = ride.engine.ridden(), at_end(ride.engine.curve())
    if instruments.current_is_dead(snapshot.trip.moving_s):
        snapshot, curve = without_current(snapshot), Unknown(Reason.CURRENT_DEAD)
        ridden = replace(ridden, cells=())
    alerts = (LogEvent(event.t_s, event.alert) for event in ride.engine.events)
    events = [*log_remarks(ride, facts, instruments, snapshot, start_utc), *alerts]
    return Review(
        log=LogSummary(facts.format, facts.messages, facts.bad_bytes, start_utc, facts.duration_s),
        trip=snapshot.trip,
        bands=ridden.bands(),
        curve=curve,
        set_and_drift=snapshot.set_and_drift,
        battery=snapshot.battery,
        range_m=snapshot.range_m.now,
        time_left_s=snapshot.time_left_s,
        events=tuple(sorted(events, key=lambda event: event.t_s)),
        ridden=ridden,
    )


def _holds_nothing(result: Review) -> bool:
    """Return whether no instrument of power or speed has been in a log."""
    return result.trip.energy_wh == Unknown(Reason.NO_POWER_MONITOR_IN_LOG) and (
        result.trip.distance_m == Unknown(Reason.NO_GPS_IN_LOG)
    )


def _start_utc(ride: Ride, facts: LogFacts) -> str | Unknown:
    """Return UTC at the log's start, from the autopilot's clock or else from plausible stamps."""
    stated = ride.engine.latest.at("clock", "utc_s")
    if stated is not None and stated[1] > 0:
        return utc_text(stated[1] - stated[0])
    if facts.first_s is None or facts.first_s < PLAUSIBLE_FROM_S:
        return Unknown(Reason.NO_DATE)
    return utc_text(facts.first_s)
