"""Remarks on a saved log as a whole: one row for each."""

from onboard.contract.codes import Code, Statement, Value
from onboard.contract.figure import Unknown


class LogRemarkCode(Code):
    """What a reader of a saved log should know."""

    DAMAGED = (
        "damaged",
        "{bad_fraction} of this log cannot be read: it is damaged. Only the rest is counted.",
    )
    FILE_MISSING = (
        "file_missing",
        "Missing from this session's folder: {files}. What was recorded there is not counted.",
    )
    ARCHIVE_CUT = (
        "archive_cut",
        "The archive of this log is cut off or broken: only what could be unpacked is counted.",
    )
    ARCHIVE_CHECKSUM = (
        "archive_checksum",
        "The checksum of this log's archive is wrong: some of the log may have been changed.",
    )
    NO_AUTOPILOT = "no_autopilot", "No autopilot in this log: there is no craft to report on."
    OTHER_CRAFT = (
        "other_craft",
        "Another craft is in this log (system {other_systems}); system {system} is followed.",
    )
    NO_POWER = (
        "no_power",
        "No battery power in this log ({reason}): no energy, no consumption, no range.",
    )
    NO_SPEED = "no_speed", "No speed in this log ({reason}): no distance, no consumption, no range."
    CLOCK_NOT_SET = (
        "clock_not_set",
        "The autopilot's clock was never set in this log: its date is from "
        "{dated_by}: `stamps` or `nothing`.",
    )
    PACKS_SUMMED = (
        "packs_summed",
        "Energy is the sum of the batteries that measure current: {packs}.",
    )
    PACKS_UNMEASURED = (
        "packs_unmeasured",
        "What battery {packs} gives is not measured: it is not counted.",
    )
    SEVERAL_RECEIVERS = (
        "several_receivers",
        "Several GPS receivers are in this log ({receivers}); only one counts.",
    )
    CURRENT_DEAD = (
        "current_dead",
        "The power monitor says 0.00 A all along, though the craft moved: no energy, no "
        "consumption, no range. Check the current sensor.",
    )
    VOLTAGE_STUCK = (
        "voltage_stuck",
        "The voltage stays at {volts_v} all along, though the current changes by {change_a}: it is "
        "not measured. Energy and charge left cannot be right.",
    )
    COURSE_MISSING = (
        "course_missing",
        "The GPS states a speed but no course: nothing can be said about directions and the water.",
    )
    COURSE_STUCK = (
        "course_stuck",
        "The GPS states a course of {course_deg} all along, though its positions turn: directions "
        "cannot be right.",
    )
    POSITION_ZERO = (
        "position_zero",
        "The GPS claims a fix, but its position is 0, 0 all along: it does not count.",
    )
    SILENT_AT_END = (
        "silent_at_end",
        "At the end of this log: {reason}. What happened then is not counted.",
    )


class LogRemark(Statement[LogRemarkCode]):
    """A remark on a saved log; a `reason` among its values is the code of a reason.

    Parameters
    ----------
    code, values
        Which remark, with its values.
    reason
        If the row has one: why what is lacking is unknown. Its code becomes a value.

    Examples
    --------
    >>> from onboard.contract.reasons import Reason
    >>> LogRemark(LogRemarkCode.NO_SPEED, reason=Unknown(Reason.NO_FIX))
    LogRemark(no_speed, reason='no_fix')
    """

    __slots__ = ("reason",)

    def __init__(
        self, code: LogRemarkCode, /, reason: Unknown | None = None, **values: Value
    ) -> None:
        super().__init__(code, **({} if reason is None else {"reason": reason.code.code}), **values)
        self.reason = reason

    def __eq__(self, other: object) -> bool:
        return super().__eq__(other) and self.reason == getattr(other, "reason", None)

    __hash__ = Statement.__hash__
