"""The engine's parts by name, so that a failing part can be named and left out alone.

A part that fails while folding has corrupted the engine's state: `PartError` names it, and the
owner of the engine builds another, without that part if it fails again. A part that fails while
computing a figure affects only that figure.
"""

from collections.abc import Callable, Collection
from typing import Any, Final, NoReturn, TypeVar

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason

Value = TypeVar("Value")
Other = TypeVar("Other")

PARTS: Final = (
    "power", "speed", "motor drive", "seconds", "trip sums", "speed bands", "way of riding",
    "alerts", "battery", "curve", "advice", "runs", "trip line", "readings",
)  # fmt: skip

ON_SECONDS: Final = PARTS[PARTS.index("seconds") + 2 : -1]
"""Parts that fold settled seconds: without these they would stall and look healthy."""

FAILURES_MOST: Final = 10
"""Failures of a part's figures after which they are no longer computed."""

FAILED: Final = Unknown(Reason.PROGRAM_FAULT)
LEFT_OUT: Final = Unknown(Reason.LEFT_OUT)


class PartError(Exception):
    """A part of the engine failed; its cause is the fault itself.

    Parameters
    ----------
    part
        One of `PARTS`.
    """

    def __init__(self, part: str) -> None:
        super().__init__(part)
        self.part = part


def raise_at_once(fault: PartError) -> NoReturn:
    """Raise a fault: without a handler it must not be swallowed."""
    raise fault


class Parts:
    """The parts that are in use.

    Parameters
    ----------
    without
        Parts to leave out.
    on_fault
        Called with the error of a part that failed while its figure was computed.
    """

    def __init__(
        self,
        without: Collection[str] = (),
        on_fault: Callable[[PartError], object] = raise_at_once,
    ) -> None:
        self.without = {*without, *(ON_SECONDS if "seconds" in without else ())}
        self._on_fault = on_fault
        self._failures: dict[str, int] = {}
        """Failures of figures by part. Such a part continues to fold: others depend on it."""

    def fold(self, part: str, act: Callable[..., Value], *given: Any) -> Value | None:
        """Return what `act`, a part's fold, returns for the arguments; None where it is left out.

        Raises
        ------
        PartError
            If it failed: the state of the engine is corrupted.
        """
        if part in self.without:
            return None
        try:
            return act(*given)
        except PartError:
            raise
        except Exception as fault:
            raise PartError(part) from fault

    def ask(
        self,
        part: str,
        otherwise: Callable[[Unknown], Other],
        act: Callable[..., Value],
        *given: Any,
    ) -> Value | Other:
        """Return a part's figure, `act` of the arguments; without it, `otherwise` of the reason."""
        if part in self.without or self._failures.get(part, 0) >= FAILURES_MOST:
            return otherwise(LEFT_OUT)
        try:
            return act(*given)
        except Exception as fault:
            error = PartError(part)
            error.__cause__ = fault
            self._on_fault(error)
            self._failures[part] = self._failures.get(part, 0) + 1
            return otherwise(FAILED)


def itself(unknown: Unknown) -> Unknown:
    """Return 'unknown' in place of a figure."""
    return unknown
