"""Settled seconds: what every slower estimator works on, the same for any cutting of the stream.

A cell is one whole second of stream time, cut from the cumulative curves once all sources have
passed it, or have been silent for `LAG_S`.
"""

import itertools
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields
from typing import TypeVar

import numpy as np

from onboard.block import Block, FloatArray
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.source_rules import CHOICE_S
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.last_reading import Held
from onboard.efficiency.sources.power_sources import PowerSources
from onboard.efficiency.sources.speed_sources import SpeedSources

Source = TypeVar("Source", BatterySide | None, DistanceMeter | None)

LAG_S = 20.0
"""A source that is this far behind the others is not waited for."""

CELLS_MOST = 8192
"""Given at a time: over a gap of days memory stays bounded."""

WHOLE_S = 0.99
"""A second that is measured for less than this lies in a gap."""


@dataclass(frozen=True)
class Cells:
    """Seconds in order; arrays of shape (n,), NaN where unknown.

    Parameters
    ----------
    t_s
        Stream time at the end of each second [s].
    power_w, amps_a, volts_v
        Means over the second, corrected.
    charge_ah
        Charge drawn up to its end, gaps filled in [Ah].
    east_mps, north_mps
        Mean velocity over ground.
    distance_m
        Way made good in it [m].
    latitude_deg, longitude_deg, throttle_fraction, drive_degc
        Last readings, no older than `STALE_S`.
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
    drive_degc: FloatArray

    def __len__(self) -> int:
        """Return the number of seconds."""
        return len(self.t_s)


def part_of_cells(cells: Cells, begin: int, end: int | None) -> Cells:
    """Return the cells from one place to another; to the last if `end` is None."""
    return Cells(*(getattr(cells, field.name)[begin:end] for field in fields(Cells)))


class CellMaker:
    """Cuts cells from the power and speed sources of one craft."""

    def __init__(self, power: PowerSources, speed: SpeedSources) -> None:
        self._power, self._speed = power, speed
        self._next_s: float | None = None
        self._begin_s = 0.0
        self._held = [
            Held("gps", "latitude_deg"),
            Held("gps", "longitude_deg"),
            Held("hud", "throttle_fraction"),
            Held("drive", "temperature_degc"),
        ]

    def fold(self, block: Block) -> None:
        """Take in the readings that are held from one second to the next."""
        for held in self._held:
            held.fold(block)

    def settled(self, first_s: float, now_s: float) -> Cells:
        """Return the cells that settled since the last call; none when there are no more.

        Parameters
        ----------
        first_s, now_s
            Stream time of the first and the newest sample of any channel [s].
        """
        # The first second is not fixed before it is settled: what comes late may be earlier still.
        begin_s = float(np.ceil(first_s)) if self._next_s is None else self._next_s
        reached = (*self._power.reached_s(), *self._speed.reached_s())
        # Sources that are not heard yet or no more are not waited for beyond the lag.
        alive = [until_s for until_s in reached if until_s > now_s - LAG_S]
        both = self._power.chosen() is not None and self._speed.chosen() is not None
        end_s = np.floor(min(alive) if alive and both else now_s - LAG_S)
        count = min(max(int(end_s - begin_s), 0), CELLS_MOST)
        edges = begin_s + np.arange(count + 1.0)
        if count:
            if self._next_s is None:
                self._begin_s = begin_s
            self._next_s = float(edges[-1])
            self._power.decide(begin_s, self._next_s)
        ends = edges[1:]
        return Cells(
            ends,
            *self._power_columns(edges),
            *self._speed_columns(edges),
            *(held.at(ends) for held in self._held),
        )

    def _power_columns(self, edges: FloatArray) -> Iterable[FloatArray]:
        count = len(edges) - 1
        columns = np.full((4, count), np.nan)
        for begin, end, side in _stretches(edges, self._begin_s, self._power.chosen):
            if side is None:
                continue
            part = edges[begin : end + 1]
            known = _measured(side, part)
            columns[0, begin:end] = np.where(
                known, np.diff(side.at("energy_wh", part)) * 3600, np.nan
            )
            columns[1, begin:end] = np.where(
                known, np.diff(side.at("charge_ah", part)) * 3600, np.nan
            )
            volts = np.diff(side.at("volt_hours", part)) * 3600 / len(side.meters)
            columns[2, begin:end] = np.where(known, volts, np.nan)
            columns[3, begin:end] = side.at("charge_ah", part[1:])
        return columns

    def _speed_columns(self, edges: FloatArray) -> Iterable[FloatArray]:
        columns = np.full((3, len(edges) - 1), np.nan)
        for begin, end, meter in _stretches(edges, self._begin_s, self._speed.chosen):
            if meter is None:
                continue
            part = edges[begin : end + 1]
            known = np.diff(meter.displacement.at("measured_s", part)) > WHOLE_S
            for row, name in enumerate(("east_m", "north_m")):
                way = np.diff(meter.displacement.at(name, part))
                columns[row, begin:end] = np.where(known, way, np.nan)
            way = np.diff(meter.track.curve.at("distance_m", part))
            columns[2, begin:end] = np.where(known, way, np.nan)
        return columns


def _measured(side: BatterySide, edges: FloatArray) -> FloatArray:
    measured = [np.diff(meter.curves.at("measured_s", edges)) for meter in side.meters]
    known: FloatArray = np.min(measured, axis=0) > WHOLE_S
    return known


def _stretches(
    edges: FloatArray, begin_s: float, chosen: Callable[[float], Source]
) -> Iterator[tuple[int, int, Source]]:
    """Return the stretches of cells over which the choice of source is the same.

    The choice is made anew every `CHOICE_S` of stream time, wherever the stretch of cells begins;
    the first one at `begin_s`, where the first cell of all does.
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
