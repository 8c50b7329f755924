"""Remarks on a saved log in words, and the alerts raised during it."""

from collections.abc import Mapping

from groundside.words.alerts import alert_text
from groundside.words.filling import Values, Wording, statement_text
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.alerts import Alert
from onboard.contract.codes import Code, Statement
from onboard.contract.log_remarks import LogRemark, LogRemarkCode


def log_remark_text(remark: LogRemark, units: Units) -> str:
    """Return the sentence of a remark, with a reason among its values in words.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> from onboard.contract.figure import Unknown
    >>> from onboard.contract.reasons import Reason
    >>> why = Unknown(Reason.SPEED_QUIET, source="", age_s=59.0)
    >>> silent = LogRemark(LogRemarkCode.SILENT_AT_END, reason=why)
    >>> log_remark_text(silent, CHOICES["km/h"])
    'At the end of this log: no speed for 59 s. What happened then is not counted.'
    """
    worded: Statement[LogRemarkCode] = remark
    if remark.reason is not None:
        reason = {"reason": reason_text(remark.reason, units)}
        worded = Statement(remark.code, **{**remark.values, **reason})
    return statement_text(worded, units, WORDINGS)


def event_text(what: Alert | LogRemark, units: Units) -> str:
    """Return the sentence of an event in a log."""
    if isinstance(what, Alert):
        return alert_text(what, units)
    return log_remark_text(what, units)


def _lacking(what: str, sum_of_it: str) -> Wording:
    def wording(values: Values, units: Units) -> str:
        without = f"no {sum_of_it}, no {units.consumption_name}, no range"
        return f"No {what} in this log ({values['reason']}): {without}."

    return wording


def _clock_not_set(values: Values, _units: Units) -> str:
    dated = DATED.get(str(values["dated_by"]), "its date is in doubt")
    return f"The autopilot's clock was never set in this log: {dated}."


DATED: Mapping[str, str] = {
    "stamps": "its date is taken from the stamps",
    "nothing": "it has no date",
}
"""Source of a log's date if the autopilot's clock was never set."""

WORDINGS: Mapping[Code, Wording] = {
    LogRemarkCode.NO_POWER: _lacking("battery power", "energy"),
    LogRemarkCode.NO_SPEED: _lacking("speed", "distance"),
    LogRemarkCode.CLOCK_NOT_SET: _clock_not_set,
}
"""Remarks that need more than gaps; the sentences of all others are rows of the contract."""
