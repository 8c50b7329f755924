"""What the rider should know: one row for each alert, with its level and values."""

from dataclasses import dataclass
from typing import Literal, Self

from onboard.contract.codes import Code, Statement, Value

Level = Literal["note", "warning", "danger"]


class AlertCode(Code):
    """An alert's row: code, level, meaning, names of the values."""

    level: Level

    def __new__(cls, code: str, level: Level = "note", meaning: str = "", *names: str) -> Self:
        """Make a row."""
        row = str.__new__(cls, code)
        row._value_ = code
        row.level, row.meaning, row.names = level, meaning, names
        return row

    # Danger first, as on the screen.
    TURN_BACK = "turn_back", "danger", "the way home takes all that is left above the reserve"
    RESERVE_REACHED = "reserve_reached", "danger", "the reserve or the cut-off is reached"
    NEAR_CUTOFF = "near_cutoff", "danger", "the battery is near its cut-off", "volts_v"
    DRIVE_HOT = "drive_hot", "danger", "the motor drive is too hot", "temperature_degc"

    ENERGY_LOW = "energy_low", "warning", "little is left above the reserve", "left_wh"
    CANNOT_BE_MADE = (
        "cannot_be_made", "warning", "the target distance cannot be made",
        "best_m", "best_speed_mps",
    )  # fmt: skip
    WEED = "weed", "warning", "more power is drawn than the learned curve tells", "more_fraction"
    HEAT_LIMITING = "heat_limiting", "warning", "power falls at constant throttle"
    NO_POWER_DATA = "no_power_data", "warning", "battery data is missing"
    NO_SPEED = "no_speed", "warning", "speed is missing"
    SOURCE_SILENT = "source_silent", "warning", "sources that count fell silent", "sources"
    SOURCE_UNPLUGGED = "source_unplugged", "warning", "sources were unplugged", "sources"
    CURRENT_DEAD = "current_dead", "warning", "the current sensor reads nothing under way"
    CURRENT_STUCK = (
        "current_stuck",
        "warning",
        "the current stays the same whatever the voltage does",
    )
    BATTERY_CONTRADICTED = (
        "battery_contradicted", "warning", "the resting voltage contradicts the stated charge"
    )  # fmt: skip
    CHARGE_UNSAID = (
        "charge_unsaid", "warning", "whether the pack was charged is not known", "since_utc_s"
    )  # fmt: skip

    LINK_DOWN = "link_down", "warning", "the link is down", "link", "problem", "errno"
    LINK_SILENT = "link_silent", "warning", "nothing comes over the link", "age_s"
    BYTES_DROPPED = "bytes_dropped", "warning", "the board was too slow", "bytes"
    RECORD_STOPPED = (
        "record_stopped", "warning", "frames are not being recorded", "path", "problem", "errno"
    )  # fmt: skip
    RECORD_AT_RISK = (
        "record_at_risk", "warning", "what was recorded may be lost", "path", "problem", "errno"
    )  # fmt: skip
    MARKS_STOPPED = "marks_stopped", "warning", "marks are not being saved", "errno"
    RECORD_MOVED = (
        "record_moved", "warning", "the record goes on in another file",
        "before", "path", "problem",
    )  # fmt: skip
    RECORD_FAILED = "record_failed", "warning", "program faults in the recorder", "faults"
    SCAN_FAILED = "scan_failed", "warning", "program faults reading the link", "faults"
    FIGURES_FAILED = "figures_failed", "warning", "the figures failed and are worked out again"
    FIGURES_GIVEN_UP = "figures_given_up", "warning", "no figures until a new trip", "faults"
    PART_LEFT_OUT = "part_left_out", "warning", "parts are left out after program faults", "parts"
    FEED_FAILED = "feed_failed", "warning", "program faults in the feed", "faults"
    DOOR_FAILED = "door_failed", "warning", "program faults serving paired viewers", "faults"
    REQUESTS_FAILED = (
        "requests_failed",
        "warning",
        "program faults asking the autopilot for data",
        "faults",
    )
    ALERTS_FAILED = "alerts_failed", "warning", "program faults in the daemon's alerts", "faults"
    MEMORY_FAILED = "memory_failed", "warning", "program faults returning free memory", "faults"
    NOTES_FAILED = (
        "notes_failed",
        "warning",
        "program faults in the notes beside the record",
        "faults",
    )

    COUNTERS_DISAGREE = (
        "counters_disagree", "note", "the autopilot's charge counter contradicts its current",
        "off_fraction",
    )  # fmt: skip
    IMPLAUSIBLE = "implausible", "note", "impossible values were left out"
    SOURCE_LEFT_OUT = "source_left_out", "note", "sources that gave little fell silent", "sources"
    SOURCE_BRIEF = "source_brief", "note", "sources heard only briefly are left out", "sources"
    SOURCE_JOINED = "source_joined", "note", "sources came in later", "sources"
    FRAMES_REFUSED = (
        "frames_refused", "note", "frames were refused for their signatures",
        "unsigned", "wrong", "repeated",
    )  # fmt: skip
    NEWER = "newer", "note", "an alert that this viewer does not know", "name"


class Alert(Statement):
    """An alert that is on.

    Parameters
    ----------
    code, values
        Which alert, with its present values.
    since_s
        How long it has been on [s].

    Its `level` is its row's; that of an alert unknown to this viewer is what the daemon says.
    """

    __slots__ = ("level", "since_s")
    code: AlertCode

    def __init__(self, code: AlertCode, since_s: float = 0.0, /, **values: Value) -> None:
        super().__init__(code, **values)
        self.since_s = since_s
        self.level: Level = code.level

    def __eq__(self, other: object) -> bool:
        return super().__eq__(other) and self.since_s == getattr(other, "since_s", None)

    __hash__ = Statement.__hash__


@dataclass(frozen=True)
class Event:
    """An alert that came up, as it was then.

    Parameters
    ----------
    t_s
        Stream time when it came up.
    alert
        The alert, with the values that it had then.
    """

    t_s: float
    alert: Alert
