"""An afternoon with propellers: what is true of it, run by run, and the legs that it leaves.

Nothing here is of the engine but the form of a leg, and nothing of the simulated craft. Speeds
follow from battery power by a law that is drawn for each hull and set-up; water, hands, scatter,
and what goes wrong are drawn for each day. The next set-up is chosen from outside, run by run, as
it is by one who looks at the figures in between.
"""

import math
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.signal import lfilter

from onboard.efficiency.trial.leg import Leg
from tests.craft.chance import Array

TIDE_S, GUST_STEP_S, DAY_S = 12.42 * 3600.0, 5.0, 10.0 * 3600.0
TAIL_FREEDOM = 4.0
LAP_POINTS, LEG_POINTS = 36, 6
TURN_S, SWAP_S, BREAK_S, NIGHT_S = (20.0, 40.0), (60.0, 300.0), 1500.0, 4.0 * 3600.0


@dataclass(frozen=True)
class Hull:
    """A hull: battery power at a speed is `hotel_w` + friction v^2.8 + waves v^`steepness`.

    Parameters
    ----------
    hotel_w
        Power of all but the motor.
    power_w, speed_mps
        A point of its curve, with the first of the day's set-ups if that costs nothing more.
    wave_share
        Share of waves in the propulsive power there.
    steepness
        Exponent of the waves' power.
    """

    hotel_w: float
    power_w: float
    speed_mps: float
    wave_share: float
    steepness: float

    def propulsive_w(self, speed_mps: Array) -> Array:
        """Return power without the hotel's, with a set-up that costs nothing more."""
        ratio = np.asarray(speed_mps) / self.speed_mps
        shape = (1.0 - self.wave_share) * ratio**2.8 + self.wave_share * ratio**self.steepness
        return np.asarray((self.power_w - self.hotel_w) * shape)


class Setup:
    """A set-up on a hull.

    Parameters
    ----------
    hull
        The hull.
    cost
        Extra Wh/km at the hull's power, as a fraction.
    tilt
        Exponent of speed by which its propulsive power departs from the hull's.
    """

    def __init__(self, hull: Hull, cost: float, tilt: float = 0.0) -> None:
        self._speeds = np.linspace(0.4, 1.6, 241) * hull.speed_mps
        at_mps = hull.speed_mps / (1.0 + cost)
        worse = (hull.power_w - hull.hotel_w) / float(hull.propulsive_w(np.array(at_mps)))
        tilted = (self._speeds / at_mps) ** tilt
        self._powers = hull.hotel_w + worse * tilted * hull.propulsive_w(self._speeds)

    def speed_mps(self, power_w: float) -> float:
        """Return the speed through calm water at a battery power."""
        return float(np.interp(power_w, self._powers, self._speeds))

    def slope(self, power_w: float) -> float:
        """Return d ln speed / d ln power at a battery power."""
        return math.log(self.speed_mps(1.05 * power_w) / self.speed_mps(power_w / 1.05)) / (
            2.0 * math.log(1.05)
        )


@dataclass(frozen=True)
class Sea:
    """The water's velocity: steady, a tide, and gusts. Angles clockwise from north."""

    drift_mps: float = 0.0
    set_deg: float = 0.0
    tide_mps: float = 0.0
    tide_deg: float = 0.0
    tide_phase_rad: float = 0.0
    gust_mps: float = 0.0
    """Standard deviation of each component of the gusts' push."""
    gust_memory_s: float = 60.0


@dataclass(frozen=True)
class Afternoon:
    """What is drawn before the first run. Shares of one; times in seconds of the day."""

    hull: Hull
    costs: dict[str, float]
    """Extra Wh/km of each set-up at the hull's power."""
    laps: bool = False
    sd: float = 0.012
    """Standard deviation of a double run or lap, in ln speed."""
    leg_share: float = 0.5
    """Share of its variance that comes from each leg by itself."""
    heavy: bool = False
    """Whether that scatter has a heavy tail: Student's t with four degrees of freedom."""
    sea: Sea = Sea()
    holds_track: bool = True
    """Whether the rider crabs along a line; else he keeps a heading, and is set off it."""
    course_deg: float = 30.0
    bend_deg: float = 0.0
    """By how much the way back is not the reciprocal of the way out."""
    steer_deg: float = 2.0
    """Standard deviation of a leg's course."""
    leg_s: float = 90.0
    lap_m: float = 400.0
    lap_aspect: float = 2.0
    """Length over width of the course of a lap."""
    turn_loss: float = 0.05
    """Speed lost by the turns of a lap, alike for all."""
    power_off: float = 0.0
    power_sd: float = 0.01
    power_drift_sd: float = 0.01
    """Power: common deviation from the target; from run to run; from start to end of a run."""
    setup_off: dict[str, float] = field(default_factory=dict)
    tilts: dict[str, float] = field(default_factory=dict)
    gain: float = 1.0
    """What the sensors say of power over what is true."""
    volts: dict[str, float] = field(default_factory=dict)
    """Voltage of the pack of a set-up."""
    step: float = 0.0
    step_at_s: float = math.inf
    """A step of the craft's speed, with the first swap after a time."""
    step_is_outing: bool = False
    """Whether there were hours between, so that all runs after the step are another outing."""
    drift: float = 0.0
    """Loss of speed in three hours."""
    drift_shape: float = 1.0
    """Exponent of its growth with time."""
    outlier_run: int = -1
    outlier: float = 0.9
    """A leg or lap that went wrong, and its speed over what it should have been."""


@dataclass(frozen=True)
class Run:
    """One leg or lap as it was ridden."""

    setup: str
    outing: int
    start_s: float
    power_w: float
    power_drift: float
    """Relative change of power from start to end."""
    through_mps: float
    seconds_s: float = 0.0
    course_deg: float = 0.0
    ground_mps: tuple[float, float] = (0.0, 0.0)
    """Mean velocity over ground, east and north; of a lap, its speed and 0."""
    lap_m: float = 0.0


class Day:
    """An afternoon as it is ridden, run by run.

    Parameters
    ----------
    drawn
        What was drawn before the first run.
    rng
        For all that happens from run to run.
    """

    def __init__(self, drawn: Afternoon, rng: np.random.Generator) -> None:
        self.drawn, self._rng = drawn, rng
        self.setups = {
            name: Setup(drawn.hull, cost, drawn.tilts.get(name, 0.0))
            for name, cost in drawn.costs.items()
        }
        self.runs: list[Run] = []
        self._t_s, self._outing, self._stepped = 0.0, 0, False
        self._gusts = self._gust_series()

    def true_fraction(self, a: str, b: str, power_w: float) -> float:
        """Return the true difference in Wh/km of a from b, at a power as the sensors say it."""
        true_w = power_w / self.drawn.gain
        return self.setups[b].speed_mps(true_w) / self.setups[a].speed_mps(true_w) - 1.0

    def ride(self, name: str) -> None:
        """Ride a double run or a lap with a set-up."""
        drawn, last = self.drawn, self.runs[-1].setup if self.runs else name
        if name != last:
            self._t_s += float(self._rng.uniform(*SWAP_S))
            if self._t_s > drawn.step_at_s and not self._stepped:
                self._stepped = True
                self._outing += drawn.step_is_outing
                self._t_s += NIGHT_S if drawn.step_is_outing else BREAK_S
        if drawn.laps:
            self._ride_lap(name, drawn.sd * self._scatter())
            return
        common = drawn.sd * math.sqrt(1.0 - drawn.leg_share) * self._scatter()
        own = drawn.sd * math.sqrt(2.0 * drawn.leg_share)
        for back in (0.0, 180.0 + drawn.bend_deg):
            self._ride_leg(name, common + own * self._scatter(), drawn.course_deg + back)

    def water_mps(self, t_s: Array) -> Array:
        """Return the water's velocity at some times of the day, shape (n, 2), east and north."""
        sea = self.drawn.sea
        tide = sea.tide_mps * np.sin(2.0 * np.pi * t_s / TIDE_S + sea.tide_phase_rad)
        place = np.clip((t_s / GUST_STEP_S).astype(int), 0, len(self._gusts) - 1)
        flow = sea.drift_mps * direction(sea.set_deg) + tide[:, None] * direction(sea.tide_deg)
        return np.asarray(flow + self._gusts[place])

    def _ride_leg(self, name: str, noise: float, course_deg: float) -> None:
        drawn, rng = self.drawn, self._rng
        self._t_s += float(rng.uniform(*TURN_S))
        course_deg += drawn.steer_deg * float(rng.standard_normal())
        run = replace(
            self._held(name, noise),
            seconds_s=drawn.leg_s * float(rng.uniform(0.9, 1.1)),
            course_deg=course_deg,
        )
        parts_s = (np.arange(LEG_POINTS) + 0.5) / LEG_POINTS * run.seconds_s
        water, ahead = self.water_mps(self._t_s + parts_s), direction(course_deg)
        if drawn.holds_track:
            ground = ground_mps(run.through_mps, water, ahead[None, :])
            velocity = float(ground.mean()) * ahead
        else:
            velocity = run.through_mps * ahead + water.mean(axis=0)
        east, north = velocity.tolist()
        self._add(replace(run, ground_mps=(east, north)))

    def _ride_lap(self, name: str, noise: float) -> None:
        drawn = self.drawn
        self._t_s += float(self._rng.uniform(0.0, 20.0))
        run = self._held(name, noise)
        through = run.through_mps * (1.0 - drawn.turn_loss)
        steps = lap_steps(drawn)
        parts_s = (np.arange(LAP_POINTS) + 0.5) / LAP_POINTS * drawn.lap_m / through
        length = np.hypot(*steps.T)
        ground = ground_mps(through, self.water_mps(self._t_s + parts_s), steps / length[:, None])
        seconds_s = float((length / ground).sum())
        self._add(
            replace(
                run,
                seconds_s=seconds_s,
                through_mps=through,
                ground_mps=(drawn.lap_m / seconds_s, 0.0),
                lap_m=drawn.lap_m,
            )
        )

    def _held(self, name: str, noise: float) -> Run:
        """Return the next run with its power and its speed through the water, and no more.

        The run of number `outlier_run` goes wrong.
        """
        drawn, rng = self.drawn, self._rng
        off = drawn.power_off + drawn.setup_off.get(name, 0.0)
        off += drawn.power_sd * float(rng.standard_normal())
        power_w = drawn.hull.power_w * math.exp(off)
        noise -= drawn.drift * (self._t_s / 10_800.0) ** drawn.drift_shape
        noise -= drawn.step if self._stepped else 0.0
        noise += math.log(drawn.outlier) if len(self.runs) == drawn.outlier_run else 0.0
        drift = drawn.power_drift_sd * float(rng.standard_normal())
        through = self.setups[name].speed_mps(power_w) * math.exp(noise)
        return Run(name, self._outing, self._t_s, power_w, drift, through)

    def _add(self, run: Run) -> None:
        self.runs.append(run)
        self._t_s += run.seconds_s

    def _scatter(self) -> float:
        """Return a draw of unit variance."""
        if self.drawn.heavy:
            wide = math.sqrt((TAIL_FREEDOM - 2.0) / TAIL_FREEDOM)
            return wide * float(self._rng.standard_t(TAIL_FREEDOM))
        return float(self._rng.standard_normal())

    def _gust_series(self) -> Array:
        """Return the gusts' push every few seconds, a first-order Gauss-Markov series."""
        sea = self.drawn.sea
        if not sea.gust_mps:
            return np.zeros((1, 2))
        keep = math.exp(-GUST_STEP_S / sea.gust_memory_s)
        kicks = self._rng.standard_normal((round(DAY_S / GUST_STEP_S), 2))
        kicks[1:] *= math.sqrt(1.0 - keep**2)
        return np.asarray(sea.gust_mps * lfilter([1.0], [1.0, -keep], kicks, axis=0))


def direction(course_deg: float) -> Array:
    """Return the unit vector of a course, east and north."""
    return np.array([math.sin(math.radians(course_deg)), math.cos(math.radians(course_deg))])


def ground_mps(through_mps: float, water: Array, ahead: Array) -> Array:
    """Return the speed over ground along a track that the craft crabs along, shape (n,)."""
    along = (water * ahead).sum(axis=1)
    across = np.hypot(*(water - along[:, None] * ahead).T)
    return np.asarray(along + np.sqrt(np.maximum(through_mps**2 - across**2, 0.01)))


def lap_steps(drawn: Afternoon) -> Array:
    """Return the steps once round a course of a lap, an ellipse, shape (n, 2), east and north."""
    angle = np.linspace(0.0, 2.0 * np.pi, LAP_POINTS + 1)
    corners = np.column_stack([drawn.lap_aspect * np.sin(angle), np.cos(angle)])
    steps = np.diff(corners, axis=0)
    turn = np.column_stack([direction(drawn.course_deg), direction(drawn.course_deg + 90.0)]).T
    return np.asarray(steps @ turn * drawn.lap_m / np.hypot(*steps.T).sum())


def legs_of(day: Day) -> list[Leg]:
    """Return the day's runs as legs, with what the sensors say of power and speed."""
    drawn, sea = day.drawn, day.drawn.sea
    found = []
    for run in day.runs:
        east, north = run.ground_mps
        # Velocities correlated over a few seconds, and the gusts of the run itself.
        noise_mps = math.hypot(
            0.03 * math.sqrt(6.0 / run.seconds_s),
            sea.gust_mps * math.sqrt(2.0 * sea.gust_memory_s / (run.seconds_s + sea.gust_memory_s)),
        )
        said_w = run.power_w * drawn.gain
        volts_v = drawn.volts.get(run.setup, 25.0) - 0.4 * run.start_s / DAY_S
        found.append(
            Leg(
                setup=run.setup,
                outing=run.outing,
                start_s=run.start_s,
                seconds_s=run.seconds_s,
                power_w=said_w,
                power_sd_w=0.002 * said_w,
                speed_mps=math.hypot(east, north),
                speed_sd_mps=noise_mps,
                east_mps=0.0 if run.lap_m else east,
                north_mps=0.0 if run.lap_m else north,
                power_drift_fraction=run.power_drift,
                power_swing_fraction=0.01,
                amps_a=said_w / volts_v,
                volts_v=volts_v,
                lap_m=run.lap_m,
            )
        )
    return found
