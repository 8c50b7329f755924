"""The notices above every view: what a rider must know before any figure, worst first."""

from typing import Literal

from groundside.connection.freshness import OLD_TELEMETRY_S
from groundside.dashboard.view_state import ViewState
from groundside.words.alerts import alert_text
from groundside.words.figures import age_text
from onboard.dataclass import dataclass

Level = Literal["danger", "warning", "note", "quiet"]

CAUTION = "Range is an estimate. Keep a reserve, wear a life jacket."
"""The caution to be read before relying on the range."""
SHORT_CAUTION = "Range estimated: keep a reserve."
"""The same for 40 columns that must hold its key too; the more view has it in full."""

SIGNS = {"danger": "!!", "warning": "!", "note": "-", "quiet": ""}
"""Levels differ by sign as well as by colour."""


@dataclass(frozen=True)
class Notice:
    """A sentence with its level."""

    level: Level
    text: str

    @property
    def signed(self) -> str:
        """The sentence after the sign of its level."""
        return f"{SIGNS[self.level]} {self.text}".strip()


def notices(state: ViewState, reasons: tuple[str, ...] = ()) -> tuple[Notice, ...]:
    """Return the present notices, worst first.

    Parameters
    ----------
    state
        The present state.
    reasons
        Why small figures are unknown; shown if nothing worse is.
    """
    found = [Notice("warning", state.refusal)] if state.refusal else []
    found.extend(
        Notice(alert.level, alert_text(alert, state.units)) for alert in state.snapshot.alerts
    )
    if state.stale:
        age = "old figures" if state.age_s is None else f"figures {age_text(state.age_s)} old"
        cause = "no feed" if state.since_received_s > OLD_TELEMETRY_S else "no new data"
        found.append(Notice("danger", f"STALE: {age}, {state.problem or cause}"))
    elif state.problem is not None:
        found.append(Notice("warning", state.problem))
    elif not state.started:
        found.append(Notice("note", "waiting for the first data"))
    found.extend(Notice("quiet", reason) for reason in reasons if state.started)
    if not found:
        found.append(Notice("quiet", "no alerts"))
    order = list(SIGNS)
    # stable: within a level the craft's alerts come before the state of the link
    return tuple(sorted(found, key=lambda notice: order.index(notice.level)))
