"""The product's `dataclass` does what the standard library's does."""

import dataclasses
import math
import pickle

import pytest

from onboard.dataclass import dataclass


@dataclass(frozen=True)
class Point:
    """A frozen one."""

    x: float
    y: float = 0.0
    note: str = dataclasses.field(default="", compare=False)


@dataclasses.dataclass(frozen=True)
class Theirs:
    """The same, of the standard library."""

    x: float
    y: float = 0.0
    note: str = dataclasses.field(default="", compare=False)


@dataclass(frozen=True)
class Nothing:
    """Without fields."""


@dataclass(frozen=True)
class Alone:
    """With one field."""

    x: float


@dataclass
class Open:
    """One that can change."""

    x: float


@dataclass(frozen=True, eq=False)
class Itself:
    """One that equals only itself."""

    x: float


@dataclass(frozen=True)
class Named(Point):
    """One that inherits, and has its own representation."""

    name: str = ""

    def __repr__(self) -> str:
        return self.name


@pytest.mark.parametrize("kind", [Point, Theirs])
def test_equality_and_hash_are_by_the_values_that_count(kind) -> None:
    assert kind(1.0, 2.0, "a") == kind(1.0, 2.0, "b") != kind(1.0, 3.0)
    assert len({kind(1.0), kind(1.0, note="x"), kind(2.0)}) == 2
    assert kind(1.0) != (1.0, 0.0)
    # As for tuples: the same object is equal to itself, two of them are not.
    assert kind(math.nan) == kind(math.nan)
    assert kind(math.nan) != kind(float("nan"))
    with pytest.raises(dataclasses.FrozenInstanceError):
        kind(1.0).x = 2.0
    assert dataclasses.replace(kind(1.0), y=5.0) == kind(1.0, 5.0)
    assert pickle.loads(pickle.dumps(kind(1.0, 2.0))) == kind(1.0, 2.0)


def test_the_representation_is_that_of_the_standard_library() -> None:
    assert repr(Point(1.0, note="a")) == repr(Theirs(1.0, note="a")).replace("Theirs", "Point")
    assert repr(Named(1.0, name="me")) == "me"


def test_kinds_are_never_equal() -> None:
    assert Point(1.0) != Named(1.0)
    assert Nothing() == Nothing() != Alone(1.0) == Alone(1.0)
    assert Alone(math.nan) == Alone(math.nan)
    assert hash(Nothing()) == hash(Nothing())


def test_one_that_can_change_has_no_hash() -> None:
    one = Open(1.0)
    one.x = 2.0
    assert one == Open(2.0)
    with pytest.raises(TypeError):
        hash(one)


def test_one_that_equals_only_itself() -> None:
    one = Itself(1.0)
    assert one != Itself(1.0)
    assert len({one, one, Itself(1.0)}) == 2
