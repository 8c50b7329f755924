"""The series for a review's plots: the trip's line, and the track in pieces with consumption.

Pieces are sums of whole seconds, bounded in number: as a ride grows, neighbours are merged. Which
seconds share a piece depends only on their time, never on how the log was cut into blocks.
"""

from dataclasses import field

import numpy as np

from groundside.studies.velocity_cells import VelocityCells
from onboard.block import FloatArray
from onboard.contract.trip_line import TripLine
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import WINDOW_LEAST_S
from onboard.efficiency.meters.geodesy import local_offset_m
from onboard.efficiency.meters.steadiness import MOVING_MPS
from onboard.efficiency.sources.settled_seconds import SettledSeconds

PIECES_MOST = 800
"""Limit on pieces: two for each pixel of a phone's width, with a page of a whole season still small
enough to send."""

SPAN_S = 20.0
"""Span around a place over which its consumption is taken [s], as for the ride view's first
figure."""

KEY, SECONDS, ENERGY, WAY, LATITUDE, LONGITUDE = range(6)


class PieceMaker:
    """Sums settled seconds in pieces.

    Examples
    --------
    >>> maker = PieceMaker()
    >>> unknown = np.full(2000, np.nan)
    >>> ones = np.ones(2000)
    >>> columns = (np.arange(2000.0), 360 * ones, *[unknown] * 5, 2 * ones, *[unknown] * 5)
    >>> maker.fold(SettledSeconds(*columns))
    >>> maker.every_s, len(maker.rows), maker.rows[1, ENERGY].round(6), maker.rows[1, WAY]
    (4.0, 501, np.float64(0.4), np.float64(8.0))
    """

    def __init__(self) -> None:
        self.every_s = 1.0
        """Length of a piece [s]."""
        self.rows: FloatArray = np.empty((0, 6))
        """A row a piece: number, seconds, energy [Wh], way [m], latitude and longitude [deg] at
        its end. Only seconds with known power and speed count."""

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in seconds, in order."""
        known = np.isfinite(seconds.power_w) & np.isfinite(seconds.distance_m)
        rows = np.stack(
            [
                np.ceil(seconds.t_s / self.every_s),
                known.astype(np.float64),
                np.where(known, seconds.power_w, 0.0) / 3600.0,
                np.where(known, seconds.distance_m, 0.0),
                seconds.latitude_deg,
                seconds.longitude_deg,
            ],
            axis=1,
        )
        self.rows = _summed(np.concatenate([self.rows, rows]))
        while len(self.rows) > PIECES_MOST:
            self.every_s *= 2.0
            self.rows[:, KEY] = np.ceil(self.rows[:, KEY] / 2.0)
            self.rows = _summed(self.rows)


def _summed(rows: FloatArray) -> FloatArray:
    """Sum the rows with the same key; the position is the last known one."""
    if not len(rows):
        return rows
    starts = np.flatnonzero(np.diff(rows[:, KEY], prepend=rows[0, KEY] - 1.0))
    result: FloatArray = np.add.reduceat(rows, starts, axis=0)
    result[:, KEY] = rows[starts, KEY]
    located = np.isfinite(rows[:, LATITUDE]) & np.isfinite(rows[:, LONGITUDE])
    last = np.maximum.reduceat(np.where(located, np.arange(len(rows)), -1), starts)
    for column in (LATITUDE, LONGITUDE):
        result[:, column] = np.where(last >= 0, rows[last, column], np.nan)
    return result


@dataclass(frozen=True)
class Series:
    """The series of one ride.

    Parameters
    ----------
    craft
        The craft's name in the profile.
    line
        Energy and distance against time, from the meters.
    every_s
        Length of a piece [s].
    pieces
        See `PieceMaker.rows`.
    velocities
        The ride's seconds by velocity.
    """

    craft: str
    line: TripLine
    every_s: float
    pieces: FloatArray
    velocities: VelocityCells = field(default_factory=VelocityCells)


@dataclass(frozen=True)
class RideTrack:
    """The track and its consumption; arrays of shape (n,).

    Parameters
    ----------
    east_m, north_m
        Position relative to the first known one.
    wh_per_km
        Consumption around each place; NaN if hardly moving or unknown.
    joined
        Whether a place follows the previous one without a gap.
    """

    east_m: FloatArray
    north_m: FloatArray
    wh_per_km: FloatArray
    joined: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


def track(series: Series) -> RideTrack | None:
    """Return the track of a ride; None if fewer than two positions are known."""
    rows = series.pieces
    located = np.isfinite(rows[:, LATITUDE])
    if np.count_nonzero(located) < 2:
        return None
    cost = _around(rows, max(round(SPAN_S / series.every_s / 2.0), 0))[located]
    rows = rows[located]
    east, north = local_offset_m(
        rows[0, LATITUDE], rows[0, LONGITUDE], rows[:, LATITUDE], rows[:, LONGITUDE]
    )
    return RideTrack(east, north, cost, np.diff(rows[:, KEY], prepend=-np.inf) == 1.0)


def _around(rows: FloatArray, reach: int) -> FloatArray:
    """Return the consumption over each piece and `reach` neighbours either way [Wh/km]."""
    sums = np.zeros((len(rows) + 1, 3))
    np.cumsum(rows[:, [SECONDS, ENERGY, WAY]], axis=0, out=sums[1:])
    # By key, not by row: across a gap the neighbouring rows are far away.
    first = np.searchsorted(rows[:, KEY], rows[:, KEY] - reach)
    last = np.searchsorted(rows[:, KEY], rows[:, KEY] + reach, side="right")
    seconds, energy, way = (sums[last] - sums[first]).T
    known = (way > MOVING_MPS * seconds) & (seconds >= WINDOW_LEAST_S)
    result: FloatArray = np.full(len(rows), np.nan)
    np.divide(1000.0 * energy, way, out=result, where=known)
    return result
