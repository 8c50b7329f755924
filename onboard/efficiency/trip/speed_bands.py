"""Where the energy went: seconds, energy and distance by band of speed.

Each reader's bands are round in that reader's units, and all are exact. So sums are kept in cells
with the edges of all `WIDTHS_MPS`: a band of any of these widths is a whole number of cells, and
the bands of a table add up to all the energy and distance.
"""

import math

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Estimate
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import SPEED_MOST_MPS
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import Spread
from onboard.efficiency.trip.consumption import Stretch, wh_per_km

WIDTH_MPS = 0.25
"""Width of the bands that programs read [m/s]."""
WIDTHS_MPS = (WIDTH_MPS, 1000.0 / 3600.0, 0.5 * 1852.0 / 3600.0, 1609.344 / 3600.0)
"""Widths of a band [m/s]: 0.25 m/s, 1 km/h, 0.5 kn, 1 mph; `groundside.words.units` says which a
reader sees. Common practice, no source: about a tenth of a small craft's speed."""
EDGES_MPS = np.array(
    sorted(
        {
            round(number * width, 9)
            for width in WIDTHS_MPS
            for number in range(math.ceil(SPEED_MOST_MPS / width))
        }
    )
)
"""Lower edges of the cells [m/s]; rounded, so that equal edges of different widths are one."""


@dataclass(frozen=True)
class SpeedBand:
    """Totals within one band of speed over ground; gaps in the data are in none."""

    speed_low_mps: float
    speed_high_mps: float
    seconds: float
    energy_wh: float
    distance_m: float
    wh_per_km: Estimate


@dataclass(frozen=True)
class RiddenSpeeds:
    """The cells that were ridden in, from which bands of any of `WIDTHS_MPS` are made.

    Parameters
    ----------
    cells
        A row for each cell, slowest first: its lower edge [m/s], seconds, energy [Wh], distance [m]
        and volt-hours [V h].
    covariance
        Of the shared errors, 5 rows of 5.
    noise_m2ps
        Long-run variance of the velocity noise [m^2/s].
    """

    cells: tuple[tuple[float, float, float, float, float], ...]
    covariance: tuple[tuple[float, ...], ...]
    noise_m2ps: float

    def bands(self, width_mps: float = WIDTH_MPS, least_s: float = 0.0) -> tuple[SpeedBand, ...]:
        """Return the bands that were ridden in, slowest first.

        Parameters
        ----------
        width_mps
            Width of a band [m/s], one of `WIDTHS_MPS`.
        least_s
            Time below which a band is joined to a neighbour [s].
        """
        cells = np.reshape(np.array(self.cells, dtype=np.float64), (-1, 5))
        numbers = np.floor(cells[:, 0] / width_mps + 1e-6)
        spans: list[tuple[float, float, FloatArray]] = [
            (n * width_mps, (n + 1.0) * width_mps, cells[numbers == n, 1:].sum(axis=0))
            for n in sorted(set(numbers.tolist()))
        ]
        while len(spans) > 1:
            shortest = min(range(len(spans)), key=lambda place: spans[place][2][0])
            if spans[shortest][2][0] >= least_s:
                break
            first = _neighbour(spans, shortest)
            (low, _, sums), (_, high, more) = spans[first : first + 2]
            spans[first : first + 2] = [(low, high, sums + more)]
        return tuple(self._band(*span) for span in spans)

    def _band(self, low_mps: float, high_mps: float, sums: FloatArray) -> SpeedBand:
        seconds, energy, way, volt_hours = sums.tolist()
        spent = Spread.of_energy(energy, volt_hours)
        stretch = Stretch.counted(seconds, spent, way, self.noise_m2ps * seconds)
        cost = wh_per_km(stretch, np.array(self.covariance))
        return SpeedBand(low_mps, high_mps, seconds, energy, way, cost)


def _neighbour(spans: list[tuple[float, float, FloatArray]], place: int) -> int:
    """Return the lower of the two bands to join: to the nearer neighbour, or else the briefer."""

    def distance(first: int) -> tuple[float, float]:
        other = first if first < place else first + 1
        return round(spans[first + 1][0] - spans[first][1], 6), float(spans[other][2][0])

    return min((first for first in (place - 1, place) if 0 <= first < len(spans) - 1), key=distance)


class SpeedBands:
    """Add up settled seconds by their speed."""

    def __init__(self) -> None:
        # Seconds, Wh, m, volt-hours.
        self._sums = np.zeros((len(EDGES_MPS), 4))

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold settled seconds, in order."""
        known = np.isfinite(seconds.power_w) & np.isfinite(seconds.distance_m)
        way = seconds.distance_m[known]
        rows = np.stack(
            [
                np.ones(len(way)),
                seconds.power_w[known] / 3600.0,
                way,
                seconds.volts_v[known] / 3600.0,
            ],
            axis=1,
        )
        cells = np.maximum(np.searchsorted(EDGES_MPS, way, side="right") - 1, 0)
        np.add.at(self._sums, cells, rows)

    def ridden(self, covariance: FloatArray, noise_m2ps: float) -> RiddenSpeeds:
        """Return the cells that were ridden in.

        Parameters
        ----------
        covariance
            Of the shared errors, shape (5, 5).
        noise_m2ps
            Long-run variance of the velocity noise [m^2/s].
        """
        places = np.flatnonzero(self._sums[:, 0])
        cells = np.concatenate([EDGES_MPS[places, None], self._sums[places]], axis=1)
        rows = tuple((low, *sums) for low, *sums in cells.tolist())
        return RiddenSpeeds(rows, tuple(map(tuple, covariance.tolist())), noise_m2ps)
