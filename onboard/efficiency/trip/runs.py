"""Runs: stretches marked by the rider to compare set-ups, their steadiness and consumption."""

import math
from collections import deque
from dataclasses import field

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Run, Steady
from onboard.dataclass import dataclass
from onboard.efficiency.meters.steadiness import (
    MOVING_MPS,
    RUN_LONG_ENOUGH_S,
    RUN_PIECE_S,
    RUN_SCATTER_FRACTION,
    RUN_SURELY_S,
)
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import Spread
from onboard.efficiency.trip.consumption import Stretch, wh_per_km
from onboard.efficiency.trip.steady_now import SteadyNow

RUNS_MOST = 8
"""Newest runs stored here; the record has all."""


@dataclass
class _RunSums:
    """One run and the sums over its settled seconds."""

    number: int
    setup: str
    start_s: float
    end_s: float = math.inf
    steady_s: float = 0.0
    long_enough: bool = False
    sums: FloatArray = field(default_factory=lambda: np.zeros(6))


class MarkedRuns:
    """The newest runs of a trip."""

    def __init__(self) -> None:
        self._runs: deque[_RunSums] = deque(maxlen=RUNS_MOST)
        self._number = 0
        self._steady = SteadyNow()

    @property
    def steady(self) -> Steady:
        """The steady stretch that lasts up to now, in a run or not."""
        return self._steady.now()

    @property
    def is_open(self) -> bool:
        """Whether a run is under way."""
        return bool(self._runs) and self._runs[-1].end_s == math.inf

    def start(self, t_s: float, setup: str) -> None:
        """Start a run at a stream time [s]; one still under way ends there."""
        self.end(t_s)
        self._number += 1
        self._runs.append(_RunSums(self._number, setup, t_s))

    def end(self, t_s: float) -> None:
        """End the run under way, if any, at a stream time [s]."""
        if self.is_open:
            self._runs[-1].end_s = t_s

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold settled seconds, in order; they arrive a little after the marks before them."""
        for run in self._runs:
            if len(seconds) and run.end_s >= seconds.t_s[0]:
                _add(run, seconds)
        for ended_s in self._steady.fold(seconds):
            for run in self._runs:
                if run.start_s < ended_s <= run.end_s:
                    _judge(run, self._steady.now(), ended_s)

    def table(self, covariance: FloatArray, noise_m2ps: float, now_s: float) -> tuple[Run, ...]:
        """Return the runs, oldest first.

        Parameters
        ----------
        covariance
            Of the shared errors, shape (5, 5).
        noise_m2ps
            Long-run variance of the velocity noise [m^2/s].
        now_s
            Stream time now [s].
        """
        return tuple(_run(run, covariance, noise_m2ps, now_s) for run in self._runs)


def _add(run: _RunSums, seconds: SettledSeconds) -> None:
    inside = (seconds.t_s > run.start_s) & (seconds.t_s <= run.end_s)
    inside &= np.isfinite(seconds.power_w) & np.isfinite(seconds.distance_m)
    columns = (
        seconds.power_w,
        seconds.volts_v,
        seconds.distance_m,
        seconds.east_mps,
        seconds.north_mps,
    )
    sums = [float(np.nan_to_num(column[inside]).sum()) for column in columns]
    run.sums += [float(inside.sum()), *sums]


def _judge(run: _RunSums, steady: Steady, ended_s: float) -> None:
    steady_s = min(steady.seconds_s, (ended_s - run.start_s) // RUN_PIECE_S * RUN_PIECE_S)
    run.steady_s = max(run.steady_s, steady_s)
    scatter = steady.scatter_fraction
    sure = not isinstance(scatter, Unknown) and scatter <= RUN_SCATTER_FRACTION
    if steady_s >= RUN_SURELY_S or (steady_s >= RUN_LONG_ENOUGH_S and sure):
        run.long_enough = True


def _run(run: _RunSums, covariance: FloatArray, noise_m2ps: float, now_s: float) -> Run:
    seconds, power, volts, distance, east, north = run.sums.tolist()
    is_open = run.end_s == math.inf
    none = Unknown(Reason.NOTHING_COUNTED_YET if is_open else Reason.NOTHING_COUNTED)
    stretch: Stretch | Unknown = none
    course: Number = none
    if seconds:
        energy = Spread.of_energy(power / 3600.0, volts / 3600.0)
        stretch = Stretch.counted(seconds, energy, distance, noise_m2ps * seconds)
        course = math.degrees(math.atan2(east, north)) % 360.0
        if math.hypot(east, north) < MOVING_MPS * seconds:
            course = Unknown(Reason.NO_COURSE)
    return Run(
        number=run.number,
        setup=run.setup,
        open=is_open,
        start_s=run.start_s,
        seconds_s=max(0.0, (now_s if is_open else run.end_s) - run.start_s),
        steady_s=run.steady_s,
        power_w=power / seconds if seconds else none,
        speed_mps=distance / seconds if seconds else none,
        course_deg=course,
        wh_per_km=wh_per_km(stretch, covariance),
        long_enough=run.long_enough,
    )
