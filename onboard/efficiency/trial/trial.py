"""A trial: the runs of all rides on one clock, the power to compare at, and the comparison."""

import math
from collections.abc import Mapping
from dataclasses import field, replace

import numpy as np

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.remarks import Caution, Remark
from onboard.dataclass import dataclass
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.trial.cautions import power_cautions, surroundings_cautions
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.courses import course_cautions
from onboard.efficiency.trial.cruise import OwnCurve
from onboard.efficiency.trial.double_runs import double_runs
from onboard.efficiency.trial.equal_power import curves_of, reference_power_w, slope_at
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.results import Comparison
from onboard.efficiency.trial.runs import RunSpan, runs_in
from onboard.efficiency.trial.seconds import Seconds
from onboard.efficiency.trial.trial_practice import (
    COACHED_SIGNIFICANCE,
    OUTING_GAP_S,
    VERDICT_SIGNIFICANCE,
)
from onboard.profile import Sensors


@dataclass(frozen=True)
class TrialRide:
    """One ride of a trial.

    Parameters
    ----------
    seconds, steady
        Its seconds and steady stretches, in stream time.
    spans
        Where to find runs, in order of time.
    outing
        Number of its outing: water and weather belong to an outing.
    shift_s
        From stream time to the clock of its outing [s].
    place
        Where it comes from, as text for people: the log's name.
    zero_s
        Zero of stream time from the log's start [s].
    """

    seconds: Seconds
    steady: list[SteadyBlock]
    spans: list[RunSpan]
    outing: int = 0
    shift_s: float = 0.0
    place: str = ""
    zero_s: float = 0.0


@dataclass(frozen=True)
class Trial:
    """A comparison, with its cautions and remarks.

    Parameters
    ----------
    comparison
        The ranking and its evidence.
    cautions
        Cautions on runs, order and surroundings.
    passed_over
        Remarks on marked spans without a run.
    curves
        The curve of each set-up that has steady stretches.
    """

    comparison: Comparison
    cautions: tuple[Caution, ...]
    passed_over: tuple[Remark, ...]
    curves: Mapping[str, OwnCurve] = field(default_factory=dict)


@dataclass(frozen=True)
class NoTrial:
    """Runs that compare nothing.

    Parameters
    ----------
    why
        Why not.
    setups
        Set-ups that have runs.
    passed_over
        See `Trial`.
    """

    why: Unknown
    setups: tuple[str, ...]
    passed_over: tuple[Remark, ...]


def trial_of(rides: list[TrialRide], sensors: Sensors, *, coached: bool = False) -> Trial | NoTrial:
    """Compare the set-ups used on some rides.

    Parameters
    ----------
    rides
        The rides, each with the spans in which to find runs.
    sensors
        The craft's sensors and their uncertainties.
    coached
        Whether the runs were judged as they came, and stopped when a difference showed: then a
        claim needs stronger evidence.
    """
    legs, passed_over = _legs(rides)
    setups = tuple(sorted({one.setup for one in legs}))
    if len(setups) < 2:
        return NoTrial(Unknown(Reason.ONE_SETUP), setups, passed_over)
    # A way out at another power is not part of the trial: it has no way back at that power.
    paired = [legs[n] for double in double_runs(legs)[0] for n in double.legs] or legs
    power_w = reference_power_w(paired)
    steady = _steady_of(rides)
    curves = curves_of(steady)
    slope = slope_at(power_w, curves.values())
    amps_a = sum(one.amps_a for one in paired) / len(paired)
    offset = sensors.current_offset_sd_a / max(amps_a, 0.1)
    shared = math.hypot(sensors.current_scale_sd, sensors.voltage_scale_sd, offset)
    significance = COACHED_SIGNIFICANCE if coached else VERDICT_SIGNIFICANCE
    found = compare(legs, power_w, slope, shared, significance)
    if isinstance(found, Unknown):
        return NoTrial(found, setups, passed_over)
    counted = [legs[n] for double in found.evidence.doubles for n in double.legs]
    cautions = [
        *power_cautions(counted),
        *course_cautions(found.evidence.legs),
        *found.cautions,
        *surroundings_cautions(counted),
    ]
    own = {
        name: OwnCurve(curve, np.array([block.power_w for block in steady[name]]))
        for name, curve in curves.items()
    }
    return Trial(found, tuple(cautions), passed_over, own)


def _legs(rides: list[TrialRide]) -> tuple[list[Leg], tuple[Remark, ...]]:
    legs: list[Leg] = []
    passed_over: list[Remark] = []
    for ride in rides:
        for span in ride.spans:
            found = runs_in(ride.seconds, span, ride.place, ride.zero_s)
            legs += [one.at(ride.outing, ride.shift_s) for one in found.legs]
            passed_over += found.passed_over
    return sorted(legs, key=lambda one: (one.outing, one.start_s)), tuple(passed_over)


def _steady_of(rides: list[TrialRide]) -> dict[str, list[SteadyBlock]]:
    """Return the steady stretches within each set-up's spans, oldest first and on one clock."""
    found: dict[str, list[SteadyBlock]] = {}
    outing, begin_s, end_s = -1, 0.0, 0.0
    for ride in sorted(rides, key=lambda one: (one.outing, one.shift_s)):
        if ride.outing != outing:
            outing, begin_s = ride.outing, ride.shift_s - end_s - OUTING_GAP_S
        shift_s = ride.shift_s - begin_s
        only = {span.setup for span in ride.spans}
        for block in ride.steady:
            inside = {span.setup for span in ride.spans if span.start_s < block.t_s <= span.end_s}
            end_s = shift_s + block.t_s
            for setup in inside or (only if len(only) == 1 else set()):
                found.setdefault(setup, []).append(replace(block, t_s=end_s))
    return {name: sorted(some, key=lambda one: one.t_s) for name, some in found.items()}
