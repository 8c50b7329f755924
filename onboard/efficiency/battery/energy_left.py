"""Energy that can still be drawn at a constant power, down to the reserve or the cut-off.

The terminal voltage under a constant power P behind a resistance R is (E + sqrt(E^2 - 4 R P)) / 2
with E the open-circuit voltage; energy is its integral over charge, down to the limit reached
first.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.battery.ocv_curve import OcvCurve


@dataclass(frozen=True)
class UsableEnergy:
    """A pack's energy and the limits to which it may be discharged.

    Parameters
    ----------
    ocv
        Open-circuit curve of the cells.
    volts_scale
        Pack voltage over the curve's cell voltage.
    reserve_fraction
        Energy at the reserve, as a share of full.
    cutoff_v
        Voltage of the pack to stop at [V].
    resistance_ohm, resistance_sd_ohm
        Resistance to a sustained load and its standard deviation [ohm].
    """

    ocv: OcvCurve
    volts_scale: float
    reserve_fraction: float
    cutoff_v: float
    resistance_ohm: float
    resistance_sd_ohm: float

    def left(self, fraction: float, power_w: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the voltage integrated over charge from the limit to now, and at present.

        Parameters
        ----------
        fraction
            State of charge.
        power_w
            Constant battery powers [W], shape (n,).

        Returns
        -------
        tuple of numpy.ndarray
            Integral [V] (times the capacity [Ah] it is the energy [Wh]) and voltage [V], both
            (n,).
        """
        power = np.maximum(power_w, 0.0)
        return self._integral(self._open_v, self.resistance_ohm, fraction, power)[:2]

    def variance(self, fraction: float, power_w: FloatArray) -> FloatArray:
        """Return the integral's variance from the spread of the resistance [V^2]."""
        plain, _ = self.left(fraction, power_w)
        upper_ohm = self.resistance_ohm + self.resistance_sd_ohm
        upper, *_ = self._integral(self._open_v, upper_ohm, fraction, power_w)
        return np.asarray((upper - plain) ** 2, np.float64)

    def curve_gradient(self, fraction: float, power_w: FloatArray) -> FloatArray:
        """Return the integral's change with the deviation of the curve at each knot [V], (n, k).

        By finite differences of a whole standard deviation: the limit moves with the curve too.
        """
        steps = self.ocv.knot_v(self.ocv.fraction).T * self.volts_scale
        curves = self._open_v + np.concatenate([np.zeros_like(steps[:1]), steps])
        rows = np.repeat(curves, len(power_w), axis=0)
        powers = np.tile(power_w, len(curves))
        energy, *_ = self._integral(rows, self.resistance_ohm, fraction, powers)
        plain, *higher = energy.reshape(len(curves), -1)
        return np.asarray((np.array(higher) - plain).T, np.float64)

    def mean_volts(self, fraction: float, power_w: float) -> tuple[float, float]:
        """Return the mean voltage from now to the limit at a power, and that at present [V]."""
        power = np.array([max(power_w, 0.0)])
        energy, volts, end = self._integral(self._open_v, self.resistance_ohm, fraction, power)
        span = min(max(fraction, 0.0), 1.0) - float(end[0])
        now_v = float(volts[0])
        return (float(energy[0]) / span if span > 0 else now_v), now_v

    @property
    def _open_v(self) -> FloatArray:
        return np.asarray(self.ocv.ocv_v * self.volts_scale, np.float64)

    def _integral(
        self, open_v: FloatArray, resistance_ohm: float, fraction: float, power_w: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the voltage integrated from the limit up, at `fraction`, and the limit; (n,).

        The open-circuit curve is the same for all powers, or one for each: shape (n, grid).
        """
        grid = self.ocv.fraction
        square = open_v**2 - 4.0 * resistance_ohm * power_w[:, None]
        volts = (open_v + np.sqrt(np.maximum(square, 0.0))) / 2
        below = (volts < self.cutoff_v) | (square < 0)
        # The highest charge at which the cut-off is reached, between two points of the grid.
        high = len(grid) - 1 - np.argmax(below[:, ::-1], axis=1)
        rows = np.arange(len(power_w))
        above = np.minimum(high + 1, len(grid) - 1)
        step = np.maximum(volts[rows, above] - volts[rows, high], 1e-9)
        part = np.clip((self.cutoff_v - volts[rows, high]) / step, 0.0, 1.0)
        cut = np.where(below.any(axis=1), grid[high] + part * (grid[above] - grid[high]), 0.0)
        end = np.maximum(cut, self._reserve(open_v))
        steps = (volts[:, 1:] + volts[:, :-1]) / 2 * (grid[1] - grid[0])
        total = np.concatenate([np.zeros((len(power_w), 1)), np.cumsum(steps, axis=1)], axis=1)
        here = np.clip(fraction, 0.0, 1.0)
        upto = _columns(grid, total, np.full(len(power_w), here))
        energy = np.maximum(upto - _columns(grid, total, end), 0.0)
        # Charge above the curve's full counts as full.
        return energy, _columns(grid, volts, np.full(len(power_w), here)), end

    def _reserve(self, open_v: FloatArray) -> FloatArray:
        """Return the state of charge at the reserve: for each curve, shape (n,) or ()."""
        steps = (open_v[..., 1:] + open_v[..., :-1]) / 2
        grid, energy = self.ocv.fraction, np.cumsum(steps, axis=-1)
        wanted = self.reserve_fraction * energy[..., -1:]
        place = (energy < wanted).sum(axis=-1)[..., None]
        last = np.take_along_axis(steps, place, -1)
        over = np.take_along_axis(energy, place, -1) - wanted
        at = grid[place + 1] - over / last * (grid[1] - grid[0])
        return np.asarray(at[..., 0], np.float64)


def _columns(grid: FloatArray, rows: FloatArray, at: FloatArray) -> FloatArray:
    """Interpolate each row at its own point of a uniform grid."""
    place = np.clip((at - grid[0]) / (grid[1] - grid[0]), 0.0, len(grid) - 1.0)
    low = np.minimum(place.astype(np.int64), len(grid) - 2)
    part = place - low
    number = np.arange(len(rows))
    return np.asarray((1 - part) * rows[number, low] + part * rows[number, low + 1], np.float64)
