"""Remarks on a saved log as a whole: one row for each, with its values."""

from onboard.contract.codes import Code, Statement, Value
from onboard.contract.figure import Unknown


class LogRemarkCode(Code):
    """A remark's row: code, meaning, names of the values."""

    DAMAGED = "damaged", "part of the log cannot be read", "bad_fraction"
    FILE_MISSING = "file_missing", "files of the session's record are missing", "files"
    NO_AUTOPILOT = "no_autopilot", "no craft is in the log"
    OTHER_CRAFT = (
        "other_craft", "another craft is in the log; `system` is followed",
        "other_systems", "system",
    )  # fmt: skip
    NO_POWER = "no_power", "no battery power was counted", "reason"
    NO_SPEED = "no_speed", "no distance was counted", "reason"
    CLOCK_NOT_SET = (
        "clock_not_set", "the autopilot's clock was never set; where the date is from: `stamps` or "
        "`nothing`", "dated_by",
    )  # fmt: skip
    PACKS_SUMMED = "packs_summed", "energy is the sum of several batteries", "packs"
    PACKS_UNMEASURED = "packs_unmeasured", "batteries whose current is not measured", "packs"
    SEVERAL_RECEIVERS = "several_receivers", "only one of several GPS receivers counts", "receivers"
    SILENT_AT_END = (
        "silent_at_end", "what was counted falls silent before the end", "reason"
    )  # fmt: skip


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
