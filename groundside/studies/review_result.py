"""The result of reviewing one log: made by `summary`, printed and drawn by other modules."""

from onboard.contract.alerts import Alert
from onboard.contract.battery import BatteryState
from onboard.contract.figure import Estimate, Unknown
from onboard.contract.log_remarks import LogRemark
from onboard.contract.snapshot import Curve, SetAndDrift, Trip
from onboard.dataclass import dataclass
from onboard.efficiency.trip.speed_bands import RiddenSpeeds, SpeedBand


@dataclass(frozen=True)
class LogSummary:
    """A log's content, whichever craft is in it.

    Parameters
    ----------
    format
        `telemetry`, `raw` or `onboard`.
    messages, bad_bytes
        Number of messages, and of bytes that belong to none.
    start_utc
        Start, by the autopilot's clock, else by the stamps.
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
    """An alert raised during the log, or a remark on it.

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
        Sums by band of speed over ground, for programs: of the same width for every log.
    curve, set_and_drift
        What was learned about craft and water.
    battery, range_m, time_left_s
        Values at the end of the log.
    events
        Events in order of time.
    ridden
        What the bands are made of, for tables with bands in the reader's units.
    """

    log: LogSummary
    trip: Trip
    bands: tuple[SpeedBand, ...]
    curve: Curve | Unknown
    set_and_drift: SetAndDrift | Unknown
    battery: BatteryState | Unknown
    range_m: Estimate
    time_left_s: Estimate
    events: tuple[LogEvent, ...]
    ridden: RiddenSpeeds
