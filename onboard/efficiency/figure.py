"""A figure with its interval, and 'unknown' with its reason."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """A value and its 95 % interval.

    Parameters
    ----------
    value
        The estimate, in the unit that the name of the thing ends in.
    low, high
        The interval's ends; None where none is stated.
    """

    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Unknown:
    """No value, and why, in a few plain words."""

    why: str


Estimate = Figure | Unknown
Number = float | Unknown
"""A plain number without an interval, or unknown."""
