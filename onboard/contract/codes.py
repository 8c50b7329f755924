"""Statements without words: a code and the values that belong to it.

Each family of statements (reasons, alerts, refusals ...) is an enumeration of rows: the code, what
it means, and the names of its values. A name ends in its unit; see `quantities`.
"""

import os
from collections.abc import Mapping
from enum import StrEnum
from typing import Self

from onboard.contract.quantities import unit_of

Value = float | int | str | tuple[str, ...] | tuple[float, ...] | None
"""What a statement may hold: numbers in SI units, names, the rider's words, paths; None is unknown.
"""


class Code(StrEnum):
    """A row: code, meaning, names of the values. It equals its code as a string.

    Examples
    --------
    >>> class Weather(Code):
    ...     WINDY = "windy", "a strong wind blows", "wind_mps"
    >>> Weather("windy").names
    ('wind_mps',)
    """

    meaning: str
    names: tuple[str, ...]

    def __new__(cls, code: str, meaning: str = "", *names: str) -> Self:
        """Make a row."""
        row = str.__new__(cls, code)
        row._value_ = code
        row.meaning, row.names = meaning, names
        return row

    @property
    def code(self) -> str:
        """The code, as sent on the wire."""
        return str(self.value)


def _shown(name: str, value: Value) -> str:
    """Return a value for a log: with its unit, and an error as the system calls it."""
    if name == "errno" and isinstance(value, int):
        return os.strerror(value).lower()
    unit = unit_of(name)
    if unit is None or not isinstance(value, float | int):
        return f"{name} {value}"
    return f"{name.rpartition('_')[0].replace('_', ' ')} {value:.4g} {unit}"


class Statement:
    """A code with its values.

    Parameters
    ----------
    code
        Which statement.
    values
        One for each name of the code's row.

    Raises
    ------
    TypeError
        If the values are not those that the row names.
    """

    __slots__ = ("code", "values")

    def __init__(self, code: Code, /, **values: Value) -> None:
        if tuple(values) != code.names and set(values) != set(code.names):
            raise TypeError(f"{code.code}: expected the values {code.names}, got {tuple(values)}")
        self.code = code
        self.values: Mapping[str, Value] = values

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, Statement)
            and type(self) is type(other)
            and self.code is other.code
            and self.values == other.values
        )

    def __hash__(self) -> int:
        return hash((self.code, *sorted(self.values.items())))

    def __str__(self) -> str:
        """Return the meaning and the values, for logs."""
        known = [(name, value) for name, value in self.values.items() if value not in (None, "")]
        values = ", ".join(_shown(name, value) for name, value in known)
        return f"{self.code.meaning} ({values})" if values else self.code.meaning

    def __repr__(self) -> str:
        values = "".join(f", {name}={value!r}" for name, value in self.values.items())
        return f"{type(self).__name__}({self.code.code}{values})"
