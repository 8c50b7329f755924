"""Problems with the card that the record is written to, in words."""

from collections.abc import Mapping

from groundside.words.filling import system_words
from onboard.contract.codes import Value
from onboard.record.card_trouble import BECAME, CARD_TROUBLE

PROBLEMS: Mapping[str, str] = {
    "refused": "the card refuses it",
    "fault": "a program fault",
    "no_answer": "the card does not answer",
    "takes_nothing": "the card accepts nothing",
}
"""Why the record cannot be written, by the recorder's codes; an error number is more specific."""


def card_words(values: Mapping[str, Value]) -> str:
    """Return the problem and its path.

    Examples
    --------
    >>> card_words({"path": "records", "problem": "refused", "errno": 28})
    'no space left on the card (records)'
    >>> card_words({"path": "records", "problem": "no_answer", "errno": None})
    'the card does not answer (records)'
    """
    number, problem = values["errno"], str(values["problem"])
    trouble = PROBLEMS.get(problem, "")
    if isinstance(number, int):
        trouble = CARD_TROUBLE.get(number) or system_words(number)
    if problem in BECAME:
        trouble = f"the file {BECAME[problem]}, and no other can be made: {trouble}"
    return f"{trouble} ({values['path']})"


def moved_words(values: Mapping[str, Value]) -> str:
    """Return the sentence about a record that is continued in another file.

    Examples
    --------
    >>> moved_words({"before": "telemetry.tlog", "path": "telemetry-2.tlog", "problem": "removed"})
    'The record telemetry.tlog was removed: recording goes on in telemetry-2.tlog.'
    """
    became = BECAME.get(str(values["problem"]), "is in doubt")
    return f"The record {values['before']} {became}: recording goes on in {values['path']}."
