"""What the dashboard and the plain lines are fed from: a live feed, a replay or a test, all alike.

A source gives updates for as long as it lives; what it cannot give, it says in a sentence.
"""

from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Any, Protocol

Snapshot = dict[str, Any]


@dataclass(frozen=True)
class Update:
    """One thing a source has to say: a snapshot, or why there is none now.

    Parameters
    ----------
    snapshot
        The newest snapshot, as decoded from JSON, or None.
    problem
        A plain sentence for the rider where there is no snapshot now, else None.
    """

    snapshot: Snapshot | None
    problem: str | None = None


class ReplayControls(Protocol):
    """What a person can do to a replay while it runs."""

    def pause_or_go(self) -> None:
        """Pause a replay that runs; let a paused one go on."""

    def faster(self) -> None:
        """Play at the next higher speed."""

    def slower(self) -> None:
        """Play at the next lower speed."""


class SnapshotSource(Protocol):
    """Where snapshots come from."""

    @property
    def name(self) -> str:
        """What the source is called on the screen, such as `feed 127.0.0.1:27220`."""

    @property
    def controls(self) -> ReplayControls | None:
        """Controls of a replay; None where time cannot be steered, as on a live feed."""

    def stream(self) -> AsyncIterator[Update]:
        """Give updates until the source has no more; a live feed never ends by itself."""


class Wrapped:
    """A source around another: passes on its name and controls; `stream` is the wrapper's own.

    Parameters
    ----------
    source
        The source behind.
    """

    def __init__(self, source: SnapshotSource) -> None:
        self._source = source

    @property
    def name(self) -> str:
        """The name of the source behind."""
        return self._source.name

    @property
    def controls(self) -> ReplayControls | None:
        """The controls of the source behind."""
        return self._source.controls
