"""What a ride leaves for later ones, by set-up: its curve, and what riding took.

Carry-over forgets: an earlier ride's curve is widened for the next day's load and weather.
"""

from typing import Any

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import (
    BLOCK_SPEED_SD_MPS,
    DAY_SHAPE_SD_FRACTION,
    DAY_SPEED_SD_FRACTION,
    WATER_PRIOR_SD_MPS,
)
from onboard.efficiency.curve.ridden import BANDS_MOST, COLUMNS, none_ridden
from onboard.efficiency.curve.speed_power import KNOTS, SLOPE_SD, Carried, Posterior, start_curve


@dataclass(frozen=True)
class Learned:
    """What was learned of one set-up.

    Parameters
    ----------
    curve
        Power against speed through water.
    over_ground
        The same against speed over ground, where no course ridden tells the water from the craft.
    ridden
        Sums of what riding took; see `onboard.efficiency.curve.ridden`.
    """

    curve: Carried
    over_ground: Carried | None
    ridden: FloatArray

    @property
    def posterior(self) -> Posterior:
        """The curve through water, alone."""
        return posterior_of(self.curve, determines_water=self.over_ground is None)


def carried_of(learned: Posterior) -> Carried:
    """Return a fitted curve as a prior for another day: at the speeds seen, and wider."""
    ln_low, _ = learned.ln_power_at(np.array([learned.seen_mps[0]]))
    ln_high, _ = learned.ln_power_at(np.array([learned.seen_mps[1]]))
    first = max(int(np.searchsorted(KNOTS, ln_low[0])) - 1, 0)
    last = min(int(np.searchsorted(KNOTS, ln_high[0])), len(KNOTS) - 1)
    inside = slice(2 + first, 2 + last + 1)
    covariance = learned.covariance[inside, inside].copy()
    covariance += DAY_SPEED_SD_FRACTION**2 + np.eye(len(covariance)) * DAY_SHAPE_SD_FRACTION**2
    return Carried(first, learned.ln_speed[first : last + 1], covariance, learned.seen_mps)


def posterior_of(carried: Carried, *, determines_water: bool) -> Posterior:
    """Return the posterior of a carried curve alone: no water, and wider beyond the speeds seen."""
    count = len(KNOTS)
    known = slice(carried.first_knot, carried.first_knot + len(carried.ln_speed))
    ends = KNOTS[known][[0, -1]]
    beyond = np.abs(KNOTS - np.clip(KNOTS, *ends))
    curve = np.diag((SLOPE_SD * beyond) ** 2 + float(np.diag(carried.covariance).max()))
    curve[known, known] = carried.covariance
    covariance = np.zeros((2 + count, 2 + count))
    covariance[2:, 2:] = curve
    along = 0.0 if determines_water else WATER_PRIOR_SD_MPS**2
    start = start_curve(carried)
    return Posterior(np.zeros(2), start, covariance, carried.seen_mps, 0, BLOCK_SPEED_SD_MPS, along)


def as_dict(learned: Learned) -> dict[str, Any]:
    """Return what was learned in JSON's own types."""
    over = learned.over_ground
    return {
        **_curve_as_dict(learned.curve),
        "over_ground": None if over is None else _curve_as_dict(over),
        "ridden": learned.ridden.tolist(),
    }


def _curve_as_dict(carried: Carried) -> dict[str, Any]:
    return {
        "first_knot": carried.first_knot,
        "ln_speed": carried.ln_speed.tolist(),
        "covariance": carried.covariance.tolist(),
        "seen_mps": list(carried.seen_mps),
    }


def read_all(kept: Any) -> dict[str, Learned]:
    """Return what was learned of each set-up, from `as_dict` of each.

    Raises
    ------
    ValueError
        If it is not that.
    """
    try:
        return {str(name): _read(stated) for name, stated in kept.items()}
    except (KeyError, TypeError, AttributeError, ValueError, IndexError):
        raise ValueError("the kept speed-power curves are not readable") from None


def _read(stated: dict[str, Any]) -> Learned:
    # Curves kept before there were these two have neither.
    over = stated.get("over_ground")
    return Learned(
        _read_curve(stated),
        None if over is None else _read_curve(over),
        _read_ridden(stated.get("ridden", [])),
    )


def _read_curve(stated: dict[str, Any]) -> Carried:
    first = int(stated["first_knot"])
    ln_speed = _finite(stated["ln_speed"])
    covariance = _finite(stated["covariance"])
    low, high = (float(speed) for speed in stated["seen_mps"])
    if not (
        first >= 0 and 1 <= len(ln_speed) <= len(KNOTS) - first
        and covariance.shape == (len(ln_speed), len(ln_speed)) and 0 < low <= high
        and np.all(np.linalg.eigvalsh(covariance) > 0)
    ):  # fmt: skip
        raise ValueError("cannot be")
    return Carried(first, ln_speed, covariance, (low, high))


def _read_ridden(stated: list[list[float]]) -> FloatArray:
    if not stated:
        return none_ridden()
    sums = _finite(stated)
    if not (
        sums.ndim == 2 and sums.shape[1] == COLUMNS and (np.diff(sums[:, 0]) > 0).all()
        and (sums >= 0).all() and (sums[:, 0] <= BANDS_MOST).all() and (sums[:, 1] >= 1).all()
    ):  # fmt: skip
        raise ValueError("cannot be")
    return sums


def _finite(values: Any) -> FloatArray:
    array = np.array(values, dtype=np.float64)
    if not np.isfinite(array).all():
        raise ValueError("cannot be")
    return array
