"""What the curve view says: the craft's power against its speed, and where the rider is on it."""

import itertools
import math
from bisect import bisect_right
from dataclasses import dataclass

from groundside.dashboard.faces.items import Block, Item
from groundside.dashboard.faces.plot import Axis, AxisMark, Band, PlotFace, Point, Trace
from groundside.dashboard.faces.setups import listed, setup_in_force
from groundside.dashboard.scene import Scene
from groundside.dashboard.ticks import round_top, tick_step
from groundside.figures import (
    Reading,
    consumption_text,
    number,
    one_decimal,
    part,
    percent,
    reading,
    text_of,
    three_figures,
    whole,
)
from groundside.source import Snapshot
from groundside.units import Units

KINDS = {"through_water": "through water", "over_ground": "over ground"}
LEARN = "Ride half a minute steadily at each of a few speeds: the curve is learned from that."
BAND_MOST = 1.5
"""The y axis ends at so many times the curve's highest, even where the band goes on."""
STEEPEST = 3.0
"""A plot of consumption ends at so many times its least: slow speeds would flatten all else."""
SLOWEST_MPS = 0.3
"""Slower than this a consumption says nothing."""
CHEAPEST_WITHIN = 0.015
"""Nearer to the least than this nobody can tell on the water. Common practice, no source."""
WH_PER_KM = 1.0 / 3.6
"""What a J/m is [Wh/km]."""


@dataclass(frozen=True)
class CurveFace:
    """All that the curve view says at one moment."""

    plot: PlotFace
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Curve:
    """A speed-power curve with its 95 % band, in SI."""

    speed_mps: tuple[float, ...]
    power_w: tuple[float, ...]
    low_w: tuple[float, ...]
    high_w: tuple[float, ...]
    kind: str = ""

    def power_at(self, speed_mps: float) -> float | None:
        """Give the power at a speed within the curve [W]."""
        place = bisect_right(self.speed_mps, speed_mps)
        if place == len(self.speed_mps) and speed_mps == self.speed_mps[-1]:
            return self.power_w[-1]
        if not 0 < place < len(self.speed_mps):
            return None
        (x0, x1), (y0, y1) = (v[place - 1 : place + 1] for v in (self.speed_mps, self.power_w))
        return y0 + (y1 - y0) * (speed_mps - x0) / (x1 - x0)


@dataclass(frozen=True)
class Through:
    """Turns speeds over ground, on the present course, into those of the curve.

    Parameters
    ----------
    east, north
        The course, as a unit vector.
    water_east_mps, water_north_mps
        Set and drift; nothing where the curve itself is over ground.
    """

    east: float = 0.0
    north: float = 1.0
    water_east_mps: float = 0.0
    water_north_mps: float = 0.0

    def speed(self, over_ground_mps: float) -> float:
        """Give the speed of the curve [m/s]."""
        return math.hypot(
            over_ground_mps * self.east - self.water_east_mps,
            over_ground_mps * self.north - self.water_north_mps,
        )


def through_of(snapshot: Snapshot | None, curve: Curve) -> Through | None:
    """Tell how speeds over ground lie on a curve; None where the water or the course is unknown."""
    if curve.kind != KINDS["through_water"]:
        return Through()
    course = reading(snapshot, "course_deg").value
    east, north = (
        reading(snapshot, "set_and_drift", key).value for key in ("east_mps", "north_mps")
    )
    if course is None or east is None or north is None:
        return None
    angle = math.radians(course)
    return Through(math.sin(angle), math.cos(angle), east, north)


def curve_of(snapshot: Snapshot | None) -> Curve | None:
    """Read the curve out of a snapshot; None where there is none that can be drawn."""
    raw = part(snapshot, "curve")
    columns = []
    for key in ("speed_mps", "power_w", "low_w", "high_w"):
        values = [number(value) for value in listed(raw.get(key))]
        columns.append(tuple(value for value in values if value is not None))
    speeds = columns[0]
    rising = all(a < b for a, b in itertools.pairwise(speeds))
    if len(speeds) < 2 or not rising or any(len(column) != len(speeds) for column in columns):
        return None
    speed, power, low, high = columns
    return Curve(speed, power, low, high, KINDS.get(text_of(raw.get("speed_kind")), ""))


def curve_face(scene: Scene, *, of_consumption: bool) -> CurveFace:
    """Make all that the curve view says.

    Parameters
    ----------
    scene
        What is so now.
    of_consumption
        Plot the consumption in place of the power.
    """
    curve = curve_of(scene.snapshot)
    if curve is None:
        learning = bool(part(scene.snapshot, "curve"))
        why = "one speed alone is known" if learning else reading(scene.snapshot, "curve").why
        return CurveFace(PlotFace(why=f"no curve yet: {why}. {LEARN}"), ())
    draw = _Drawing(scene, curve, of_consumption)
    return CurveFace(draw.plot(), (_words(scene, curve),))


class _Drawing:
    """Turns a curve into a plot in the rider's units."""

    def __init__(self, scene: Scene, curve: Curve, of_consumption: bool) -> None:
        self._scene, self._units, self._curve = scene, scene.units, curve
        self._of_consumption = of_consumption
        self._through = through_of(scene.snapshot, curve)
        pointed = [
            self._through.speed(speed)
            for figure in (_best_speed(scene.snapshot), _target_speed(scene.snapshot))
            for speed in (figure.low, figure.value, figure.high)
            if speed is not None and self._through is not None
        ]
        first = self._units.speed(min([curve.speed_mps[0], *pointed]))
        last = self._units.speed(max([curve.speed_mps[-1], *pointed]))
        step = tick_step(last, 8)
        low = 0.0 if first < 0.4 * last else first // step * step
        self._x = Axis(low, round_top(last - low) + low, self._units.speed_name)

    def plot(self) -> PlotFace:
        """Draw the curve with its band, and point out what the rider looks for."""
        curve, units = self._curve, self._units
        columns = [
            tuple(self._y(v, p) for v, p in zip(curve.speed_mps, column, strict=True))
            for column in (curve.power_w, curve.low_w, curve.high_w)
        ]
        xs = tuple(units.speed(v) for v in curve.speed_mps)
        keep = [n for n, v in enumerate(curve.speed_mps) if v >= SLOWEST_MPS]
        x = tuple(xs[n] for n in keep)
        middle, low, high = (tuple(column[n] for n in keep) for column in columns)
        # where little was ridden the band goes far beyond all that is there
        top = min(max(high, default=1.0), BAND_MOST * max(middle, default=1.0))
        if self._of_consumption:
            top = min(top, STEEPEST * min(middle, default=1.0))
        unit = units.consumption_name if self._of_consumption else "W"
        what = "consumption" if self._of_consumption else "battery power"
        setup = setup_in_force(self._scene.snapshot)
        return PlotFace(
            title=(f" {what}, speed {curve.kind}", *((f"set-up {setup}",) if setup else ())),
            x=self._x,
            y=Axis(0.0, round_top(top), unit),
            trace=Trace(x, middle),
            band=Band(x, low, high),
            points=self._now(),
            marks=tuple(mark for mark in (self._best(), self._target()) if mark is not None),
        )

    def _y(self, speed_mps: float, power_w: float) -> float:
        if not self._of_consumption:
            return power_w
        return self._units.consumption(power_w / max(speed_mps, SLOWEST_MPS) * WH_PER_KM)

    def _now(self) -> tuple[Point, ...]:
        power, speed = (
            reading(self._scene.snapshot, key).value for key in ("power_w", "speed_mps")
        )
        if power is None or speed is None or speed < SLOWEST_MPS or self._through is None:
            return ()
        speed = self._through.speed(speed)
        place = self._units.speed(speed), self._y(speed, power)
        return (Point("N", *place, stale=self._scene.stale),)

    def _best(self) -> AxisMark | None:
        return self._mark("B", _best_speed(self._scene.snapshot))

    def _target(self) -> AxisMark | None:
        return self._mark("T", _target_speed(self._scene.snapshot))

    def _mark(self, letter: str, speed: Reading) -> AxisMark | None:
        if speed.value is None or self._through is None:
            return None
        through = self._through
        here = through.speed(speed.value)
        power = self._curve.power_at(here)
        low, high = (
            None if end is None else self._units.speed(through.speed(end))
            for end in (speed.low, speed.high)
        )
        top = None if power is None else self._y(here, power)
        return AxisMark(letter, self._units.speed(here), low, high, top)


def _best_speed(snapshot: Snapshot | None) -> Reading:
    return reading(snapshot, "best_speed_mps")


def _target_speed(snapshot: Snapshot | None) -> Reading:
    return reading(snapshot, "target", "speed_mps")


def _words(scene: Scene, curve: Curve) -> Block:
    snapshot, units = scene.snapshot, scene.units
    return tuple(
        item
        for item in (
            _now_words(scene, curve),
            _best_words(snapshot, curve, units),
            _target_words(snapshot, curve, units),
        )
        if item is not None
    )


def _cost(curve: Curve, snapshot: Snapshot | None, over_ground_mps: float) -> float | None:
    """Give what a speed over ground costs over ground, on the present course [Wh/km]."""
    through = through_of(snapshot, curve)
    if through is None or over_ground_mps < SLOWEST_MPS:
        return None
    power_w = curve.power_at(through.speed(over_ground_mps))
    return None if power_w is None else power_w / over_ground_mps * WH_PER_KM


def _speed(speed_mps: float, units: Units) -> str:
    return f"{one_decimal(units.speed(speed_mps))} {units.speed_name}"


def _now_words(scene: Scene, curve: Curve) -> Item:
    snapshot, units = scene.snapshot, scene.units
    power, speed = (reading(snapshot, key) for key in ("power_w", "speed_mps"))
    if power.value is None or speed.value is None:
        return Item("N now", power.why or speed.why)
    said = f"{_speed(speed.value, units)}, {whole(power.value)} W"
    here = _cost(curve, snapshot, speed.value)
    best = _best_speed(snapshot).value
    least = None if best is None else _cost(curve, snapshot, best)
    if scene.stale:
        said += " STALE"
    elif through_of(snapshot, curve) is None:
        said += " over ground; not drawn: the water on this course is not known"
    elif here is None:
        said += ": beyond what the curve has seen" if speed.value >= SLOWEST_MPS else ""
    elif least:
        more = here / least - 1.0
        cheap = more < CHEAPEST_WITHIN
        said += ": the cheapest speed" if cheap else f": {percent(more)} over the cheapest"
    return Item("N now", said, strong=True)


def _best_words(snapshot: Snapshot | None, curve: Curve, units: Units) -> Item:
    best, reach = _best_speed(snapshot), reading(snapshot, "range_m", "best")
    if best.value is None:
        return Item("B best", best.why)
    said = _speed(best.value, units)
    if best.low is not None and best.high is not None:
        ends = (one_decimal(units.speed(end)) for end in (best.low, best.high))
        said += f" ({' to '.join(ends)})"
    cost = _cost(curve, snapshot, best.value)
    if cost is not None:
        said += f", {consumption_text(cost, units)} {units.consumption_name}"
    if reach.value is not None:
        said += f", {three_figures(units.distance(reach.value))} {units.distance_name} of range"
    return Item("B best", said)


def _target_words(snapshot: Snapshot | None, curve: Curve, units: Units) -> Item | None:
    target = _target_speed(snapshot)
    if target.value is None:
        return None
    said = _speed(target.value, units)
    cost = _cost(curve, snapshot, target.value)
    if cost is not None:
        said += f", {consumption_text(cost, units)} {units.consumption_name}"
    return Item("T target", said)
