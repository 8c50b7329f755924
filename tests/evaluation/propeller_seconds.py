"""An afternoon with propellers, second by second: turns, swaps and standing starts as well."""

import math
from dataclasses import dataclass, field

import numpy as np

from onboard.efficiency.trial.runs import RunSpan
from onboard.efficiency.trial.seconds import Seconds
from onboard.efficiency.trial.trial import TrialRide
from tests.craft.chance import Array, gauss_markov
from tests.evaluation.propeller_days import Afternoon, Day, Run, direction, ground_mps, lap_steps

LAG_S, IDLE_W = 4.0, 8.0
"""Time in which a craft takes its speed, and power at rest."""

TURN_DEG_PER_S, RUN_UP_S, OVER_S = 9.0, 14, 6
HOLD_SD, HOLD_MEMORY_S = 0.015, 10.0
RECEIVER_MPS, RECEIVER_MEMORY_S = 0.03, 3.0


@dataclass
class _Samples:
    """What there is of a day so far, a value a second."""

    power_w: list[float] = field(default_factory=list)
    velocity_mps: list[Array] = field(default_factory=list)
    outing: list[int] = field(default_factory=list)
    runs: list[tuple[str, int, float, float]] = field(default_factory=list)
    """Set-up, outing, start and end of each run."""
    stints: list[tuple[str, int, float, float]] = field(default_factory=list)
    """The same of all that was ridden between two swaps."""


def rides_of(day: Day, rng: np.random.Generator, *, marked: bool) -> list[TrialRide]:
    """Return a day's outings with the spans that its rider marked, or all between two swaps.

    Parameters
    ----------
    day
        As it was ridden: power and speed through the water of each run are taken from it.
    rng
        For the noise of seconds, and the hands on the marks.
    marked
        Whether each run was marked.
    """
    samples = _Rider(day, rng).ride()
    seconds = _seconds(day.drawn, samples, rng)
    found = []
    for outing in dict.fromkeys(samples.outing):
        spans = [
            RunSpan(name, start_s, end_s, marked)
            for name, number, start_s, end_s in (samples.runs if marked else samples.stints)
            if number == outing
        ]
        here = np.array(samples.outing) == outing
        found.append(TrialRide(seconds.where(here), [], spans, outing))
    return found


class _Rider:
    """Rides the runs of a day once more, on a clock of its own."""

    def __init__(self, day: Day, rng: np.random.Generator) -> None:
        self._day, self._rng, self._out = day, rng, _Samples()
        self._t_s, self._through_mps, self._course_deg = 0.0, 0.0, day.drawn.course_deg

    def ride(self) -> _Samples:
        """Ride all runs."""
        runs, begin_s = self._day.runs, 0.0
        for number, run in enumerate(runs):
            before = runs[number - 1] if number else None
            if before is None:
                self._rest(run, 40)
            elif before.setup != run.setup:
                self._out.stints.append((before.setup, before.outing, begin_s, self._t_s))
                self._rest(run, self._pause_s(before, run))
                begin_s = self._t_s
            self._lap(run) if run.lap_m else self._leg(run)
        self._out.stints.append((runs[-1].setup, runs[-1].outing, begin_s, self._t_s))
        return self._out

    @staticmethod
    def _pause_s(before: Run, run: Run) -> int:
        return max(round(run.start_s - before.start_s - before.seconds_s), 20)

    def _leg(self, run: Run) -> None:
        """Turn, run up, and ride straight on."""
        turn_deg = (run.course_deg - self._course_deg + 180.0) % 360.0 - 180.0
        slow = 0.6 * run.through_mps
        for _ in range(round(abs(turn_deg) / TURN_DEG_PER_S)):
            self._course_deg += math.copysign(TURN_DEG_PER_S, turn_deg)
            self._second(run, 0.5 * run.power_w, slow, self._course_deg)
        self._course_deg = run.course_deg
        for _ in range(RUN_UP_S):
            self._second(run, run.power_w, run.through_mps, run.course_deg)
        begin_s, length = self._t_s, round(run.seconds_s)
        for n in range(length):
            self._held(run, (n + 0.5) / length - 0.5, run.course_deg)
        self._note(run, begin_s)

    def _lap(self, run: Run) -> None:
        """Take up speed towards the start line, and go round once."""
        steps = lap_steps(self._day.drawn)
        lengths = np.hypot(*steps.T)
        courses = np.degrees(np.arctan2(steps[:, 0], steps[:, 1]))
        ends = np.cumsum(lengths)
        for _ in range(RUN_UP_S):
            self._second(run, run.power_w, run.through_mps, float(courses[-1]))
        begin_s, passed_m = self._t_s, 0.0
        while passed_m < run.lap_m:
            course = float(courses[int(np.searchsorted(ends, passed_m, side="right"))])
            passed_m += self._held(run, passed_m / run.lap_m - 0.5, course)
        self._note(run, begin_s)
        for _ in range(OVER_S):
            self._second(run, run.power_w, run.through_mps, float(courses[0]))

    def _held(self, run: Run, part: float, course_deg: float) -> float:
        return self._second(
            run, run.power_w * (1.0 + run.power_drift * part), run.through_mps, course_deg
        )

    def _rest(self, run: Run, for_s: int) -> None:
        self._through_mps = 0.0
        for _ in range(for_s):
            self._add(run, IDLE_W, np.zeros(2))

    def _second(self, run: Run, power_w: float, target_mps: float, course_deg: float) -> float:
        """Ride a second; return the way made good along the course."""
        self._through_mps += (target_mps - self._through_mps) / LAG_S
        water = self._day.water_mps(np.array([self._t_s]))
        ahead = direction(course_deg)
        if self._day.drawn.holds_track or run.lap_m:
            velocity = float(ground_mps(self._through_mps, water, ahead[None, :])[0]) * ahead
        else:
            velocity = self._through_mps * ahead + water[0]
        self._add(run, power_w, velocity)
        return float(velocity @ ahead)

    def _add(self, run: Run, power_w: float, velocity: Array) -> None:
        self._out.power_w.append(power_w)
        self._out.velocity_mps.append(velocity)
        self._out.outing.append(run.outing)
        self._t_s += 1.0

    def _note(self, run: Run, begin_s: float) -> None:
        """Note a run as a rider marks it: some seconds early or late."""
        early, late = self._rng.uniform(-3.0, 3.0, 2).tolist() if not run.lap_m else (0.0, 0.0)
        self._out.runs.append((run.setup, run.outing, begin_s + early, self._t_s + late))


def _seconds(drawn: Afternoon, samples: _Samples, rng: np.random.Generator) -> Seconds:
    count = len(samples.power_w)
    hold = gauss_markov(count, 1.0, HOLD_SD, HOLD_MEMORY_S, rng)
    noise = [gauss_markov(count, 1.0, RECEIVER_MPS, RECEIVER_MEMORY_S, rng) for _ in range(2)]
    power_w = np.array(samples.power_w) * (1.0 + hold) * drawn.gain
    east, north = np.array(samples.velocity_mps).T + np.array(noise)
    volts_v = np.full(count, 25.0)
    unknown = np.full(count, np.nan)
    return Seconds(
        np.arange(1.0, count + 1.0), power_w, power_w / volts_v, volts_v, east, north,
        unknown, unknown, unknown, unknown, unknown,
    )  # fmt: skip
