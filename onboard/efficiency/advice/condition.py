"""A condition: one alert, the observation that it is tested on, and the test."""

from collections.abc import Callable
from typing import Generic, TypeVar

import numpy as np
import numpy.typing as npt

from onboard.contract.alerts import AlertCode
from onboard.contract.codes import Value
from onboard.contract.snapshot import Figures
from onboard.dataclass import dataclass
from onboard.efficiency.advice.standing_alerts import Values
from onboard.efficiency.sources.settled_seconds import Reading

Bools = npt.NDArray[np.bool_]
Observation = TypeVar("Observation")


@dataclass(frozen=True)
class Outcome:
    """The outcome of a test.

    Parameters
    ----------
    holds
        Whether the condition holds, shape (n,).
    values
        Returns the alert's values at the second with a given index.
    stays
        Whether the condition keeps a raised alert on, shape (n,); None: as `holds`.
    """

    holds: Bools
    values: Callable[[int], Values] = lambda _: {}
    stays: Bools | None = None


@dataclass(frozen=True)
class Condition(Generic[Observation]):
    """A row: one alert and its test.

    Parameters
    ----------
    code
        Code of the alert.
    observation
        Type of observation that it is tested on.
    test
        Returns the outcome; None where the craft has nothing to test.
    on_after_s, off_after_s
        How long the condition must persist, and be absent, without interruption.
    shown
        Reads the alert's values off the figures shown beside it, so that the two agree; where it
        returns None they say otherwise, and the alert waits. None: the values as last tested.
    hidden_by
        A more detailed alert that supersedes this one while on.
    raised_per_change
        Whether every change of its values raises a new alert.
    readings
        Columns that settled seconds carry for it, in their `readings`.
    """

    code: AlertCode
    observation: type[Observation]
    test: Callable[[Observation], Outcome | None]
    on_after_s: float = 5.0
    off_after_s: float = 5.0
    shown: Callable[[Figures], Values | None] | None = None
    hidden_by: AlertCode | None = None
    raised_per_change: bool = False
    readings: tuple[Reading, ...] = ()


def single(holds: bool, **values: Value) -> Outcome:
    """Return the outcome at a single time."""
    return Outcome(np.array([holds]), lambda _: values)
