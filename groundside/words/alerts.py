"""Alerts in words: what is wrong and, if the rider can do something about it, what to do.

The sentence of a new alert is its row in `onboard/contract/alerts.py`; only sentences that need
more than gaps are here.
"""

import datetime
from collections.abc import Mapping

from groundside.words.card import card_words, moved_words
from groundside.words.filling import Values, Wording, statement_text, written
from groundside.words.units import Units
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.codes import Code

LATEST_S = 1e11
"""The year 5138 [s since the Unix epoch]: a clock that reads later is wrong."""


def alert_text(alert: Alert, units: Units) -> str:
    """Return the sentence of an alert, with its values.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> best = {"best_m": 4_444.8, "best_speed_mps": 2.0}
    >>> alert = Alert(AlertCode.CANNOT_BE_MADE, 9.0, to_go_m=18_520.0, **best)
    >>> alert_text(alert, CHOICES["kn"])
    'Target, 10.0 NM to go: in doubt at any speed tried. 2.4 NM is sure, at 3.9 kn.'
    """
    if alert.code in LAST_KNOWN and None in alert.values.values():
        return LAST_KNOWN[alert.code]
    return statement_text(alert, units, WORDINGS)


def _charge_unsaid(values: Values, _units: Units) -> str:
    since_s, when = values["since_utc_s"], "it was last seen"
    if isinstance(since_s, int | float) and 0.0 < since_s < LATEST_S:
        when = f"{datetime.datetime.fromtimestamp(since_s, datetime.UTC):%Y-%m-%d %H:%M} UTC"
    return AlertCode.CHARGE_UNSAID.sentence.format(since_utc_s=when)


def _link_down(values: Values, units: Units) -> str:
    link, problem, errno = values["link"], values["problem"], values["errno"]
    trouble = LINK_PROBLEMS.get(str(problem), "the link is down")
    cause = "" if errno is None else f" ({written('errno', errno, units)})"
    return f"{link}: {trouble}{cause}."


LINK_PROBLEMS: Mapping[str, str] = {
    "cannot_open": "cannot be opened",
    "cannot_connect": "cannot connect",
    "cannot_listen": "cannot listen there",
    "broke": "the link broke",
    "closed": "the other side closed the connection",
    "played": "played to its end",
}
"""Problems of a link, by the codes of `onboard.errors`."""

WORDINGS: Mapping[Code, Wording] = {
    AlertCode.CHARGE_UNSAID: _charge_unsaid,
    AlertCode.LINK_DOWN: _link_down,
    AlertCode.RECORD_STOPPED: lambda values, _: f"Recording stopped: {card_words(values)}.",
    AlertCode.RECORD_AT_RISK: lambda values, _: f"Recording at risk: {card_words(values)}.",
    AlertCode.RECORD_MOVED: lambda values, _: moved_words(values),
}
"""Alerts that need more than gaps; the sentences of all others are rows of the contract."""

LAST_KNOWN: Mapping[Code, str] = {
    AlertCode.NEAR_CUTOFF: "Battery low when last heard, near its cut-off: ease off now.",
    AlertCode.DRIVE_HOT: "Motor drive too hot when last heard: ease off and let it cool.",
    AlertCode.ENERGY_LOW: "Little was left above the reserve when last known: head for home.",
}
"""Sentences of alerts whose value is no longer known."""
