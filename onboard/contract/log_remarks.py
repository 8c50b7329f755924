"""What is to be known once of a saved log: a row a remark, with its values."""

from onboard.contract.codes import Code, Statement, Value
from onboard.contract.figure import Unknown


class LogRemarkCode(Code):
    """A remark: code, meaning, names of the values."""

    DAMAGED = "damaged", "so much of the log cannot be read", "bad_fraction"
    FILE_MISSING = "file_missing", "files of the session's record are gone", "files"
    NO_AUTOPILOT = "no_autopilot", "no craft is in the log"
    OTHER_CRAFT = (
        "other_craft", "another craft is in the log; which is followed", "other_systems", "system"
    )  # fmt: skip
    NO_POWER = "no_power", "no battery power was counted; the reason's code", "reason"
    NO_SPEED = "no_speed", "no distance was counted; the reason's code", "reason"
    CLOCK_NOT_SET = (
        "clock_not_set", "the autopilot's clock was never set; what the date is by: `stamps` or "
        "`nothing`", "dated_by",
    )  # fmt: skip
    PACKS_SUMMED = "packs_summed", "energy is the sum of several batteries", "packs"
    PACKS_UNMEASURED = "packs_unmeasured", "batteries whose current nobody measures", "packs"
    SEVERAL_RECEIVERS = "several_receivers", "one of several GPS receivers counts", "receivers"
    SILENT_AT_END = (
        "silent_at_end", "what was counted falls silent before the end; the reason's code", "reason"
    )  # fmt: skip


class LogRemark(Statement):
    """A remark on a saved log.

    Parameters
    ----------
    code, values
        Which, with its values.
    reason
        Of a row that has one: why what it lacks is unknown. Among the values stands its code.

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
