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
    SILENT_AT_END = (
        "silent_at_end",
        "At the end of this log: {reason}. What happened then is not counted.",
    )


class LogRemark(Statement):
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
    code: LogRemarkCode

    def __init__(
        self, code: LogRemarkCode, /, reason: Unknown | None = None, **values: Value
    ) -> None:
        super().__init__(code, **({} if reason is None else {"reason": reason.code.code}), **values)
        self.reason = reason

    def __eq__(self, other: object) -> bool:
        return super().__eq__(other) and self.reason == getattr(other, "reason", None)

    __hash__ = Statement.__hash__
