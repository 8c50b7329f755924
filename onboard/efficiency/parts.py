"""The engine's parts by name, so that one that fails can be named and left out alone.

A part that fails while it takes data in has spoilt the fold: `PartError` names it, and whoever
holds the engine builds another, without that part if it fails again. A part that fails when it is
asked has spoilt nothing but its own figure.
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
"""Parts that work on settled seconds: without these they would stand still, looking sound."""

ASKED_MOST: Final = 10
"""A part that failed this often when asked is not asked again."""

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
    """Pass a fault on to the caller: where nobody shows it, it must not be swallowed."""
    raise fault


class Parts:
    """Which parts are at work.

    Parameters
    ----------
    without
        Parts to be left out.
    on_fault
        Called with a part that failed when it was asked.
    """

    def __init__(
        self,
        without: Collection[str] = (),
        on_fault: Callable[[PartError], object] = raise_at_once,
    ) -> None:
        self.without = {*without, *(ON_SECONDS if "seconds" in without else ())}
        self._on_fault = on_fault
        self._failures: dict[str, int] = {}
        """By part, how often it failed when it was asked. It takes in data all the same: others
        rest on it."""

    def fold(self, part: str, act: Callable[..., Value], *given: Any) -> Value | None:
        """Have a part take something in; None where it is left out.

        Raises
        ------
        PartError
            If it failed: then the fold is spoilt.
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
        """Ask a part for a figure; `otherwise` gives what stands in where there is none."""
        if part in self.without or self._failures.get(part, 0) >= ASKED_MOST:
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
    """Let 'unknown' stand in for a figure."""
    return unknown
