"""The reckoning of a trial: its runs and its standing, from the sessions' records.

It does what `compare` does at home, on the same seconds, so its figures are the same. Runs in spans
that have ended are found only once.
"""

import itertools
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from onboard.coach.coaching import NOT_RECKONED, Reckoned
from onboard.coach.ridden import Ridden, RunBook
from onboard.coach.session_reading import SessionReading
from onboard.contract.coach import TrialPlace, TrialStanding
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.runs import RunSpan, runs_in
from onboard.efficiency.trial.seconds import Seconds
from onboard.efficiency.trial.trial import NoTrial, Trial, TrialRide, trial_of
from onboard.efficiency.trial.trial_practice import OUTING_GAP_S
from onboard.profile import Profile
from onboard.record.marked_runs import in_force_after, last_trial, trial_spans

NEVER_TOGETHER = Unknown(Reason.NEVER_TOGETHER)
TOO_LITTLE = Unknown(Reason.TOO_LITTLE_DATA)

OPEN_S = 60.0
"""Time after the end of a span until which seconds in it may still settle [s]."""


class Reckoning:
    """Reckons a trial repeatedly, as its records grow.

    Parameters
    ----------
    folders
        The folders of the trip's sessions, oldest first; the last is being written.
    profile
        The craft.
    system_id
        MAVLink system to follow; None for the profile's, else the one that sends most.
    """

    def __init__(
        self, folders: Sequence[Path], profile: Profile, system_id: int | None = None
    ) -> None:
        self._sensors = profile.sensors
        self._readings = [SessionReading(folder, profile, system_id) for folder in folders]
        self._legs: dict[tuple[int, RunSpan], tuple[Leg, ...]] = {}
        self._reckoned_of: list[Ridden] = []
        self._standing: TrialStanding | Unknown = NOT_RECKONED
        self._order: tuple[str, ...] = ()

    @property
    def zero_stamp_s(self) -> float | None:
        """The last record's stamp at its stream time zero [s]; None if nothing was received."""
        return self._readings[-1].zero_stamp_s

    def reckon(self, until_us: int | None = None) -> Reckoned:
        """Read on, and reckon; times are stream times of the last session.

        Parameters
        ----------
        until_us
            Last stamp wanted [us]; None for all that has been written.
        """
        setup, plan = PLAIN_SETUP, None
        rides: list[TrialRide] = []
        runs: list[Ridden] = []
        for reading in self._readings:
            reading.advance(until_us)
        every = [reading.marks(until_us) for reading in self._readings]
        wanted = last_trial(itertools.chain(*every))
        zero_s, outing, ended_s = self.zero_stamp_s or 0.0, 0, None
        for number, (reading, marks) in enumerate(zip(self._readings, every, strict=True)):
            spans = trial_spans(marks, setup, plan, wanted) or []
            setup, plan = in_force_after(marks, setup, plan)
            seconds = reading.seconds()
            if reading.zero_stamp_s is None or not len(seconds):
                continue
            began_s = reading.shift_s
            if ended_s is not None and began_s - ended_s > OUTING_GAP_S:
                outing += 1
            ended_s = began_s + float(seconds.t_s[-1])
            for span in spans:
                legs = self._found(number, seconds, span, reading.folder.name)
                runs += [_ridden(one, began_s - zero_s) for one in legs]
            steady = reading.gathering.steady
            rides.append(TrialRide(seconds, steady, spans, outing, began_s, reading.folder.name))
        until_s = float(rides[-1].seconds.t_s[-1]) + rides[-1].shift_s - zero_s if rides else 0.0
        # After a restart on the way out, what was ridden before it is shown at once.
        is_first = not self._reckoned_of and len({run.setup for run in runs}) > 1
        if runs != self._reckoned_of and (is_first or not self._lacks_way_back(runs, setup)):
            self._reckoned_of = runs
            self._compare(rides, until_s)
        elif not isinstance(self._standing, Unknown):
            self._standing = replace(self._standing, until_s=until_s)
        return Reckoned(until_s, tuple(runs), self._standing, self._order)

    def _found(self, number: int, seconds: Seconds, span: RunSpan, place: str) -> tuple[Leg, ...]:
        key = number, span
        if key not in self._legs:
            legs = runs_in(seconds, span, place).legs
            if seconds.t_s[-1] < span.end_s + OPEN_S:
                return legs
            self._legs[key] = legs
        return self._legs[key]

    @staticmethod
    def _lacks_way_back(runs: list[Ridden], setup: str) -> bool:
        """Return whether the last run is a way out whose way back may follow.

        It changes no figure yet, and the comparison is the costly part of a reckoning.
        """
        book = RunBook()
        book.find(runs, 0.0)
        return book.way_out(setup) is not None

    def _compare(self, rides: list[TrialRide], until_s: float) -> None:
        trial = trial_of(rides, self._sensors, coached=True)
        if isinstance(trial, NoTrial):
            self._standing, self._order = trial.why, ()
        else:
            self._standing = standing_of(trial, until_s)
            self._order = trial.comparison.next_runs.order


def standing_of(trial: Trial, until_s: float) -> TrialStanding:
    """Return the standing of a trial.

    Parameters
    ----------
    trial
        The comparison.
    until_s
        Stream time up to which runs are in it [s].
    """
    found, ahead = trial.comparison, trial.comparison.next_runs
    told = found.told_fraction
    return TrialStanding(
        until_s=until_s,
        power_w=found.power_w,
        places=tuple(
            TrialPlace(
                one.name,
                one.group,
                one.behind_fraction,
                NEVER_TOGETHER if one.chance_best is None else one.chance_best,
            )
            for one in found.places
        ),
        told_fraction=TOO_LITTLE if told is None else told,
        enough=ahead.enough,
        drop=ahead.drop,
        rounds=TOO_LITTLE if ahead.rounds is None else ahead.rounds,
        cautions=tuple(dict.fromkeys(one.code.code for one in trial.cautions)),
    )


def _ridden(leg: Leg, shift_s: float) -> Ridden:
    start_s = leg.start_s + shift_s
    is_lap = leg.lap_m > 0.0
    course_deg = 0.0 if is_lap else leg.course_deg
    return Ridden(leg.setup, start_s, start_s + leg.seconds_s, course_deg, is_lap)
