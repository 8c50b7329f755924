"""Runs: stretches that the rider marks to compare set-ups, with what was held and what it cost."""

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Run, Steady
from onboard.efficiency.sources.settled_seconds import Cells
from onboard.efficiency.statistics.shared_errors import COUNT, Spread
from onboard.efficiency.trip.consumption import Stretch, wh_per_km
from onboard.efficiency.trip.steady_now import PIECE_S, SteadyNow

RUNS_MOST = 8
"""Given at a time; the record keeps all."""

LONG_ENOUGH_S, SURELY_S = 60.0, 300.0
SCATTER_FRACTION = 0.01
"""A run is long enough once it is held for a minute and its cost scatters by no more than 1 %, or
for five minutes. Five are what trials of ships take at the least (second-hand, see ITTC 7.5-04);
that a small craft needs less is common practice, no source."""


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
        """Return the runs, oldest first.

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
    none = Unknown(Reason.NOTHING_COUNTED_YET if is_open else Reason.NOTHING_COUNTED)
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
            course = Unknown(Reason.NO_COURSE)
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
