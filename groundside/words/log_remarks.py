"""What is said about a saved log: remarks, and the alerts that came up in it."""

from collections.abc import Mapping

from groundside.words.alerts import alert_text
from groundside.words.filling import Sentence, fill
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.alerts import Alert
from onboard.contract.codes import Statement, Value
from onboard.contract.log_remarks import LogRemark, LogRemarkCode


def log_remark_text(remark: LogRemark, units: Units) -> str:
    """Return the sentence of a remark; a reason among its values is put in words.

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
    said: Statement = remark
    if remark.reason is not None:
        words = {"reason": reason_text(remark.reason, units)}
        said = Statement(remark.code, **{**remark.values, **words})
    return fill(LOG_REMARKS[remark.code], said, units)


def event_text(what: Alert | LogRemark, units: Units) -> str:
    """Return the sentence of an event in a log."""
    if isinstance(what, Alert):
        return alert_text(what, units)
    return log_remark_text(what, units)


def _lacking(what: str, sum_of_it: str) -> Sentence:
    def sentence(values: Mapping[str, Value], units: Units) -> str:
        without = f"no {sum_of_it}, no {units.consumption_name}, no range"
        return f"No {what} in this log ({values['reason']}): {without}."

    return sentence


def _clock_not_set(values: Mapping[str, Value], units: Units) -> str:
    del units
    dated = DATED.get(str(values["dated_by"]), "its date is in doubt")
    return f"The autopilot's clock was never set in this log: {dated}."


DATED: Mapping[str, str] = {
    "stamps": "its date is taken from the stamps",
    "nothing": "it has no date",
}
"""Where a log's date is from if the autopilot's clock was never set."""

LOG_REMARKS: Mapping[LogRemarkCode, Sentence] = {
    LogRemarkCode.DAMAGED: (
        "{bad_fraction} of this log cannot be read: it is damaged. Only the rest is counted."
    ),
    LogRemarkCode.FILE_MISSING: (
        "Missing from this session's folder: {files}. What was recorded there is not counted."
    ),
    LogRemarkCode.NO_AUTOPILOT: "No autopilot in this log: there is no craft to report on.",
    LogRemarkCode.OTHER_CRAFT: (
        "Another craft is in this log (system {other_systems}); system {system} is followed."
    ),
    LogRemarkCode.NO_POWER: _lacking("battery power", "energy"),
    LogRemarkCode.NO_SPEED: _lacking("speed", "distance"),
    LogRemarkCode.CLOCK_NOT_SET: _clock_not_set,
    LogRemarkCode.PACKS_SUMMED: (
        "Energy is the sum of the batteries that measure current: {packs}."
    ),
    LogRemarkCode.PACKS_UNMEASURED: (
        "What battery {packs} gives is not measured: it is not counted."
    ),
    LogRemarkCode.SEVERAL_RECEIVERS: (
        "Several GPS receivers are in this log ({receivers}); only one counts."
    ),
    LogRemarkCode.SILENT_AT_END: (
        "At the end of this log: {reason}. What happened then is not counted."
    ),
}
