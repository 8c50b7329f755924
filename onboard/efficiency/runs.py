"""Runs: stretches that the rider marks to compare set-ups, with what was held and what it cost."""

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.cells import Cells
from onboard.efficiency.consumption import Stretch, wh_per_km
from onboard.efficiency.figure import Estimate, Number, Unknown
from onboard.efficiency.shared_errors import COUNT, Spread
from onboard.efficiency.steady_now import PIECE_S, Steady, SteadyNow

RUNS_MOST = 8
"""Given at a time; the record keeps all."""

LONG_ENOUGH_S, SURELY_S = 60.0, 300.0
SCATTER_FRACTION = 0.01
"""A run is long enough once it is held for a minute and its cost scatters by no more than 1 %, or
for five minutes. Five are what trials of ships take at the least (second-hand, see ITTC 7.5-04);
that a small craft needs less is common practice, no source."""


@dataclass(frozen=True)
class Run:
    """A run as it stands.

    Parameters
    ----------
    number
        From 1 in each trip.
    setup
        The set-up's label.
    open
        Whether it still goes on.
    start_s, seconds_s
        When it was started, in stream time, and how long it took [s].
    steady_s
        Its longest stretch held [s].
    power_w, speed_mps, course_deg
        Means over all of it.
    wh_per_km
        Energy over distance of all of it.
    long_enough
        Whether what was held tells enough.
    """

    number: int
    setup: str
    open: bool
    start_s: float
    seconds_s: float
    steady_s: float
    power_w: Number
    speed_mps: Number
    course_deg: Number
    wh_per_km: Estimate
    long_enough: bool


@dataclass
class _Counted:
    """What a run adds up; sums over its settled seconds."""

    number: int
    setup: str
    start_s: float
    end_s: float = math.inf
    steady_s: float = 0.0
    long_enough: bool = False
    sums: FloatArray = field(default_factory=lambda: np.zeros(6))


class RunBook:
    """Keeps the newest runs of a trip."""

    def __init__(self) -> None:
        self._runs: deque[_Counted] = deque(maxlen=RUNS_MOST)
        self._number = 0
        self._steady = SteadyNow()

    @property
    def steady(self) -> Steady:
        """The stretch that is held up to now, in a run or not."""
        return self._steady.now()

    @property
    def is_open(self) -> bool:
        """Whether a run goes on."""
        return bool(self._runs) and self._runs[-1].end_s == math.inf

    def start(self, t_s: float, setup: str) -> None:
        """Start a run at a stream time [s]; one that still goes on ends there."""
        self.end(t_s)
        self._number += 1
        self._runs.append(_Counted(self._number, setup, t_s))

    def end(self, t_s: float) -> None:
        """End the run that goes on, if one does."""
        if self.is_open:
            self._runs[-1].end_s = t_s

    def fold(self, cells: Cells) -> None:
        """Take in settled seconds, in order: they come a little after the marks they lie behind."""
        for run in self._runs:
            if len(cells) and run.end_s >= cells.t_s[0]:
                _add(run, cells)
        for ended_s in self._steady.fold(cells):
            for run in self._runs:
                if run.start_s < ended_s <= run.end_s:
                    _look(run, self._steady.now(), ended_s)

    def table(self, now_s: float, covariance: FloatArray, noise_m2ps: float) -> tuple[Run, ...]:
        """Give the runs, oldest first.

        Parameters
        ----------
        now_s
            Stream time now [s].
        covariance
            Of the shared errors, shape (5, 5).
        noise_m2ps
            What the noise of the velocity adds to a distance's variance in a second.
        """
        return tuple(_run(one, now_s, covariance, noise_m2ps) for one in self._runs)


def _add(run: _Counted, cells: Cells) -> None:
    inside = (cells.t_s > run.start_s) & (cells.t_s <= run.end_s)
    inside &= np.isfinite(cells.power_w) & np.isfinite(cells.distance_m)
    columns = (cells.power_w, cells.volts_v, cells.distance_m, cells.east_mps, cells.north_mps)
    sums = [float(np.nan_to_num(one[inside]).sum()) for one in columns]
    run.sums += [float(inside.sum()), *sums]


def _look(run: _Counted, steady: Steady, ended_s: float) -> None:
    held_s = min(steady.seconds_s, (ended_s - run.start_s) // PIECE_S * PIECE_S)
    run.steady_s = max(run.steady_s, held_s)
    scatter = steady.scatter_fraction
    sure = not isinstance(scatter, Unknown) and scatter <= SCATTER_FRACTION
    if held_s >= SURELY_S or (held_s >= LONG_ENOUGH_S and sure):
        run.long_enough = True


def _run(one: _Counted, now_s: float, covariance: FloatArray, noise_m2ps: float) -> Run:
    seconds, power, volts, distance, east, north = one.sums.tolist()
    is_open = one.end_s == math.inf
    none = Unknown("nothing counted yet" if is_open else "nothing was counted")
    stretch: Stretch | Unknown = none
    course: Number = none
    if seconds:
        stretch = Stretch(
            seconds,
            Spread.of_energy(power / 3600.0, volts / 3600.0),
            Spread(distance, np.zeros(COUNT), noise_m2ps * seconds),
        )
        course = math.degrees(math.atan2(east, north)) % 360.0
        if math.hypot(east, north) < 0.3 * seconds:
            course = Unknown("no course made good")
    return Run(
        number=one.number,
        setup=one.setup,
        open=is_open,
        start_s=one.start_s,
        seconds_s=max(0.0, (now_s if is_open else one.end_s) - one.start_s),
        steady_s=one.steady_s,
        power_w=power / seconds if seconds else none,
        speed_mps=distance / seconds if seconds else none,
        course_deg=course,
        wh_per_km=wh_per_km(stretch, covariance),
        long_enough=one.long_enough,
    )
