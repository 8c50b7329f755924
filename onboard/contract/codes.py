"""Statements: a code with its values, and one row for everything there is to know about it.

Each family of statements (reasons, alerts, refusals ...) is an enumeration. A row holds its code
and its sentence, a template with a named gap for each value: `Only {left_wh} left`. The gaps name
the values, in the order in which the schema lists them; a name ends in its unit (see `quantities`).

The sentence stands beside its code so that a new statement is one row. It is data, never sent and
never shown as it is: `groundside.words` fills the gaps in the reader's units where it is painted,
and has a function for the few sentences that no template can express.
"""

import os
import string
from collections.abc import Mapping
from enum import StrEnum
from typing import Self

from onboard.contract.quantities import unit_of

Value = float | int | str | tuple[str, ...] | tuple[float, ...] | None
"""What a statement may hold: numbers in SI units, names, the rider's words, paths; None is unknown.
"""


class Code(StrEnum):
    """A row: code, sentence and, where that leaves questions open, meaning.

    The meaning stands in logs and in the glossary; without one, the sentence does. A row equals its
    code as a string.

    Examples
    --------
    >>> class Weather(Code):
    ...     WINDY = "windy", "A wind of {wind_mps} blows."
    >>> Weather("windy").names
    ('wind_mps',)
    """

    sentence: str
    names: tuple[str, ...]
    meaning: str

    def __new__(cls, code: str, *_row: str) -> Self:
        """Make a member that equals its code."""
        member = str.__new__(cls, code)
        member._value_ = code
        return member

    def __init__(self, _code: str, sentence: str = "", meaning: str = "") -> None:
        self.sentence, self.meaning = sentence, meaning or sentence
        self.names = tuple(gap for _, gap, _, _ in string.Formatter().parse(sentence) if gap)

    @property
    def code(self) -> str:
        """The code, as sent on the wire."""
        return str(self.value)


def _log_value(name: str, value: Value) -> str:
    """Return a value for a log: with its unit, and an error in the system's words."""
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
        if values.keys() != set(code.names):
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
        """Return the meaning and the known values, for logs."""
        known = [(name, value) for name, value in self.values.items() if value not in (None, "")]
        values = ", ".join(_log_value(name, value) for name, value in known)
        return f"{self.code.meaning} ({values})" if values else self.code.meaning

    def __repr__(self) -> str:
        values = "".join(f", {name}={value!r}" for name, value in self.values.items())
        return f"{type(self).__name__}({self.code.code}{values})"
