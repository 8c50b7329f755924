"""The target being chosen by thumb: its kind, and its value step by step."""

import math
from collections.abc import Callable

from groundside.words.figures import one_decimal, whole
from groundside.words.units import Units
from onboard.contract.advice import Target
from onboard.contract.commands import NUMBERS, Key
from onboard.contract.figure import Number, Unknown, within
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot
from onboard.dataclass import dataclass


@dataclass(frozen=True)
class TargetKind:
    """A kind of target.

    Parameters
    ----------
    name
        Its name for the rider.
    key
        The daemon's setting.
    small, large
        Steps in the rider's units.
    start
        Value proposed if nothing better is known, in the rider's units.
    now
        Reads its present value; for a distance, that of the way home.
    in_force
        Reads its value from the target in force.
    """

    name: str
    key: Key
    small: float
    large: float
    start: float
    now: Callable[[Snapshot], Number]
    in_force: Callable[[Target], Number]

    def unit(self, units: Units) -> str:
        """Return the symbol of its unit."""
        return {"speed": units.speed_name, "distance": units.distance_name}.get(self.name, "W")

    def in_units(self, value: float, units: Units) -> float:
        """Convert from SI to the rider's units."""
        convert: dict[str, Callable[[float], float]] = {
            "speed": units.speed,
            "distance": units.distance,
        }
        return convert.get(self.name, float)(value)

    def text(self, value: float, units: Units) -> str:
        """Write a value [SI] in the rider's units, without the unit."""
        converted = self.in_units(value, units)
        return whole(converted) if self.small >= 1.0 else one_decimal(converted)


SPEED = TargetKind(
    "speed",
    "target_speed_mps",
    0.1,
    1.0,
    6.0,
    now=lambda snapshot: snapshot.speed_mps,
    # With a distance to make, a speed to hold is derived; only the distance is the rider's target.
    in_force=lambda target: (
        target.speed_mps if isinstance(target.distance_m, Unknown) else Unknown(Reason.NO_TARGET)
    ),
)
POWER = TargetKind(
    "power",
    "target_power_w",
    10.0,
    100.0,
    300.0,
    now=lambda snapshot: snapshot.power_w,
    in_force=lambda target: target.power_w,
)
DISTANCE = TargetKind(
    "distance",
    "target_distance_m",
    0.5,
    5.0,
    5.0,
    now=lambda snapshot: within(snapshot.home, lambda home: home.distance_m),
    in_force=lambda target: target.distance_m,
)
KINDS = (SPEED, POWER, DISTANCE)


def now_value(kind: TargetKind, snapshot: Snapshot) -> float | None:
    """Return the present value of a kind [SI]; None if it is unknown or zero."""
    value = kind.now(snapshot)
    return None if isinstance(value, Unknown) or value <= 0.0 else value


def value_in_force(kind: TargetKind, snapshot: Snapshot) -> float | None:
    """Return the target of this kind in force [SI]; None if there is none."""
    value = within(snapshot.target, kind.in_force)
    return None if isinstance(value, Unknown) else value


class TargetChoice:
    """The target being chosen.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from groundside.words.units import CHOICES
    >>> from onboard.contract.snapshot import unknown_snapshot
    >>> nothing = unknown_snapshot(Unknown(Reason.NO_DATA), "a test")
    >>> choice, units = TargetChoice(), CHOICES["km/h"]
    >>> choice.propose(replace(nothing, speed_mps=2.0), units)
    >>> choice.step(1.0, units)
    >>> choice.step(-0.1, units)
    >>> choice.kind.text(choice.value, units)
    '8.1'
    """

    def __init__(self) -> None:
        self.kind = SPEED
        self.values: dict[str, float] = {}
        """The values chosen so far by the key of their kind [SI]."""

    @property
    def value(self) -> float | None:
        """Its value [SI]; None if none has been proposed yet."""
        return self.values.get(self.kind.key)

    def propose(self, snapshot: Snapshot, units: Units) -> None:
        """Propose the target in force, else the present value, unless a value is chosen."""
        if self.value is None:
            found = value_in_force(self.kind, snapshot) or now_value(self.kind, snapshot)
            self._put(self.kind.start if found is None else self.kind.in_units(found, units), units)

    def as_now(self, snapshot: Snapshot, units: Units) -> bool:
        """Choose the present value; return whether there is one."""
        found = now_value(self.kind, snapshot)
        if found is not None:
            self._put(self.kind.in_units(found, units), units)
        return found is not None

    def step(self, by: float, units: Units) -> None:
        """Change the value by a step in the rider's units."""
        if self.value is not None:
            self._put(self.kind.in_units(self.value, units) + by, units)

    def clear(self) -> None:
        """Discard the choice."""
        self.values.clear()

    def _put(self, value: float, units: Units) -> None:
        """Store a value in the rider's units, rounded to the small step, within its limits."""
        small = self.kind.small
        least, most = NUMBERS[self.kind.key]
        unit = self.kind.in_units(1.0, units)
        low, high = math.ceil(least * unit / small), math.floor(most * unit / small)
        steps = min(max(round(value / small), low, 1), high)
        self.values[self.kind.key] = steps * small / unit
