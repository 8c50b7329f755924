"""Content of the curve view: the craft's power against its speed, and the rider's place on it."""

import itertools
import math
from bisect import bisect_right
from collections.abc import Mapping

from groundside.dashboard.content.items import Block, Item
from groundside.dashboard.content.setups import setup_in_force
from groundside.dashboard.drawing.plot_content import (
    NOW,
    Axis,
    AxisMark,
    PlotBand,
    PlotContent,
    Point,
    Trace,
)
from groundside.dashboard.drawing.ticks import round_top, tick_step
from groundside.dashboard.view_state import ViewState
from groundside.words.figures import (
    Reading,
    cost_text,
    distance_text,
    in_brackets,
    one_decimal,
    percent,
    speed_text,
    whole,
)
from groundside.words.readings import reading
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.figure import Number, Unknown, within
from onboard.contract.snapshot import Curve, Snapshot, SpeedKind
from onboard.dataclass import dataclass

KINDS: Mapping[SpeedKind, str] = {"through_water": "through water", "over_ground": "over ground"}
LEARN = "Ride half a minute steadily at each of a few speeds: the curve is learned from that."
BAND_MOST = 1.5
"""The y axis ends at this multiple of the curve's highest point, even if the band goes beyond."""
STEEPEST = 3.0
"""A consumption plot ends at this multiple of its lowest: slow speeds would flatten the rest."""
SLOWEST_MPS = 0.3
"""Speed below which a consumption is meaningless [m/s]."""
CHEAPEST_WITHIN = 0.015
"""Consumptions within this share of the lowest count as equal. Common practice, no source."""
WH_PER_KM = 1.0 / 3.6
"""Conversion factor from J/m to Wh/km."""


@dataclass(frozen=True)
class CurveContent:
    """The content of the curve view at one moment.

    Parameters
    ----------
    plot
        The plot.
    blocks
        The same in words.
    notes
        What its letters mean, in brief, where there is no room for the words.
    """

    plot: PlotContent
    blocks: tuple[Block, ...]
    notes: tuple[str, ...] = ()


def power_at(curve: Curve, speed_mps: float) -> float | None:
    """Return the power at a speed [W], None outside the curve."""
    speeds = curve.speed_mps
    place = bisect_right(speeds, speed_mps)
    if place == len(speeds) and speed_mps == speeds[-1]:
        return curve.power_w[-1]
    if not 0 < place < len(speeds):
        return None
    (x0, x1), (y0, y1) = (v[place - 1 : place + 1] for v in (speeds, curve.power_w))
    return y0 + (y1 - y0) * (speed_mps - x0) / (x1 - x0)


@dataclass(frozen=True)
class GroundToCurve:
    """Converts speeds over ground on the present course to speeds on the curve.

    Parameters
    ----------
    east, north
        The course, as a unit vector.
    water_east_mps, water_north_mps
        Set and drift; zero where the curve itself is over ground.
    """

    east: float = 0.0
    north: float = 1.0
    water_east_mps: float = 0.0
    water_north_mps: float = 0.0

    def speed(self, over_ground_mps: float) -> float:
        """Return the speed on the curve [m/s]."""
        return math.hypot(
            over_ground_mps * self.east - self.water_east_mps,
            over_ground_mps * self.north - self.water_north_mps,
        )


def ground_to_curve(snapshot: Snapshot, curve: Curve) -> GroundToCurve | None:
    """Return the conversion for the present course, None if water or course is unknown."""
    if curve.speed_kind == "over_ground":
        return GroundToCurve()
    course, water = snapshot.course_deg, snapshot.set_and_drift
    if isinstance(course, Unknown) or isinstance(water, Unknown):
        return None
    east, north = water.east_mps, water.north_mps
    if isinstance(east, Unknown) or isinstance(north, Unknown):
        return None
    angle = math.radians(course)
    return GroundToCurve(math.sin(angle), math.cos(angle), east.value, north.value)


def can_be_drawn(curve: Curve) -> bool:
    """Return whether there is a line to draw: at least two points, in increasing speed."""
    speeds = curve.speed_mps
    columns = (curve.power_w, curve.low_w, curve.high_w)
    rising = all(a < b for a, b in itertools.pairwise(speeds))
    return len(speeds) >= 2 and rising and all(len(one) == len(speeds) for one in columns)


def curve_content(state: ViewState, *, of_consumption: bool) -> CurveContent:
    """Return the content of the curve view.

    Parameters
    ----------
    state
        The present state.
    of_consumption
        Whether to plot consumption instead of power.
    """
    curve = state.snapshot.curve
    if isinstance(curve, Unknown):
        return _none_yet(reason_text(curve, state.units))
    if not can_be_drawn(curve):
        return _none_yet("only one speed is known")
    draw = _Drawing(state, curve, of_consumption)
    return CurveContent(draw.plot(), (_words(state, curve),), draw.notes())


def _none_yet(why: str) -> CurveContent:
    return CurveContent(PlotContent(why=f"no curve yet: {why}. {LEARN}"), ())


class _Drawing:
    """Turns a curve into a plot in the rider's units."""

    def __init__(self, state: ViewState, curve: Curve, of_consumption: bool) -> None:
        self._state, self._units, self._curve = state, state.units, curve
        self._of_consumption = of_consumption
        self._to_curve = ground_to_curve(state.snapshot, curve)
        self._best = reading(state.snapshot.best_speed_mps, state.units)
        self._target = reading(_target_speed(state.snapshot), state.units)
        pointed = [
            self._to_curve.speed(speed)
            for figure in (self._best, self._target)
            for speed in (figure.low, figure.value, figure.high)
            if speed is not None and self._to_curve is not None
        ]
        first = self._units.speed(min([curve.speed_mps[0], *pointed]))
        last = self._units.speed(max([curve.speed_mps[-1], *pointed]))
        step = tick_step(last, 8)
        low = 0.0 if first < 0.4 * last else first // step * step
        self._x = Axis(low, round_top(last - low) + low, self._units.speed_name)

    def plot(self) -> PlotContent:
        """Return the curve with its band, points and marks."""
        curve, units = self._curve, self._units
        columns = [
            tuple(self._y(v, p) for v, p in zip(curve.speed_mps, column, strict=True))
            for column in (curve.power_w, curve.low_w, curve.high_w)
        ]
        xs = tuple(units.speed(v) for v in curve.speed_mps)
        keep = [n for n, v in enumerate(curve.speed_mps) if v >= SLOWEST_MPS]
        x = tuple(xs[n] for n in keep)
        middle, low, high = (tuple(column[n] for n in keep) for column in columns)
        # at speeds with few data the band extends far beyond everything else
        top = min(max(high, default=1.0), BAND_MOST * max(middle, default=1.0))
        if self._of_consumption:
            top = min(top, STEEPEST * min(middle, default=1.0))
        unit = units.consumption_name if self._of_consumption else "W"
        what = "consumption" if self._of_consumption else "battery power"
        setup = setup_in_force(self._state.snapshot)
        return PlotContent(
            title=(
                f" {what}, speed {KINDS[curve.speed_kind]}",
                *((f"set-up {setup}",) if setup else ()),
            ),
            x=self._x,
            y=Axis(0.0, round_top(top), unit),
            trace=Trace(x, middle),
            band=PlotBand(x, low, high),
            points=self._now(),
            marks=(*self._mark("B", self._best), *self._mark("T", self._target)),
        )

    def notes(self) -> tuple[str, ...]:
        """Return what the letters mean."""
        now = () if not self._now() else (f"{NOW} now",)
        if self._to_curve is None:
            now = (f"{NOW} now: water not known",)
        named = (("B best", self._best), ("T target", self._target))
        return (
            *now,
            *(
                f"{name} {speed_text(figure.value, self._units)}"
                for name, figure in named
                if figure.value is not None and self._to_curve is not None
            ),
        )

    def _y(self, speed_mps: float, power_w: float) -> float:
        if not self._of_consumption:
            return power_w
        return self._units.consumption(power_w / max(speed_mps, SLOWEST_MPS) * WH_PER_KM)

    def _now(self) -> tuple[Point, ...]:
        power, speed = self._state.snapshot.power_w, self._state.snapshot.speed_mps
        if isinstance(power, Unknown) or isinstance(speed, Unknown):
            return ()
        if speed < SLOWEST_MPS or self._to_curve is None:
            return ()
        speed = self._to_curve.speed(speed)
        place = self._units.speed(speed), self._y(speed, power)
        return (Point(NOW, *place, stale=self._state.stale),)

    def _mark(self, letter: str, speed: Reading) -> tuple[AxisMark, ...]:
        if speed.value is None or self._to_curve is None:
            return ()
        through = self._to_curve
        here = through.speed(speed.value)
        power = power_at(self._curve, here)
        low, high = (
            None if end is None else self._units.speed(through.speed(end))
            for end in (speed.low, speed.high)
        )
        top = None if power is None else self._y(here, power)
        return (AxisMark(letter, self._units.speed(here), low, high, top),)


def _target_speed(snapshot: Snapshot) -> Number:
    return within(snapshot.target, lambda target: target.speed_mps)


def _words(state: ViewState, curve: Curve) -> Block:
    snapshot, units = state.snapshot, state.units
    return tuple(
        item
        for item in (
            _now_words(state, curve),
            _best_words(snapshot, curve, units),
            _target_words(snapshot, curve, units),
        )
        if item is not None
    )


def _cost(curve: Curve, snapshot: Snapshot, over_ground_mps: float) -> float | None:
    """Return the consumption at a speed over ground, on the present course [Wh/km]."""
    through = ground_to_curve(snapshot, curve)
    if through is None or over_ground_mps < SLOWEST_MPS:
        return None
    power_w = power_at(curve, through.speed(over_ground_mps))
    return None if power_w is None else power_w / over_ground_mps * WH_PER_KM


def _now_words(state: ViewState, curve: Curve) -> Item:
    snapshot, units = state.snapshot, state.units
    power, speed = (reading(it, units) for it in (snapshot.power_w, snapshot.speed_mps))
    if power.value is None or speed.value is None:
        return Item(f"{NOW} now", power.why if power.value is None else speed.why)
    text = f"{speed_text(speed.value, units)}, {whole(power.value)} W"
    here = _cost(curve, snapshot, speed.value)
    best = snapshot.best_speed_mps
    least = None if isinstance(best, Unknown) else _cost(curve, snapshot, best.value)
    if state.stale:
        text += " STALE"
    elif ground_to_curve(snapshot, curve) is None:
        text += " over ground; not drawn: the water on this course is not known"
    elif here is None:
        text += ": beyond what the curve has seen" if speed.value >= SLOWEST_MPS else ""
    elif least:
        more = here / least - 1.0
        cheap = more < CHEAPEST_WITHIN
        text += ": the cheapest speed" if cheap else f": {percent(more)} over the cheapest"
    return Item(f"{NOW} now", text, strong=True)


def _best_words(snapshot: Snapshot, curve: Curve, units: Units) -> Item:
    best, reach = (reading(it, units) for it in (snapshot.best_speed_mps, snapshot.range_m.best))
    if best.value is None:
        return Item("B best", best.why)
    text = speed_text(best.value, units)
    text += in_brackets(best, lambda end: one_decimal(units.speed(end)))
    cost = _cost(curve, snapshot, best.value)
    if cost is not None:
        text += f", {cost_text(cost, units)}"
    if reach.value is not None:
        text += f", {distance_text(reach.value, units)} of range"
    return Item("B best", text)


def _target_words(snapshot: Snapshot, curve: Curve, units: Units) -> Item | None:
    target = _target_speed(snapshot)
    if isinstance(target, Unknown):
        return None
    text = speed_text(target, units)
    cost = _cost(curve, snapshot, target)
    if cost is not None:
        text += f", {cost_text(cost, units)}"
    return Item("T target", text)
