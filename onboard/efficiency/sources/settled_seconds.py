"""Settled seconds: the input of every part that learns or advises.

**Definition.** A settled second is one whole second of stream time with the means of power,
current, voltage and velocity over it, the distance covered in it, the charge drawn up to its end,
and the last readings of position, throttle and drive temperature. It is cut from the cumulative
curves
(`meters/cumulative.py`): an energy is the difference of two points of a curve, a mean is that over
the second. A second that was not measured throughout (less than `WHOLE_SECOND_S`) lies in a gap:
its means are NaN, while its charge is known, as the curve bridges the gap.

**Finality.** A second is cut once every source that may count has passed its end, and is never
revised. Cutting does not wait for a source that lags more than `LAG_S` behind the newest sample,
nor for one that has not begun; but until both power and speed have begun, nothing settles within
`LAG_S` of the newest sample, so that a source that begins a little later is included from the
start. The track
settles two seconds late, as a second's direction needs the seconds around it (`meters/track.py`).
The source that a second is cut from is decided at whole multiples of `CHOICE_S` of stream time,
from the stream up to then (`meters/source_rules.py`).

**Purpose.** Blocks come in any size: 0.2 s of data on the craft, 100 s of a log in a review. An
estimator that folded raw samples would see different batches each time, and telemetry is uneven in
rate. Seconds are evenly spaced, common to both meters, cleaned by the gates, and at most one a
second: cheap enough for the most elaborate estimator.

**Independence of the partition.** The curves are summed in order of time, so their totals at whole
seconds are equal to the last bit whatever the blocks were. A second's values depend only on those
totals and on decisions at fixed stream times, hence not on when it was cut. An estimator that folds
seconds one by one, or evaluates at whole multiples of some seconds, gives the same whether they
come one at a time or thousands at once: a replay shows what the rider saw.
"""

import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import field, fields
from typing import Self, TypeVar

import numpy as np

from onboard.block import Block, FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import CHOICE_S, LAG_S, WHOLE_SECOND_S
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.last_reading import LastReading
from onboard.efficiency.sources.power_sources import PowerSources
from onboard.efficiency.sources.speed_sources import SpeedSources

Reading = tuple[str, str]
"""A channel and a column of it, as in `onboard.block.COLUMNS`."""

Source = TypeVar("Source", BatterySide | None, DistanceMeter | None)

SECONDS_MOST = 8192
"""Seconds returned at a time: over a gap of days memory stays bounded."""


@dataclass(frozen=True)
class SettledSeconds:
    """Settled seconds in order; arrays of shape (n,), NaN where unknown.

    Parameters
    ----------
    t_s
        Stream time at the end of each second [s].
    power_w, amps_a, volts_v
        Means over the second, corrected.
    charge_ah
        Charge drawn up to its end, gaps bridged [Ah].
    east_mps, north_mps
        Mean velocity over ground.
    distance_m
        Distance covered in it [m].
    latitude_deg, longitude_deg, throttle_fraction
        Last readings, no older than `STALE_READING_S`.
    energy_wh, made_m
        Energy drawn and distance covered up to its end, gaps bridged [Wh, m].
    readings
        Last readings of those columns that the cutter was asked for.
    """

    t_s: FloatArray
    power_w: FloatArray
    amps_a: FloatArray
    volts_v: FloatArray
    charge_ah: FloatArray
    east_mps: FloatArray
    north_mps: FloatArray
    distance_m: FloatArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    throttle_fraction: FloatArray
    energy_wh: FloatArray
    made_m: FloatArray
    readings: Mapping[Reading, FloatArray] = field(default_factory=dict, kw_only=True)

    def __len__(self) -> int:
        """Return the number of seconds."""
        return len(self.t_s)

    def part(self, begin: int, end: int | None) -> Self:
        """Return the seconds from index `begin` up to `end`, exclusive; None: to the last."""
        *columns, _ = (one.name for one in fields(self))
        return type(self)(
            *(getattr(self, name)[begin:end] for name in columns),
            readings={name: column[begin:end] for name, column in self.readings.items()},
        )


class SecondsCutter:
    """Cut settled seconds from the power and speed sources of one craft.

    Parameters
    ----------
    power, speed
        The sources.
    readings
        What else to carry from one second to the next.
    """

    def __init__(
        self, power: PowerSources, speed: SpeedSources, readings: Iterable[Reading] = ()
    ) -> None:
        self._power, self._speed = power, speed
        self._next_s: float | None = None
        self._begin_s = 0.0
        self._carried = [
            LastReading("gps", "latitude_deg"),
            LastReading("gps", "longitude_deg"),
            LastReading("hud", "throttle_fraction"),
        ]
        self._readings = {reading: LastReading(*reading) for reading in readings}

    def fold(self, block: Block) -> None:
        """Fold the readings that are carried from one second to the next."""
        for reading in (*self._carried, *self._readings.values()):
            reading.fold(block)

    def settled(self, first_s: float, now_s: float) -> SettledSeconds:
        """Return the seconds that settled since the last call; empty if there are none.

        Parameters
        ----------
        first_s, now_s
            Stream time of the first and the newest sample of any channel [s].
        """
        # The first second is fixed only when it settles: late samples may precede it.
        begin_s = float(np.ceil(first_s)) if self._next_s is None else self._next_s
        reached = (*self._power.reached_s(), *self._speed.reached_s())
        # Do not wait beyond the lag for sources that have not begun or have stopped.
        active = [until_s for until_s in reached if until_s > now_s - LAG_S]
        both = self._power.chosen() is not None and self._speed.chosen() is not None
        end_s = np.floor(min(active) if active and both else now_s - LAG_S)
        count = min(max(int(end_s - begin_s), 0), SECONDS_MOST)
        edges = begin_s + np.arange(count + 1.0)
        if count:
            if self._next_s is None:
                self._begin_s = begin_s
            self._next_s = float(edges[-1])
            self._power.decide(begin_s, self._next_s)
        ends = edges[1:]
        *by_power, energy_wh = self._power_columns(edges)
        *by_speed, made_m = self._speed_columns(edges)
        carried = (reading.at(ends) for reading in self._carried)
        return SettledSeconds(
            *(ends, *by_power, *by_speed, *carried, energy_wh, made_m),
            readings={name: reading.at(ends) for name, reading in self._readings.items()},
        )

    def _power_columns(self, edges: FloatArray) -> Iterable[FloatArray]:
        columns = np.full((5, len(edges) - 1), np.nan)
        for begin, end, side in _stretches(edges, self._begin_s, self._power.chosen):
            if side is None:
                continue
            part = edges[begin : end + 1]
            measured_s = [np.diff(meter.curves.at("measured_s", part)) for meter in side.meters]
            known = np.min(measured_s, axis=0) > WHOLE_SECOND_S
            totals = [side.at(name, part) for name in ("energy_wh", "charge_ah", "volt_hours")]
            means = np.diff(totals) * 3600
            means[2] /= len(side.meters)
            columns[:3, begin:end] = np.where(known, means, np.nan)
            columns[3, begin:end], columns[4, begin:end] = totals[1][1:], totals[0][1:]
        return columns

    def _speed_columns(self, edges: FloatArray) -> Iterable[FloatArray]:
        columns = np.full((4, len(edges) - 1), np.nan)
        for begin, end, meter in _stretches(edges, self._begin_s, self._speed.chosen):
            if meter is None:
                continue
            part, moved = edges[begin : end + 1], meter.displacement
            known = np.diff(moved.at("measured_s", part)) > WHOLE_SECOND_S
            totals = (
                moved.at("east_m", part),
                moved.at("north_m", part),
                meter.track.curve.at("distance_m", part),
            )
            columns[:3, begin:end] = np.where(known, np.diff(totals), np.nan)
            columns[3, begin:end] = totals[2][1:]
        return columns


def _stretches(
    edges: FloatArray, begin_s: float, chosen: Callable[[float], Source]
) -> Iterator[tuple[int, int, Source]]:
    """Yield the stretches of seconds over which the choice of source is the same.

    The choice is made at every `CHOICE_S` of stream time, wherever the given seconds begin; the
    first at `begin_s`, where the very first second begins.
    """
    periods: FloatArray = np.floor(edges[:-1] / CHOICE_S)
    bounds = [0, *(np.flatnonzero(np.diff(periods)) + 1).tolist(), len(periods)]
    begin, choice = 0, None
    for first, last in itertools.pairwise(bounds):
        if last == first:
            continue
        now = chosen(max(float(periods[first] * CHOICE_S), begin_s))
        if first > begin and now != choice:
            yield begin, first, choice
            begin = first
        choice = now
    if len(periods):
        yield begin, len(periods), choice
