"""Observations that the alerts of `conditions` are tested on: one class each, with stream time."""

from collections.abc import Sequence
from typing import Self

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.contract.advice import Target
from onboard.contract.figure import Unknown
from onboard.dataclass import dataclass
from onboard.efficiency.battery.cell_voltages import Cells
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.common_practice import ENERGY_LOW_FRACTION
from onboard.efficiency.sources.settled_seconds import SettledSeconds

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class SecondsObserved:
    """Settled seconds; arrays of shape (n,).

    Parameters
    ----------
    t_s
        Stream time at their ends [s].
    seconds
        The seconds themselves.
    past
        Trailing windows of some columns, shape (n, `CURRENT_STUCK_S`).
    power_lost, speed_lost
        Whether power or speed is unknown after having been known.
    impossible_s
        Times of samples rejected as impossible [s].
    drive_most_degc, cutoff_v
        Limits of the craft; no cut-off without a battery.
    """

    t_s: FloatArray
    seconds: SettledSeconds
    past: dict[str, FloatArray]
    power_lost: Bools
    speed_lost: Bools
    impossible_s: Sequence[float]
    drive_most_degc: float
    cutoff_v: float | None


@dataclass(frozen=True)
class CellsObserved:
    """The cells of the packs that state them, at the ends of settled seconds [s], shape (n,)."""

    t_s: FloatArray
    cells: Cells
    cutoff_v: float
    """Voltage at which one cell is empty [V]."""


@dataclass(frozen=True)
class CountersObserved:
    """The autopilot's charge counters against the integral of its current [Ah]."""

    t_s: float
    apart_ah: float
    charge_ah: float


@dataclass(frozen=True)
class PackObserved:
    """The energy left at the present power, and when full [Wh]."""

    t_s: float
    left_wh: float
    full_wh: float
    contradicted: bool

    @classmethod
    def of(cls, t_s: float, pack: Pack, power_w: float) -> Self:
        """Return the observation of a pack at a stream time [s] and a power [W]."""
        return cls(t_s, pack.left_wh(power_w), pack.full.value, pack.contradicted)

    @property
    def until_low_wh(self) -> float:
        """Energy left until the low-energy alert [Wh]."""
        return self.left_wh - ENERGY_LOW_FRACTION * self.full_wh


@dataclass(frozen=True)
class AdviceObserved:
    """The way home and the target."""

    t_s: float
    turn_back: bool
    target: Target | Unknown


@dataclass(frozen=True)
class FoulingObserved:
    """Whether the propeller is fouled, and by what fraction more power it takes."""

    t_s: float
    fouled: bool
    excess_fraction: float = 0.0


@dataclass(frozen=True)
class HeatObserved:
    """Whether the drive passes on less power than throttle and voltage explain."""

    t_s: float
    limited: bool
