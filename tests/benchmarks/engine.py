"""The engine's meters on an hour of samples, against a plain program for the same sums.

Both accept plausible samples, leave out jumps and a gap of half a minute, and integrate energy,
charge, voltage, displacement and time under way, second by second the distance along the smoothed
track, and energy and distance of the last 20 s and 300 s.
"""

from collections import deque
from math import cos, hypot, isfinite, sin

import numpy as np

from onboard.block import COLUMNS, Block, Channel, FloatArray
from onboard.efficiency.common_practice import (
    AMPS_MOST_A,
    GAP_S,
    JUMP_ACCELERATION_MPS2,
    JUMP_MPS,
    NOISE_AT_FIRST_M2PS,
    SPEED_MOST_MPS,
    VOLTS_MOST_V,
)
from onboard.efficiency.meters.doppler_noise import SMOOTH_SHARE
from onboard.efficiency.meters.slices import slices
from onboard.efficiency.meters.steadiness import MOVING_FOR_S, MOVING_MPS
from onboard.efficiency.meters.track import REST_MPS
from onboard.efficiency.sources.power_sources import PowerSources
from onboard.efficiency.sources.speed_sources import SpeedSources
from onboard.profile import Sensors
from tests.benchmarks.rows import Row, given

SAMPLES = 36_000

EXCESS_M2PS2 = SMOOTH_SHARE * NOISE_AT_FIRST_M2PS / 10.0
"""Excess of the squared speed by noise [m2/s2], which the engine has to learn."""

WINDOWS_S = (20.0, 300.0)
Sums = list[float]


def samples() -> FloatArray:
    """Return time, volts, amps, speed, course of an hour at 10 Hz, noisy, with a gap, (n, 5)."""
    rng = np.random.default_rng(2)
    t_s = np.arange(SAMPLES) / 10.0
    t_s[SAMPLES // 2 :] += 30.0
    volts, amps = rng.normal(26.0, 0.05, SAMPLES), rng.normal(15.0, 2.0, SAMPLES)
    speed = rng.normal(2.2, 0.05, SAMPLES)
    course = np.sin(t_s / 300.0) + rng.normal(0.0, 0.02, SAMPLES)
    return np.stack([t_s, volts, amps, speed, course], axis=1)


def as_block(rows: FloatArray) -> Block:
    """Return the samples as one block of the decoder."""
    power = {key: np.full(SAMPLES, np.nan) for key in COLUMNS["power"]}
    power |= {"volts_v": rows[:, 1], "amps_a": rows[:, 2]}
    gps = {key: np.full(SAMPLES, np.nan) for key in COLUMNS["gps"]}
    gps |= {"fix": np.full(SAMPLES, 3.0), "speed_mps": rows[:, 3]}
    gps |= {"course_deg": np.degrees(rows[:, 4])}
    return Block({"power": Channel(rows[:, 0], power), "gps": Channel(rows[:, 0], gps)})


def meters(block: Block) -> Sums:
    """Return the sums of the engine's meters."""
    power, speed = PowerSources(Sensors()), SpeedSources()
    for piece in slices(block):
        power.fold(piece)
        speed.fold(piece)
    side, meter = power.chosen(), speed.chosen()
    assert side is not None
    assert meter is not None
    end_s = meter.track.settled_s
    return [
        side.energy_wh - side.bridged_wh,
        *(meter.displacement.total(name) for name in ("east_m", "north_m")),
        meter.moving.moving_s,
        *(side.between(side.last_s - back, side.last_s).value for back in WINDOWS_S),
        *(meter.at_m(end_s) - meter.at_m(end_s - back) for back in WINDOWS_S),
    ]


class Plain:
    """A plain program that takes one sample after another."""

    def __init__(self) -> None:
        self.energy_wh = self.charge_ah = self.volt_hours = self.measured_s = self.squares = 0.0
        self.east_m = self.north_m = self.distance_m = self.moving_s = 0.0
        self.power: tuple[float, ...] | None = None
        self.speed: tuple[float, ...] | None = None
        self.drawn = [Rolling(back_s) for back_s in WINDOWS_S]
        self.made = [Rolling(back_s) for back_s in WINDOWS_S]
        self.second = 0
        self.since = (0.0, 0.0)
        self.seconds: deque[tuple[float, float]] = deque(maxlen=5)
        self.began_s: float | None = None

    def take_power(self, t_s: float, volts: float, amps: float) -> None:
        if not (isfinite(volts) and isfinite(amps)) or not 0 < volts < VOLTS_MOST_V:
            return
        before = self.power
        if abs(amps) >= AMPS_MOST_A or (before is not None and t_s <= before[0]):
            return
        watts = volts * amps
        if before is not None and t_s - before[0] <= GAP_S:
            hours = (t_s - before[0]) / 3600
            middle_w = (watts + before[3]) / 2
            self.energy_wh += middle_w * hours
            self.squares += middle_w * middle_w * hours
            self.charge_ah += (amps + before[2]) / 2 * hours
            self.volt_hours += (volts + before[1]) / 2 * hours
            self.measured_s += t_s - before[0]
            for window in self.drawn:
                window.add(t_s, middle_w * hours)
        self.power = t_s, volts, amps, watts

    def take_speed(self, t_s: float, east: float, north: float) -> None:
        speed = hypot(east, north)
        before = self.speed
        if not speed < SPEED_MOST_MPS or (before is not None and t_s <= before[0]):
            return
        if before is not None:
            step_s = t_s - before[0]
            apart = hypot(east - before[1], north - before[2])
            if apart > JUMP_MPS + JUMP_ACCELERATION_MPS2 * step_s:
                return
            begin = self.east_m, self.north_m
            self.east_m += (east + before[1]) / 2 * step_s
            self.north_m += (north + before[2]) / 2 * step_s
            while self.second + 1 <= t_s:
                self.end_second(begin, before[0], t_s)
        if speed <= MOVING_MPS or (before is not None and t_s - before[0] > GAP_S):
            self.end_moving()
        if speed > MOVING_MPS and self.began_s is None:
            self.began_s = t_s
        self.speed = t_s, east, north

    def end_moving(self) -> None:
        if self.began_s is not None and self.speed is not None:
            lasted_s = self.speed[0] - self.began_s
            self.moving_s += lasted_s if lasted_s >= MOVING_FOR_S else 0.0
        self.began_s = None

    def end_second(self, begin: tuple[float, float], from_s: float, to_s: float) -> None:
        """Add the distance of the second before last, counted from the one that ends now."""
        self.second += 1
        share = (self.second - from_s) / (to_s - from_s)
        east = begin[0] + share * (self.east_m - begin[0])
        north = begin[1] + share * (self.north_m - begin[1])
        self.seconds.append((east - self.since[0], north - self.since[1]))
        self.since = east, north
        if len(self.seconds) < 3:
            return
        own = self.seconds[-3]
        around = sum(one[0] for one in self.seconds), sum(one[1] for one in self.seconds)
        size = hypot(*around)
        smooth = size / len(self.seconds)
        if smooth < REST_MPS:
            return
        along = (own[0] * around[0] + own[1] * around[1]) / size - EXCESS_M2PS2 / smooth
        self.distance_m += max(along, 0.0)
        for window in self.made:
            window.add(self.second - 2.0, max(along, 0.0))


class Rolling:
    """A sum over a rolling window."""

    def __init__(self, back_s: float) -> None:
        self.back_s = back_s
        self.parts: deque[tuple[float, float]] = deque()
        self.total = 0.0

    def add(self, t_s: float, part: float) -> None:
        self.parts.append((t_s, part))
        self.total += part
        while self.parts[0][0] <= t_s - self.back_s + 1e-9:
            self.total -= self.parts.popleft()[1]


def plain(rows: list[tuple[float, ...]]) -> Sums:
    """Return the sums of the plain program."""
    sums = Plain()
    for t_s, volts, amps, speed, course in rows:
        sums.take_power(t_s, volts, amps)
        sums.take_speed(t_s, speed * sin(course), speed * cos(course))
    sums.end_moving()
    windows = [window.total for window in (*sums.drawn, *sums.made)]
    return [sums.energy_wh, sums.east_m, sums.north_m, sums.moving_s, *windows]


def rows() -> list[Row]:
    """Return the comparison, after asserting that both sums are equal."""
    made = samples()
    block, listed = as_block(made), [tuple(row) for row in made.tolist()]
    ours, theirs = meters(block), plain(listed)
    np.testing.assert_allclose(ours[:6], theirs[:6], rtol=1e-6)
    # Distances along the track differ by what the engine learned of the noise.
    np.testing.assert_allclose(ours[6:], theirs[6:], rtol=1e-3)
    name = "engine's meters, an hour at 10 Hz in one block / a plain per-sample program"
    return [Row(name, given(meters, block), given(plain, listed), 12, 20)]
