"""Examples of the contract's records, made from their types, so that they follow renamed fields.

`example(kind)` returns one complete record with every field known; `records(kind)` returns a
hypothesis strategy for all possible ones.
"""

import dataclasses
import types
import typing
from typing import Any, Literal, TypeVar

from hypothesis import strategies as st

from onboard.contract.alerts import Alert
from onboard.contract.codes import Code, Statement, codes_of
from onboard.contract.commands import Mark, Set
from onboard.contract.figure import Figure, Unknown
from onboard.contract.quantities import kind_of
from onboard.contract.trip_line import TripLine

Record = TypeVar("Record")

WORDS = st.text(st.characters(codec="utf-8", categories=("L", "N", "P")), max_size=12)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
VALUES = {
    "quantity": NUMBERS,
    "quantities": st.lists(NUMBERS, max_size=3).map(tuple),
    "count": st.integers(0, 2**31),
    "counts": st.lists(st.integers(0, 99), max_size=3).map(tuple),
    "text": WORDS,
    "texts": st.lists(WORDS, max_size=3).map(tuple),
}
SAMPLES: dict[str, Any] = {
    "quantity": 12.5,
    "quantities": (12.5, 13.5),
    "count": 3,
    "counts": (3, 4),
    "text": "battery 1",
    "texts": ("battery 1", "battery 2"),
}


def statement(row: Code, family: type[Statement]) -> Statement:
    """Return a statement for a row, with a value for each of its names."""
    values = {name: SAMPLES[kind_of(name)] for name in row.names}
    return family(row, *((7.0,) if family is Alert else ()), **values)


def example(kind: type[Record]) -> Record:
    """Return a record in which everything is known."""
    return _Examples().of(kind, kind.__name__)


class _Examples:
    """Numbers that differ from field to field, so that a mix-up shows."""

    def __init__(self) -> None:
        self._count = 0

    def of(self, kind: Any, name: str) -> Any:  # noqa: PLR0911
        origin, parts = typing.get_origin(kind), typing.get_args(kind)
        if origin in (typing.Union, types.UnionType):
            (first, *_) = [one for one in parts if one not in (Unknown, types.NoneType)]
            return self.of(first, name)
        if origin is Literal:
            return parts[0]
        if origin is tuple:
            count = 2 if Ellipsis in parts else len(parts)
            return tuple(self.of(parts[0], f"{name} {n}") for n in range(count))
        self._count += 1
        if kind is Figure:
            return Figure(100.0 + self._count, 90.0 + self._count, 110.0 + self._count)
        if kind is Set:
            return Set(7, "home", (45.0, -30.0))
        if kind in (float, int, str, bool):
            by_type = {float: self._count + 0.5, int: self._count, str: name, bool: True}
            return by_type[kind]
        if issubclass(kind, Statement):
            rows = [row for row in codes_of(kind) if row.code != "newer"]
            return statement(rows[self._count % len(rows)], kind)
        hints = typing.get_type_hints(kind)
        fields = [field.name for field in dataclasses.fields(kind)]
        return kind(**{field: self.of(hints[field], field) for field in fields})


def records(kind: Any) -> st.SearchStrategy[Any]:  # noqa: PLR0911
    """Return a strategy for every value that a type may have."""
    origin, parts = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return st.one_of([st.none() if one is types.NoneType else records(one) for one in parts])
    if origin is Literal:
        return st.sampled_from(parts)
    if origin is tuple:
        if Ellipsis in parts:
            return st.lists(records(parts[0]), max_size=3).map(tuple)
        return st.tuples(*map(records, parts))
    plain = {float: NUMBERS, int: st.integers(-(2**53), 2**53), str: WORDS, bool: st.booleans()}
    if kind in plain:
        return plain[kind]
    if kind is Figure:
        return st.builds(Figure, NUMBERS, NUMBERS, NUMBERS) | st.builds(Figure, NUMBERS)
    if kind is Set:
        return st.builds(Set, st.just(7), st.just("target_speed_mps"), st.floats(0.1, 50.0))
    if kind is Mark:
        return st.builds(Mark, st.just(7), st.just("note"), WORDS.filter(bool))
    if kind is TripLine:
        places = st.none() | st.tuples(st.floats(-90.0, 90.0), st.floats(-180.0, 180.0))
        points = st.dictionaries(st.integers(0, 10**6), places, max_size=5)
        return points.map(lambda found: dict(sorted(found.items()))).map(
            lambda found: TripLine(
                *[tuple(map(float, found))] * 3, position_deg=tuple(found.values())
            )
        )
    if issubclass(kind, Statement):
        return st.sampled_from([row for row in codes_of(kind) if row.code != "newer"]).flatmap(
            lambda row: st.fixed_dictionaries({n: VALUES[kind_of(n)] for n in row.names}).map(
                lambda values: kind(row, *((7.0,) if kind is Alert else ()), **values)
            )
        )
    hints = typing.get_type_hints(kind)
    return st.builds(kind, **{f.name: records(hints[f.name]) for f in dataclasses.fields(kind)})
