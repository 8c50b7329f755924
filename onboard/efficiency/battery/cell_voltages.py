"""The voltages of single cells, where the autopilot states them: the lowest, and how far apart.

Whose voltages. An autopilot that does not measure cells states the pack's voltage in their place:
in the first field, and the excess over 65.534 V in the next ones. So the fields are cells only if
there are as many as the profile's pack has and each could be that of a cell. Fields that are equal
to the last digit are one voltage divided by the number of cells, and tell nothing either.

How far apart a pack in order may be. Its cells differ a little in charge, resistance and reading.
At a mean voltage V under a current I, the highest and the lowest differ by at most

    CELLS_APART_V + U(s + d) - U(s - d) + CELLS_APART_OHM_AH |I| / capacity,

where U is the open-circuit voltage, s the charge at which it is V, and d `CELLS_APART_CHARGE`: on a
plateau the second term vanishes, and at the ends of the curve, where cells in order drift apart as
they fill or empty, it grows by as much as they do. The sag is not added to V: that places the pack
lower on the curve, where the limit is wider. Outside `CELLS_JUDGED` nothing is said: published
cells differ most at the ends, and cells just off the charger are apart until they have settled.
"""

import numpy as np

from onboard.block import Block, FloatArray, numbers_in
from onboard.dataclass import dataclass
from onboard.efficiency.alert_practice import (
    CELL_LEAST_V,
    CELL_MOST_V,
    CELLS_APART_CHARGE,
    CELLS_APART_OHM_AH,
    CELLS_APART_V,
    CELLS_JUDGED,
)
from onboard.efficiency.battery.ocv_curve import OCV_CURVES, OcvCurve
from onboard.efficiency.common_practice import PACKS_MOST, STALE_READING_S
from onboard.profile import Battery


@dataclass(frozen=True)
class Cells:
    """The cells of each pack that states them, by whole seconds; NaN where unknown.

    Parameters
    ----------
    packs
        The packs' instances, k of them.
    low_cell, low_v
        Which cell is lowest, counted from 1, and its voltage [V], shape (n, k).
    apart_v, most_v
        Voltage of the highest over the lowest, and the most that it may be in a pack in order [V],
        shape (n, k).
    """

    packs: tuple[int, ...]
    low_cell: FloatArray
    low_v: FloatArray
    apart_v: FloatArray
    most_v: FloatArray


class CellVoltages:
    """Carry the cells' last voltages of each pack from one second to the next.

    Parameters
    ----------
    battery
        The pack's settings; None without.
    voltage_scale
        True voltage over reported.
    """

    def __init__(self, battery: Battery | None, voltage_scale: float) -> None:
        self._battery, self._scale = battery, voltage_scale
        self._curve = None if battery is None else OCV_CURVES[battery.chemistry]
        self._rows: dict[int, FloatArray] = {}
        """By pack: time, lowest cell, its voltage, the difference, the mean, the current."""

    def fold(self, block: Block) -> None:
        """Fold a block."""
        channel = block.get("battery")
        if channel is None or self._battery is None:
            return
        low_v, high_v = self._scale * channel["low_cell_v"], self._scale * channel["high_cell_v"]
        cells = (channel["cells"] == self._battery.cells) & (low_v < high_v)
        cells &= (low_v >= CELL_LEAST_V) & (high_v <= CELL_MOST_V)
        cells &= np.isfinite(channel.t_s + channel["low_cell"])
        if not cells.any():
            return
        mean_v = self._scale * channel["volts_v"] / self._battery.cells
        columns = (channel.t_s, channel["low_cell"], low_v, high_v - low_v, mean_v)
        rows = np.stack([*columns, np.abs(channel["amps_a"])], axis=1)[cells]
        packs = channel["pack"][cells]
        for pack in numbers_in(packs):
            if pack in self._rows or len(self._rows) < PACKS_MOST:
                before = self._rows.get(pack, np.empty((0, rows.shape[1])))
                self._rows[pack] = np.concatenate([before, rows[packs == pack]])

    def at(self, t_s: FloatArray) -> Cells | None:
        """Return the cells at rising times [s], shape (n,); None where no pack ever stated any."""
        if not self._rows or self._battery is None or self._curve is None:
            return None
        # Which pack was heard first depends on where the stream was cut.
        packs = sorted(self._rows)
        seconds = [self._last(pack, t_s) for pack in packs]
        low_cell, low_v, apart_v, mean_v, amps_a = np.stack(seconds, axis=1).transpose(2, 0, 1)
        most_v = most_apart_v(self._curve, mean_v, amps_a / self._battery.full_ah)
        return Cells(tuple(packs), low_cell, low_v, apart_v, most_v)

    def _last(self, pack: int, t_s: FloatArray) -> FloatArray:
        """Return the last row up to each time, without its own; NaN where it is stale."""
        rows = self._rows[pack]
        rows = rows[np.argsort(rows[:, 0], kind="stable")]
        place = np.searchsorted(rows[:, 0], t_s, side="right") - 1
        oldest = np.searchsorted(rows[:, 0], t_s[-1] - STALE_READING_S) if len(t_s) else 0
        self._rows[pack] = rows[oldest:]
        if not len(rows):
            return np.full((len(t_s), rows.shape[1] - 1), np.nan)
        fresh = (place >= 0) & (t_s - rows[place, 0] <= STALE_READING_S)
        return np.where(fresh[:, None], rows[place, 1:], np.nan)


def most_apart_v(curve: OcvCurve, mean_v: FloatArray, rate_per_h: FloatArray) -> FloatArray:
    """Return the most that cells of a pack in order are apart [V]; NaN near full and empty.

    Parameters
    ----------
    curve
        The chemistry's open-circuit voltage.
    mean_v
        Mean voltage of the cells [V].
    rate_per_h
        Current over the pack's capacity [1/h].

    Examples
    --------
    Lithium iron phosphate at rest: on its plateau, at a quarter of its charge, and nearly empty.

    >>> volts = np.array([3.27, 3.19, 2.9])
    >>> np.round(most_apart_v(OCV_CURVES["lfp"], volts, np.zeros(3)), 3)
    array([0.054, 0.081,   nan])
    """
    # The curve may be level over a piece; interpolation needs it to rise.
    rising_v = np.maximum.accumulate(curve.ocv_v) + 1e-9 * curve.fraction
    charge = np.interp(mean_v, rising_v, curve.fraction)
    by_charge = np.interp(charge + CELLS_APART_CHARGE, curve.fraction, curve.ocv_v)
    by_charge -= np.interp(charge - CELLS_APART_CHARGE, curve.fraction, curve.ocv_v)
    most_v: FloatArray = CELLS_APART_V + by_charge + CELLS_APART_OHM_AH * rate_per_h
    least, most = CELLS_JUDGED
    return np.where((charge > least) & (charge < most), most_v, np.nan)
