"""The lines on top of every view: what a rider must know before any figure, the worst first."""

from dataclasses import dataclass
from typing import Literal

from groundside.figures import age_text, text_of
from groundside.freshness import OLD_TELEMETRY_S, data_age_s, is_stale
from groundside.source import Snapshot

Level = Literal["danger", "warning", "note", "quiet"]

CAUTION = "Range is an estimate. Keep a reserve, wear a life jacket."
"""What the rider reads before deciding anything by the range."""

SIGNS = {"danger": "!!", "warning": "!", "note": "-", "quiet": ""}
"""Levels differ by sign as well as by colour."""


@dataclass(frozen=True)
class Notice:
    """One sentence with its level."""

    level: Level
    text: str

    @property
    def signed(self) -> str:
        """The sentence behind the sign of its level."""
        return f"{SIGNS[self.level]} {self.text}".strip()


def notices(
    snapshot: Snapshot | None,
    *,
    since_received_s: float = 0.0,
    problem: str | None = None,
    reasons: tuple[str, ...] = (),
    refused: str = "",
) -> tuple[Notice, ...]:
    """Gather the notices of this moment, the worst first.

    Parameters
    ----------
    snapshot
        The newest snapshot, or None before the first.
    since_received_s
        How long ago it came [s].
    problem
        The source's sentence where it has no snapshot now.
    reasons
        Why small figures are unknown; shown where nothing graver is.
    refused
        Why what the rider just asked for was not done; else empty.
    """
    found = [Notice("warning", refused)] if refused else []
    found.extend(_alerts(snapshot))
    if snapshot is not None and is_stale(snapshot, since_received_s):
        age_s = data_age_s(snapshot, since_received_s)
        age = "old figures" if age_s is None else f"figures {age_text(age_s)} old"
        cause = "no feed" if since_received_s > OLD_TELEMETRY_S else "no new data"
        found.append(Notice("danger", f"STALE: {age}, {problem or cause}"))
    elif problem is not None:
        found.append(Notice("warning", problem))
    elif snapshot is None:
        found.append(Notice("note", "waiting for the first data"))
    found.extend(Notice("quiet", reason) for reason in reasons if snapshot is not None)
    if not found:
        found.append(Notice("quiet", "no alerts"))
    order = list(SIGNS)
    # stable: within a level an alert of the craft stands before the state of the link
    return tuple(sorted(found, key=lambda notice: order.index(notice.level)))


def _alerts(snapshot: Snapshot | None) -> list[Notice]:
    alerts = snapshot.get("alerts") if snapshot is not None else None
    if not isinstance(alerts, list):
        return []
    found: list[Notice] = []
    for alert in alerts:
        text = text_of(alert.get("text")) if isinstance(alert, dict) else ""
        if not text:
            continue
        level = alert.get("level")
        if level == "danger":
            found.append(Notice("danger", text))
        elif level == "note":
            found.append(Notice("note", text))
        else:  # a level this viewer does not know is not made light of
            found.append(Notice("warning", text))
    return found
