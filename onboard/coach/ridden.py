"""The runs of a trial so far: those found in the record, and those that the coach saw since."""

from collections import Counter
from collections.abc import Sequence

from onboard.coach.practice import LATE_S
from onboard.coach.stretch import apart_deg
from onboard.dataclass import dataclass
from onboard.efficiency.trial.trial_practice import LEGS_APART_MOST_S, RECIPROCAL_DEG


@dataclass(frozen=True)
class Ridden:
    """One run.

    Parameters
    ----------
    setup
        The set-up's label.
    start_s, end_s
        In stream time [s].
    course_deg
        Of a straight run, 0 to 360; 0 for a lap.
    is_lap
        Whether it is a lap.
    """

    setup: str
    start_s: float
    end_s: float
    course_deg: float
    is_lap: bool = False

    def pairs_with(self, later: "Ridden") -> bool:
        """Return whether a later run is the way back of this one; see `trial/double_runs.py`."""
        return (
            self.setup == later.setup
            and later.start_s - self.end_s <= LEGS_APART_MOST_S
            and abs(abs(apart_deg(later.course_deg, self.course_deg)) - 180.0) <= RECIPROCAL_DEG
        )


class RunBook:
    """Counts the runs of a trial.

    The record is the truth: a run that the coach saw counts until the record was read past it, and
    then only if it was found there.
    """

    def __init__(self) -> None:
        self._found: tuple[Ridden, ...] = ()
        self._seen: list[Ridden] = []
        self._confirms = True

    @property
    def unsure(self) -> bool:
        """Whether a run is still to be confirmed by the record."""
        return self._confirms and bool(self._seen)

    def trust(self) -> None:
        """Take what the coach saw as final: no record will confirm it."""
        self._confirms = False

    def see(self, run: Ridden) -> None:
        """Take a run that the coach saw."""
        self._seen.append(run)

    def find(self, runs: Sequence[Ridden], until_s: float) -> None:
        """Take the runs found in the record up to a stream time [s]."""
        self._found = tuple(runs)
        self._seen = [
            one
            for one in self._seen
            if one.end_s > until_s - LATE_S
            and not any(one.start_s < run.end_s and run.start_s < one.end_s for run in runs)
        ]

    @property
    def runs(self) -> list[Ridden]:
        """All runs in order of time."""
        return sorted([*self._found, *self._seen], key=lambda run: run.start_s)

    def counts(self) -> Counter[str]:
        """Return the number of laps and double runs of each set-up."""
        return Counter(run.setup for run in self._paired()[0])

    def way_out(self, setup: str) -> Ridden | None:
        """Return the last run if it is a way out with this set-up that still lacks its way back."""
        _, last = self._paired()
        return last if last is not None and last.setup == setup else None

    def _paired(self) -> tuple[list[Ridden], Ridden | None]:
        """Return the last run of each lap and double run, and the last run if it is in none."""
        counted: list[Ridden] = []
        lone: Ridden | None = None
        for run in self.runs:
            if run.is_lap or (lone is not None and lone.pairs_with(run)):
                counted.append(run)
                lone = None
            else:
                lone = run
        return counted, lone
