"""What a review of one log comes to: made once by `summary`, read by whatever tells or draws it."""

from dataclasses import dataclass

from onboard.contract.alerts import Alert
from onboard.contract.figure import Estimate, Unknown
from onboard.contract.log_remarks import LogRemark
from onboard.contract.snapshot import BatteryState, Curve, SetAndDrift, Trip
from onboard.efficiency.trip.speed_bands import Band


@dataclass(frozen=True)
class LogSaid:
    """What a log holds, whatever craft is in it.

    Parameters
    ----------
    format
        `telemetry` or `onboard`.
    messages, bad_bytes
        How many, and how many bytes form none.
    start_utc
        When it begins: by the autopilot's clock, else by the stamps.
    duration_s
        How long it lasts.
    """

    format: str
    messages: int
    bad_bytes: int
    start_utc: str | Unknown
    duration_s: float


@dataclass(frozen=True)
class LogEvent:
    """An alert that came up, or what is to be known of the log.

    Parameters
    ----------
    t_s
        When, in stream time; 0 for what holds of the whole log.
    what
        Which.
    """

    t_s: float
    what: Alert | LogRemark


@dataclass(frozen=True)
class Review:
    """What one log comes to.

    Parameters
    ----------
    log
        What it holds.
    trip
        The trip's sums.
    bands
        What was done at each band of speed.
    curve, set_and_drift
        What was learned of craft and water.
    battery, range_m, time_left_s
        What was left at the end, and how far and how long it would have gone.
    events
        In order of time.
    """

    log: LogSaid
    trip: Trip
    bands: tuple[Band, ...]
    curve: Curve | Unknown
    set_and_drift: SetAndDrift | Unknown
    battery: BatteryState | Unknown
    range_m: Estimate
    time_left_s: Estimate
    events: tuple[LogEvent, ...]
