"""A day of laps: rounds of a closed course with several set-ups, as the frames of one log.

Like `trial_day`, whose speed-power law, sensors and sender it shares: a set-up is ridden for a
stint, out of a harbour to the course, so many rounds, and back. It has what misleads a comparison
by laps: water that moves, steadily and in gusts, power held by hand, scatter from lap to lap, a
drift, a step, a standing start, a pause between laps.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from tests.craft.chance import Array, gauss_markov, generator
from tests.craft.mavlink_stream import Frame
from tests.craft.trial_day import FREE_S, STEP_S, Day, Setup, frames_of, motor_at, speed_at

SPACING_M, ROUNDED_M = 0.5, 8.0
RAMP_S, LAG_S = 2.0, 3.0
AT_REST_W = 10.0
TURN_RADIUS_M = 8.0
"""Radius at which a turn costs the whole of `turn_loss`; wider ones cost in proportion less."""

SHAPES = ("oval", "circle", "triangle", "square", "lake")


@dataclass(frozen=True)
class LapDay:
    """Course of the day. Lengths in metres, angles clockwise from north, shares of one."""

    setups: dict[str, Setup]
    order: tuple[str, ...]
    """Set-up of each stint."""
    laps_each: int = 1
    shape: str = "oval"
    oval_ratio: float = 2.5
    """Straights of an oval over the diameter of its ends."""
    lap_m: float = 500.0
    setup_lap_m: dict[str, float] = field(default_factory=dict)
    """Length of the laps of set-ups that were taken round another course."""
    clockwise: bool = True
    backwards: frozenset[str] = frozenset()
    """Set-ups that went the other way round."""
    axis_deg: float = 35.0
    start: float = 0.1
    """Where on the course a lap starts, as a share of it; 0 is a corner, if it has any."""
    power_w: float = 400.0
    setup_power_w: dict[str, float] = field(default_factory=dict)
    set_deg: float = 70.0
    drift_mps: float = 0.15
    drift_change_mps: float = 0.0
    """Change of the drift by the end of the day."""
    gust_sd_mps: float = 0.0
    """Deviation of the water's velocity from lap to lap, on each axis."""
    lap_sd: float = 0.015
    power_sd: float = 0.01
    """Relative deviation of power from lap to lap, as it is set by hand."""
    hold_sd: float = 0.02
    """Relative deviation of power within a lap, as it is held by hand."""
    turn_loss: float = 0.04
    """Speed lost in a tight turn."""
    trend: float = 0.0
    """Fraction by which everything is slower by the end of the day."""
    step: tuple[int, float] | None = None
    """Stint from which on everything is slower, and by which fraction."""
    way_m: float = 150.0
    """From harbour to course; 0 if set-ups are swapped on the course."""
    way_deg: float = 100.0
    way_power: float = 0.5
    """Power on the way, as a share of the day's."""
    stop_s: float = 0.0
    """Pause between laps."""
    swap_s: float = 60.0
    cut_short: dict[int, float] = field(default_factory=dict)
    """Share of the last lap at which the rider turned home, by stint."""
    dip: dict[int, tuple[float, float]] = field(default_factory=dict)
    """For the first lap of a stint: for so many seconds, power was the second, as a share."""
    start_cell_v: float = 3.95
    drive_telemetry: str = "none"
    current_scale: float = 1.01
    voltage_scale: float = 0.998


@dataclass(frozen=True)
class LapsRidden:
    """A day's samples and its truth."""

    columns: Array
    """Time [s of the day], power, velocity east and north, volts, pack temperature, rpm and motor
    current of each sample."""
    laps: list[tuple[str, float, float]]
    """Set-up, start and end [s of the log] of each lap, from the start line to it again."""
    stints: list[tuple[str, float, float]]
    """The same of all that was ridden with a set-up: ways and pauses included."""
    speed_mps: dict[str, float]
    """True speed of each set-up round the course in still water, at the day's power."""

    def wh_per_km(self, name: str, power_w: float) -> float:
        """Return a set-up's true consumption at the power of comparison (near the day's power)."""
        return power_w / 3.6 / self.speed_mps[name]


@dataclass(frozen=True)
class MadeLaps(LapsRidden):
    """A day's frames and its truth."""

    frames: list[Frame]


def make(day: LapDay, seed: int) -> MadeLaps:
    """Return the frames and truth of a day."""
    ridden = ride(day, seed)
    sensors = Day(
        day.setups,
        day.order,
        drive_telemetry=day.drive_telemetry,
        current_scale=day.current_scale,
        voltage_scale=day.voltage_scale,
    )
    return MadeLaps(**vars(ridden), frames=frames_of(sensors, ridden.columns))


def ride(day: LapDay, seed: int) -> LapsRidden:
    """Return the samples and truth of a day."""
    return _Rider(day, seed).ride()


def course(day: LapDay, name: str) -> Array:
    """Return the closed course of a set-up, from its start; shape (n, 2), east and north [m]."""
    length_m = day.setup_lap_m.get(name, day.lap_m)
    corners = _outline(day)
    corners = corners if day.clockwise != (name in day.backwards) else corners[::-1]
    closed = np.vstack([corners, corners[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = round(length_m / SPACING_M)
    places = (day.start + np.arange(count) / count) % 1.0 * along[-1]
    points = np.column_stack([np.interp(places, along, axis) for axis in closed.T])
    axis = math.radians(day.axis_deg)
    turned = points @ np.array(
        [[math.sin(axis), math.cos(axis)], [math.cos(axis), -math.sin(axis)]]
    )
    return np.asarray((turned - turned[0]) * length_m / along[-1])


def _outline(day: LapDay) -> Array:
    """Return the corners of the course in any size, clockwise once its axis points north."""
    angle = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    if day.shape == "circle":
        return np.column_stack([np.cos(angle), np.sin(angle)])
    if day.shape == "lake":
        radius = 1.0 + 0.25 * np.cos(2.0 * angle + 0.7) + 0.15 * np.cos(3.0 * angle + 1.1)
        radius += 0.05 * np.cos(5.0 * angle)
        return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    if day.shape == "triangle":
        return np.array([[0.0, 0.0], [1.0, 0.0], [0.5, math.sqrt(0.75)]])
    if day.shape == "square":
        return np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    assert day.shape == "oval"
    half = np.linspace(-np.pi / 2.0, np.pi / 2.0, 90)
    end = np.column_stack([day.oval_ratio / 2.0 + 0.5 * np.cos(half), 0.5 * np.sin(half)])
    return np.vstack([end, -end])


@dataclass
class _Plan:
    """The path of a stint and what is held on it; arrays of a value for each point of the path."""

    path: Array
    kind: Array
    """Number of the lap, -1 on the way."""


class _Rider:
    """Rides a day, sample by sample."""

    def __init__(self, day: LapDay, seed: int) -> None:
        self.day, self.rng = day, generator(seed, "lap day")
        self.rows: list[tuple[float, float, float, float, str]] = []
        self.t_s, self.through_mps, self.power_w = FREE_S, 0.0, AT_REST_W
        self.laps: list[tuple[str, float, float]] = []
        self.stints: list[tuple[str, float, float]] = []

    def ride(self) -> LapsRidden:
        """Ride all stints."""
        day = self.day
        self._rest(20.0, day.order[0])
        for number, name in enumerate(day.order):
            begin_s = self.t_s
            self._stint(number, name)
            self._rest(day.swap_s, name)
            self.stints.append((name, begin_s - FREE_S, self.t_s - FREE_S))
        speeds = {
            name: speed_at(day.power_w, one.cost) * self._course_factor(name)
            for name, one in day.setups.items()
        }
        laps = [(name, begin_s - FREE_S, end_s - FREE_S) for name, begin_s, end_s in self.laps]
        return LapsRidden(self._columns(), laps, self.stints, speeds)

    def _stint(self, number: int, name: str) -> None:
        day, plan = self.day, self._plan(number, name)
        cost = day.trend * number / len(day.order)
        if day.step is not None and number >= day.step[0]:
            cost += day.step[1]
        now, passed_m = -2, 0.0
        steps_m, headings, losses = _path_facts(plan.path, day.turn_loss)
        along = np.concatenate([[0.0], np.cumsum(steps_m)])
        kinds = plan.kind.tolist()
        water, begin_s, hold, n = self._water(), self.t_s, iter(()), 0
        target_w = target_mps = 0.0
        while n < len(steps_m):
            if kinds[n] != now:
                if now >= 0:
                    self.laps.append((name, begin_s, self.t_s))
                    if kinds[n] >= 0 and day.stop_s > 0:
                        self._rest(day.stop_s, name)
                now, begin_s = kinds[n], self.t_s
                water, hold = self._water(), self._hold()
                share = 1.0 if now >= 0 else day.way_power
                target_w = share * day.setup_power_w.get(name, day.power_w)
                target_w *= math.exp(day.power_sd * self.rng.standard_normal())
                noise = day.lap_sd * self.rng.standard_normal() if now >= 0 else 0.0
                target_mps = speed_at(target_w, day.setups[name].cost) * math.exp(noise - cost)
            wander = next(hold) if now >= 0 else 0.0
            if (
                now == 0
                and number in day.dip
                and 0.0 <= self.t_s - begin_s - 40.0 < (day.dip[number][0])
            ):
                wander = day.dip[number][1] - 1.0
            slower = max(1.0 + wander, 0.02) ** 0.28 * (1.0 - losses[n])
            wanted_w = target_w * (1.0 + wander)
            self.power_w += (wanted_w - self.power_w) * min(STEP_S / RAMP_S * 2.0, 1.0)
            self.through_mps += (target_mps * slower - self.through_mps) * STEP_S / LAG_S
            passed_m += self._step(headings[n], water, name) * STEP_S
            n = int(np.searchsorted(along, passed_m, side="right")) - 1
        if now >= 0:
            self.laps.append((name, begin_s, self.t_s))

    def _step(self, heading: float, water: tuple[float, float], name: str) -> float:
        """Move along a course for one sample; return the speed over ground."""
        east, north = math.sin(heading), math.cos(heading)
        along, across = water[0] * east + water[1] * north, water[0] * north - water[1] * east
        ground = along + math.sqrt(max(self.through_mps**2 - across**2, 0.0))
        self.rows.append((self.t_s, self.power_w, ground * east, ground * north, name))
        self.t_s += STEP_S
        return max(ground, 0.02)

    def _rest(self, for_s: float, name: str) -> None:
        """Lie still, held by hand or a buoy."""
        last = self.rows[-1] if self.rows else (0.0, 0.0, 0.0, 0.0, name)
        for n in range(round(for_s / STEP_S)):
            self.power_w += (AT_REST_W - self.power_w) * min(STEP_S / RAMP_S * 2.0, 1.0)
            fading = math.exp(-n * STEP_S / LAG_S)
            row = (self.t_s, self.power_w, last[2] * fading, last[3] * fading, name)
            self.rows.append(row)
            self.t_s += STEP_S
        self.through_mps = 0.0

    def _plan(self, number: int, name: str) -> _Plan:
        day = self.day
        round_ = course(day, name)
        parts, kinds = [], []
        bearing = math.radians(day.way_deg)
        count = round(day.way_m / SPACING_M)
        out = np.outer(np.arange(count, 0, -1) * SPACING_M, [math.sin(bearing), math.cos(bearing)])
        parts.append(out)
        kinds.append(np.full(count, -1))
        for lap in range(day.laps_each):
            points = round_
            if lap == day.laps_each - 1 and number in day.cut_short:
                points = round_[: round(day.cut_short[number] * len(round_))]
            parts.append(points)
            kinds.append(np.full(len(points), lap))
        # A little over the line before the rider turns home.
        if number not in day.cut_short:
            parts.append(round_[: round(15.0 / SPACING_M)])
            kinds.append(np.full(len(parts[-1]), -1 if count else day.laps_each - 1))
        if count:
            home, last = out[0], parts[-1][-1]
            steps = max(round(float(np.hypot(*(home - last))) / SPACING_M), 2)
            parts.append(last + np.outer(np.arange(1, steps) / steps, home - last))
            kinds.append(np.full(steps - 1, -1))
        return _Plan(_rounded(np.vstack(parts)), np.concatenate(kinds))

    def _water(self) -> tuple[float, float]:
        day, bearing = self.day, math.radians(self.day.set_deg)
        guess_s = len(day.order) * (day.laps_each * day.lap_m / 2.0 + day.swap_s + day.way_m)
        drift = day.drift_mps + day.drift_change_mps * self.t_s / guess_s
        gust = day.gust_sd_mps * self.rng.standard_normal(2)
        return drift * math.sin(bearing) + gust[0], drift * math.cos(bearing) + gust[1]

    def _hold(self) -> Iterator[float]:
        while True:
            yield from gauss_markov(2000, STEP_S, self.day.hold_sd, 12.0, self.rng).tolist()

    def _course_factor(self, name: str) -> float:
        """Return the mean speed round the course over that on a straight, in still water."""
        round_ = course(self.day, name)
        steps_m, _, losses = _path_facts(
            _rounded(np.vstack([round_, round_, round_])), self.day.turn_loss
        )
        middle = slice(len(round_), 2 * len(round_))
        return float(steps_m[middle].sum() / (steps_m[middle] / (1.0 - losses[middle])).sum())

    def _columns(self) -> Array:
        when, power, east, north = np.array([row[:4] for row in self.rows]).T
        count, day = len(when), self.day
        ripple = 0.03 * np.sin(2.0 * np.pi * when / 2.7)
        volts = 7.0 * (day.start_cell_v - 0.12 * when / when[-1]) - 0.06 * power / 25.0
        known = {}
        motor = np.empty((count, 2))
        for n, row in enumerate(self.rows):
            key = (row[4], round(row[1]))
            if key not in known:
                known[key] = motor_at(max(row[1], 1.0), day.setups[row[4]].torque_nm)
            motor[n] = known[key]
        noise = [gauss_markov(count, STEP_S, 0.03, 2.0, self.rng) for _ in range(2)]
        return np.column_stack(
            [
                when, power * (1.0 + ripple), east + noise[0], north + noise[1], volts,
                np.full(count, 24.0) + when / when[-1], motor,
            ]
        )  # fmt: skip


def _rounded(points: Array) -> Array:
    """Return a path with its corners rounded."""
    width = round(ROUNDED_M / SPACING_M) | 1
    for _ in range(2):
        padded = np.pad(points, ((width // 2, width // 2), (0, 0)), mode="edge")
        sums = np.vstack([np.zeros((1, 2)), np.cumsum(padded, axis=0)])
        points = (sums[width:] - sums[:-width]) / width
    return points


def _path_facts(path: Array, turn_loss: float) -> tuple[Array, Array, Array]:
    """Return length, course [rad] and share of speed lost of each step of a path."""
    step = np.diff(path, axis=0)
    length_m = np.maximum(np.hypot(*step.T), 1e-6)
    heading = np.unwrap(np.arctan2(step[:, 0], step[:, 1]))
    bend = np.abs(np.gradient(heading)) / length_m
    return length_m, heading, turn_loss * np.minimum(bend * TURN_RADIUS_M, 1.0)
