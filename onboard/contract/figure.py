"""A figure with its interval, and 'unknown' with its reason."""

from collections.abc import Callable
from dataclasses import fields
from typing import Any, TypeVar

from onboard.contract.codes import Statement
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass

Known = TypeVar("Known")
Part = TypeVar("Part")


@dataclass(frozen=True)
class Figure:
    """A value and its 95 % interval.

    Parameters
    ----------
    value
        The estimate, in the unit that the field's name ends in.
    low, high
        The ends of the interval; None if none is stated.
    """

    value: float
    low: float | None = None
    high: float | None = None


class Unknown(Statement[Reason]):
    """No value, and why; `reasons` among the values are codes of reasons.

    Examples
    --------
    >>> Unknown(Reason.QUIET, age_s=7.0)
    Unknown(quiet, age_s=7.0)
    """

    __slots__ = ()


Estimate = Figure | Unknown
Number = float | Unknown
"""A number without an interval, or unknown."""


def within(whole: Part | Unknown, get: Callable[[Part], Known | Unknown]) -> Known | Unknown:
    """Return what `get` reads from something known, or why that is unknown.

    Examples
    --------
    >>> within(Unknown(Reason.NO_BATTERY), lambda battery: battery.left_wh)
    Unknown(no_battery)
    """
    return whole if isinstance(whole, Unknown) else get(whole)


def reaching_up_to(lower: Estimate, upper: Estimate) -> Estimate:
    """Return a figure with its interval extended to another's upper end, if that is higher.

    Examples
    --------
    >>> reaching_up_to(Figure(3.0, 2.0, 4.0), Figure(9.0, 8.0, 10.0))
    Figure(value=3.0, low=2.0, high=10.0)
    """
    if isinstance(lower, Unknown) or isinstance(upper, Unknown):
        return lower
    if lower.high is None or upper.high is None:
        return lower
    return Figure(lower.value, lower.low, max(lower.high, upper.high))


def throughout(kind: Callable[..., Known]) -> Callable[[Unknown], Known]:
    """Return a function that makes a dataclass with every field 'unknown'.

    Examples
    --------
    >>> throughout(Figure)(Unknown(Reason.NOT_HEARD)).low
    Unknown(not_heard)
    """
    every: Any = kind
    names = [field.name for field in fields(every)]
    return lambda unknown: kind(**dict.fromkeys(names, unknown))
