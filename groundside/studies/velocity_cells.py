"""Power by speed through water, once the set and drift of a ride are known.

They are known only at its end, so seconds are kept by their velocity over ground, east and north,
in cells of `CELL_MPS`. So memory is bounded by the number of cells, not by the length of the ride.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.sources.settled_seconds import SettledSeconds

CELL_MPS = 0.1
"""Side of a cell [m/s]: small beside a speed band, and beside what a GPS receiver can resolve."""
_KEYS, _SUMS = slice(0, 2), slice(2, 6)


@dataclass(frozen=True)
class MeanPower:
    """Means over the seconds of one band of speed through water."""

    speed_mps: float
    power_w: float
    seconds: float


class VelocityCells:
    """Sums settled seconds by their velocity over ground."""

    def __init__(self) -> None:
        self._rows: FloatArray = np.empty((0, 6))
        """A row for each cell: its numbers east and north; seconds; sums of power and velocity."""

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in seconds; those without power or velocity are left out."""
        columns = np.stack([seconds.power_w, seconds.east_mps, seconds.north_mps], axis=1)
        known = columns[np.isfinite(columns).all(axis=1)]
        cells = np.floor(known[:, 1:] / CELL_MPS)
        rows = np.concatenate([cells, np.ones((len(known), 1)), known], axis=1)
        rows = np.concatenate([self._rows, rows])
        keys, places = np.unique(rows[:, _KEYS], axis=0, return_inverse=True)
        sums = np.zeros((len(keys), 4))
        np.add.at(sums, places.reshape(-1), rows[:, _SUMS])
        self._rows = np.concatenate([keys, sums], axis=1)

    def means(
        self, water_east_mps: float, water_north_mps: float, width_mps: float, least_s: float
    ) -> list[MeanPower]:
        """Return the means of each band of speed through water, slowest first.

        Parameters
        ----------
        water_east_mps, water_north_mps
            Velocity of the water over ground.
        width_mps
            Width of a band [m/s].
        least_s
            Time below which a band is left out [s].

        Examples
        --------
        >>> cells = VelocityCells()
        >>> unknown, ones = np.full(30, np.nan), np.ones(30)
        >>> cells.fold(
        ...     SettledSeconds(ones, 360 * ones, *[unknown] * 3, 2 * ones, 0 * ones, *[unknown] * 6)
        ... )
        >>> cells.means(0.5, 0.0, 0.25, 10.0)
        [MeanPower(speed_mps=1.5, power_w=360.0, seconds=30.0)]
        """
        seconds, power, east, north = self._rows[:, _SUMS].T
        speed = np.hypot(east / seconds - water_east_mps, north / seconds - water_north_mps)
        bands = np.floor(speed / width_mps + 1e-9)
        found = []
        for band in np.unique(bands):
            inside = bands == band
            total_s = float(seconds[inside].sum())
            if total_s >= least_s:
                mean_mps = float((speed * seconds)[inside].sum()) / total_s
                found.append(MeanPower(mean_mps, float(power[inside].sum()) / total_s, total_s))
        return found
