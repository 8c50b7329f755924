"""Where the energy went: seconds, energy and distance by bands of speed."""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.sources.settled_seconds import Cells
from onboard.efficiency.statistics.shared_errors import COUNT, Spread, ratio
from onboard.efficiency.trip.consumption import HARDLY_MOVING_MPS

WIDTH_MPS = 0.25
BANDS_MOST = 160
"""Up to 40 m/s, where speeds end that a craft of this size can have."""


@dataclass(frozen=True)
class Band:
    """What was done at one band of speed over ground; gaps in the data are in none."""

    speed_low_mps: float
    speed_high_mps: float
    seconds: float
    energy_wh: float
    distance_m: float
    wh_per_km: Estimate


class Bands:
    """Adds up settled seconds by their speed."""

    def __init__(self) -> None:
        # Seconds, Wh, m, volt-hours.
        self._sums = np.zeros((BANDS_MOST, 4))

    def fold(self, cells: Cells) -> None:
        """Take in seconds, in order."""
        known = np.isfinite(cells.power_w) & np.isfinite(cells.distance_m)
        way = cells.distance_m[known]
        bands = np.minimum((way / WIDTH_MPS).astype(np.int64), BANDS_MOST - 1)
        rows = np.stack(
            [
                np.ones(len(way)),
                cells.power_w[known] / 3600.0,
                way,
                cells.volts_v[known] / 3600.0,
            ],
            axis=1,
        )
        np.add.at(self._sums, bands, rows)

    def table(self, covariance: FloatArray, long_run_m2ps: float) -> tuple[Band, ...]:
        """Return the bands that were ridden in.

        Parameters
        ----------
        covariance
            Of the shared errors, shape (5, 5).
        long_run_m2ps
            Long-run variance of the velocity's noise [m^2/s].
        """
        bands = []
        for number in np.flatnonzero(self._sums[:, 0]).tolist():
            seconds, energy, way, volt_hours = self._sums[number].tolist()
            consumption: Estimate = Unknown(Reason.HARDLY_MOVING)
            if way > HARDLY_MOVING_MPS * seconds:
                km = Spread(way / 1000.0, np.zeros(COUNT), long_run_m2ps * seconds / 1e6)
                consumption = ratio(Spread.of_energy(energy, volt_hours), km).figure(covariance)
            low = number * WIDTH_MPS
            bands.append(Band(low, low + WIDTH_MPS, seconds, energy, way, consumption))
        return tuple(bands)
