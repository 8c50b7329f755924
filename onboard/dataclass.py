"""`dataclass` of the standard library, quicker to define.

The standard library writes the source of six methods for each frozen class and compiles it. This
product defines hundreds of them, which took more of a start than anything else. Here equality, hash
and representation are functions that all classes share; what a class can do is the same.
"""

import dataclasses
from collections.abc import Callable
from functools import cache
from operator import attrgetter
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass  # noqa: PLC0414
else:

    def dataclass(cls=None, /, *, eq=True, frozen=False, **options):
        """Return a class as `dataclasses.dataclass` does; options as there."""
        if cls is None:
            return lambda cls: dataclass(cls, eq=eq, frozen=frozen, **options)
        shared = {"__repr__": _represented}
        if eq:
            shared |= {"__eq__": _equal, "__hash__": _hashed if frozen else None}
        for name, method in shared.items():
            if name not in vars(cls):
                setattr(cls, name, method)
        return dataclasses.dataclass(cls, eq=False, repr=False, frozen=frozen, **options)


def _represented(self: Any) -> str:
    shown = (f"{one.name}={getattr(self, one.name)!r}" for one in dataclasses.fields(self))
    return f"{type(self).__qualname__}({', '.join(shown)})"


def _equal(self: Any, other: Any) -> Any:
    if other.__class__ is not self.__class__:
        return NotImplemented
    values = _compared(self.__class__)
    return values(self) == values(other)


def _hashed(self: Any) -> int:
    return hash(_compared(self.__class__)(self))


@cache
def _compared(cls: Any) -> Callable[[Any], tuple[Any, ...]]:
    """Return a function that returns the values of a class's object that count in comparisons."""
    names = [one.name for one in dataclasses.fields(cls) if one.compare]
    if len(names) > 1:
        return attrgetter(*names)
    # A tuple, as identical values must be equal even if they are not a number.
    return lambda one: tuple(getattr(one, name) for name in names)
