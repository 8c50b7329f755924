"""Power, speed, consumption and energy used along a trip's line, point by point.

Power and speed are differences over a span, as the line holds cumulative energy and distance.
"""

import itertools

from onboard.contract.trip_line import TripLine
from onboard.dataclass import dataclass

SPAN_LEAST_S = 20.0
"""Shortest span [s]."""

SPAN_SHARE = 1.0 / 40.0
"""Span as a share of the trip's duration: as fine as a phone's plot can show."""

GAP_S = 10.0
"""A step longer than this [s], and than `GAP_STEPS` times the steps around it, is a gap."""

GAP_STEPS = 3.0
"""A gap is longer than this many times the steps before and after it: a viewer's own points are as
far apart as its snapshots, which is 20 s in a ride that is played 20 times as fast."""

MOVING_M = 5.0
"""Least distance in a span for a meaningful consumption [m]."""

WH_TO_J = 3600.0


@dataclass(frozen=True)
class TripSeries:
    """Columns of equal length; None if unknown, above all at gaps.

    Parameters
    ----------
    t_s
        Stream time [s].
    distance_m
        Distance made.
    power_w, speed_mps
        Means over the preceding span.
    wh_per_km
        Energy over distance in the preceding span.
    used_wh
        Energy used since the start of the trip.
    """

    t_s: tuple[float, ...] = ()
    distance_m: tuple[float, ...] = ()
    power_w: tuple[float | None, ...] = ()
    speed_mps: tuple[float | None, ...] = ()
    wh_per_km: tuple[float | None, ...] = ()
    used_wh: tuple[float | None, ...] = ()


def gaps(line: TripLine) -> tuple[bool, ...]:
    """Return for each point whether there is a gap before it.

    Examples
    --------
    >>> far_apart = TripLine((0.0, 1.0, 2.0, 22.0, 42.0), (0.0,) * 5, (0.0,) * 5)
    >>> gaps(far_apart), gaps(TripLine((0.0, 1.0, 31.0, 32.0), (0.0,) * 4, (0.0,) * 4))
    ((False, False, False, False, False), (False, False, True, False))
    """
    steps = [after - before for before, after in itertools.pairwise(line.t_s)]
    found = [False]
    for n, step in enumerate(steps):
        # Whether the newest step is a gap is not known until the next point has come.
        around = max((line.every_s, *steps[max(0, n - 1) : n], *steps[n + 1 : n + 2]))
        last = n + 1 == len(steps)
        found.append(not last and step > max(GAP_S, GAP_STEPS * around))
    return tuple(found[: len(line.t_s)])


def trip_series(line: TripLine) -> TripSeries:
    """Return the series of a line.

    Examples
    --------
    >>> line = [(float(second), 2.0 * second, 0.1 * second) for second in range(100)]
    >>> series = trip_series(TripLine(*zip(*line, strict=True)))
    >>> [round(column[50], 3) for column in (series.power_w, series.speed_mps, series.wh_per_km)]
    [360.0, 2.0, 50.0]
    """
    t_s, distance_m, energy_wh = line.t_s, line.distance_m, line.energy_wh
    if len(t_s) < 2:
        return TripSeries()
    span_s = max(SPAN_LEAST_S, SPAN_SHARE * (t_s[-1] - t_s[0]), 2.0 * line.every_s)
    after_gap = gaps(line)
    rows: list[tuple[float | None, ...]] = [(None, None, None, energy_wh[0])]
    since = 0
    for n in range(1, len(t_s)):
        if after_gap[n]:
            since = n
        while since < n - 1 and t_s[n] - t_s[since] > span_s + 1e-6:
            since += 1
        long_s = t_s[n] - t_s[since]
        if long_s < min(span_s, SPAN_LEAST_S) / 2.0:
            rows.append((None, None, None, None if since == n else energy_wh[n]))
            continue
        energy, way_m = energy_wh[n] - energy_wh[since], distance_m[n] - distance_m[since]
        cost = 1000.0 * energy / way_m if way_m >= MOVING_M else None
        rows.append((WH_TO_J * energy / long_s, way_m / long_s, cost, energy_wh[n]))
    return TripSeries(t_s, distance_m, *zip(*rows, strict=True))
