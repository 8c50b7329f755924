"""The result of reviewing one log: made by `summary`, read by whatever prints or draws it."""

from dataclasses import dataclass

from onboard.contract.alerts import Alert
from onboard.contract.figure import Estimate, Unknown
from onboard.contract.log_remarks import LogRemark
from onboard.contract.snapshot import BatteryState, Curve, SetAndDrift, Trip
from onboard.efficiency.trip.speed_bands import Band


@dataclass(frozen=True)
class LogSummary:
    """A log's content, whichever craft is in it.

    Parameters
    ----------
    format
        `telemetry` or `onboard`.
    messages, bad_bytes
        Number of messages, and of bytes that form none.
    start_utc
        Start: by the autopilot's clock, else by the stamps.
    duration_s
        Duration.
    """

    format: str
    messages: int
    bad_bytes: int
    start_utc: str | Unknown
    duration_s: float


@dataclass(frozen=True)
class LogEvent:
    """An alert that came up, or a remark on the log.

    Parameters
    ----------
    t_s
        Stream time; 0 for a remark on the whole log.
    what
        The alert or remark.
    """

    t_s: float
    what: Alert | LogRemark


@dataclass(frozen=True)
class Review:
    """The result of one log.

    Parameters
    ----------
    log
        Its content.
    trip
        The trip's sums.
    bands
        By band of speed.
    curve, set_and_drift
        As learned of craft and water.
    battery, range_m, time_left_s
        At the end of the log.
    events
        In order of time.
    """

    log: LogSummary
    trip: Trip
    bands: tuple[Band, ...]
    curve: Curve | Unknown
    set_and_drift: SetAndDrift | Unknown
    battery: BatteryState | Unknown
    range_m: Estimate
    time_left_s: Estimate
    events: tuple[LogEvent, ...]
