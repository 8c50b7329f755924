"""What the rider should know: one row for each alert, with its level and its sentence.

A condition of the engine's is a second row, in `onboard/efficiency/advice/conditions.py`; alerts of
the daemon's own are raised in `onboard/daemon/own_alerts.py`.
"""

from typing import Literal

from onboard.contract.codes import Code, Statement, Value
from onboard.dataclass import dataclass

Level = Literal["note", "warning", "danger"]


class AlertCode(Code):
    """An alert's row: code, level, sentence with a gap for each value."""

    level: Level

    def __init__(self, code: str, level: Level = "note", sentence: str = "") -> None:
        super().__init__(code, sentence)
        self.level = level

    # Danger first, as on the screen.
    TURN_BACK = (
        "turn_back", "danger",
        "Turn back now: the way home takes all that is left above the reserve.",
    )  # fmt: skip
    RESERVE_REACHED = "reserve_reached", "danger", "Reserve or cut-off reached: land now."
    NEAR_CUTOFF = "near_cutoff", "danger", "Battery at {volts_v}, near its cut-off: ease off now."
    CELL_LOW = (
        "cell_low", "danger",
        "Cell {cell} of {source} at {cell_v}, near its cut-off: ease off now.",
    )  # fmt: skip
    DRIVE_HOT = (
        "drive_hot", "danger",
        "Motor drive at {temperature_degc}: ease off and let it cool.",
    )  # fmt: skip

    ENERGY_LOW = "energy_low", "warning", "Only {left_wh} left above the reserve: head for home."
    CANNOT_BE_MADE = (
        "cannot_be_made", "warning",
        "Target, {to_go_m} to go: in doubt at any speed tried. {best_m} is sure, at "
        "{best_speed_mps}.",
    )  # fmt: skip
    WEED = (
        "weed", "warning",
        "It takes {more_fraction} more power than usual: weed or a fouled propeller?",
    )  # fmt: skip
    HEAT_LIMITING = (
        "heat_limiting", "warning",
        "Power is falling at constant throttle: the drive may be cutting back for heat. Ease off.",
    )  # fmt: skip
    NO_POWER_DATA = (
        "no_power_data", "warning",
        "No battery data: energy is not counted. Ride as if it were low.",
    )  # fmt: skip
    NO_SPEED = (
        "no_speed", "warning",
        "No speed from the GPS: distance is not counted. Give it a clear view of the sky.",
    )  # fmt: skip
    SOURCE_SILENT = (
        "source_silent", "warning",
        "Gone silent: {sources}. Power and range are unknown. If you unplugged it, say so in the "
        "craft view.",
    )  # fmt: skip
    SOURCE_UNPLUGGED = (
        "source_unplugged", "warning",
        "Unplugged: {sources}. Energy left still counts the whole battery in the profile.",
    )  # fmt: skip
    CURRENT_DEAD = (
        "current_dead", "warning",
        "The current sensor reads nothing under way: energy is not counted. Check its plug.",
    )  # fmt: skip
    CURRENT_STUCK = (
        "current_stuck", "warning",
        "The current stays the same whatever the voltage does: sensor stuck or at its limit.",
    )  # fmt: skip
    BATTERY_CONTRADICTED = (
        "battery_contradicted", "warning",
        "The resting voltage contradicts the stated charge: the voltage counts.",
    )  # fmt: skip
    CELLS_UNEVEN = (
        "cells_uneven", "warning",
        "Cells of {source} are {apart_v} apart: cell {cell} will be empty first. Balance them.",
    )  # fmt: skip
    CHARGE_UNSAID = (
        "charge_unsaid", "warning",
        "Charged since {since_utc_s}? Answer in the runs view. Until then the lower figure counts.",
    )  # fmt: skip

    LINK_DOWN = "link_down", "warning", "{link}: {problem} ({errno})."
    LINK_SILENT = "link_silent", "warning", "Nothing over the link for {age_s}: check the cable."
    BYTES_DROPPED = (
        "bytes_dropped", "warning",
        "This board was too slow: {bytes} bytes of telemetry were dropped.",
    )  # fmt: skip
    RECORD_STOPPED = "record_stopped", "warning", "Recording stopped: {path}: {problem} ({errno})."
    RECORD_AT_RISK = "record_at_risk", "warning", "Recording at risk: {path}: {problem} ({errno})."
    MARKS_STOPPED = "marks_stopped", "warning", "Marks are not being saved: {errno}."
    RECORD_MOVED = "record_moved", "warning", "The record {before} goes on in {path}: {problem}."
    RECORD_FAILED = (
        "record_failed", "warning",
        "Program faults in the recorder: {faults}. See the daemon's log.",
    )  # fmt: skip
    SCAN_FAILED = (
        "scan_failed", "warning",
        "Program faults reading the link: {faults}. What came in just then may be missing.",
    )  # fmt: skip
    FIGURES_FAILED = (
        "figures_failed", "warning",
        "The figures failed: working them out again from the record. Recording goes on.",
    )  # fmt: skip
    FIGURES_GIVEN_UP = (
        "figures_given_up", "warning",
        "No figures after {faults} program faults: start a new trip to try again. Recording goes "
        "on.",
    )  # fmt: skip
    PART_LEFT_OUT = (
        "part_left_out", "warning",
        "Left out after a program fault: {parts}. See the daemon's log.",
    )  # fmt: skip
    FEED_FAILED = (
        "feed_failed", "warning",
        "Program faults in the feed: {faults}. Trying again; recording goes on.",
    )  # fmt: skip
    DOOR_FAILED = (
        "door_failed", "warning",
        "Program faults serving paired viewers: {faults}. Trying again; recording goes on.",
    )  # fmt: skip
    COACH_FAILED = (
        "coach_failed", "warning",
        "Program faults in the coach: {faults}. Figures and recording go on; compare the runs at "
        "home.",
    )  # fmt: skip
    REQUESTS_FAILED = (
        "requests_failed", "warning",
        "Program faults asking the autopilot for data: {faults}. Trying again; recording goes on.",
    )  # fmt: skip
    ALERTS_FAILED = (
        "alerts_failed", "warning",
        "Program faults in the daemon's own alerts: {faults}. Trying again; recording goes on.",
    )  # fmt: skip
    MEMORY_FAILED = (
        "memory_failed", "warning",
        "Program faults returning free memory: {faults}. Trying again; recording goes on.",
    )  # fmt: skip
    NOTES_FAILED = (
        "notes_failed", "warning",
        "Program faults in the notes beside the record: {faults}. Trying again; recording goes on.",
    )  # fmt: skip

    COUNTERS_DISAGREE = (
        "counters_disagree", "note",
        "The autopilot's charge counter is {off_fraction} off what its current adds up to: check "
        "the scale.",
    )  # fmt: skip
    IMPLAUSIBLE = (
        "implausible", "note",
        "Impossible values were left out: check the sensors and their wiring.",
    )  # fmt: skip
    SOURCE_LEFT_OUT = (
        "source_left_out", "note",
        "Gone silent: {sources}. It gave little and is left out.",
    )  # fmt: skip
    SOURCE_BRIEF = "source_brief", "note", "Heard only briefly, so left out: {sources}."
    SOURCE_JOINED = (
        "source_joined", "note",
        "Now counted too: {sources}. What it gave before it was heard is not counted.",
    )  # fmt: skip
    FRAMES_REFUSED = (
        "frames_refused", "note",
        "Frames refused: {unsigned} unsigned, {wrong} wrongly signed, {repeated} repeated.",
    )  # fmt: skip
    NEWER = "newer", "note", "An alert that this viewer is too old to explain: {name}."


class Alert(Statement[AlertCode]):
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
