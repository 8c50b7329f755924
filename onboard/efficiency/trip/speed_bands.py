"""Where the energy went: seconds, energy and distance by band of speed."""

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Estimate
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import SPEED_MOST_MPS
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import Spread
from onboard.efficiency.trip.consumption import Stretch, wh_per_km

WIDTH_MPS = 0.25
BANDS_MOST = int(SPEED_MOST_MPS / WIDTH_MPS)


@dataclass(frozen=True)
class SpeedBand:
    """Totals within one band of speed over ground; gaps in the data are in none."""

    speed_low_mps: float
    speed_high_mps: float
    seconds: float
    energy_wh: float
    distance_m: float
    wh_per_km: Estimate


class SpeedBands:
    """Add up settled seconds by their speed."""

    def __init__(self) -> None:
        # Seconds, Wh, m, volt-hours.
        self._sums = np.zeros((BANDS_MOST, 4))

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold settled seconds, in order."""
        known = np.isfinite(seconds.power_w) & np.isfinite(seconds.distance_m)
        way = seconds.distance_m[known]
        bands = np.minimum((way / WIDTH_MPS).astype(np.int64), BANDS_MOST - 1)
        rows = np.stack(
            [
                np.ones(len(way)),
                seconds.power_w[known] / 3600.0,
                way,
                seconds.volts_v[known] / 3600.0,
            ],
            axis=1,
        )
        np.add.at(self._sums, bands, rows)

    def table(self, covariance: FloatArray, noise_m2ps: float) -> tuple[SpeedBand, ...]:
        """Return the bands that were ridden in, slowest first.

        Parameters
        ----------
        covariance
            Of the shared errors, shape (5, 5).
        noise_m2ps
            Long-run variance of the velocity noise [m^2/s].
        """
        bands = []
        for number in np.flatnonzero(self._sums[:, 0]).tolist():
            seconds, energy, way, volt_hours = self._sums[number].tolist()
            spent = Spread.of_energy(energy, volt_hours)
            stretch = Stretch.counted(seconds, spent, way, noise_m2ps * seconds)
            low = number * WIDTH_MPS
            bands.append(
                SpeedBand(
                    low,
                    low + WIDTH_MPS,
                    seconds,
                    energy,
                    way,
                    wh_per_km(stretch, covariance),
                )
            )
        return tuple(bands)
