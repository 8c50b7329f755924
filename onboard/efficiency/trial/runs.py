"""The runs within a span of a ride: straight runs, each a leg, or laps.

A span is what the rider marked as a run, or all that was ridden with one set-up. It holds laps if
its path closes at held power, unless straight runs there and back beside them took more time.
"""

import itertools
import math
from collections.abc import Iterator
from enum import StrEnum

import numpy as np

from onboard.contract.remarks import Remark, RemarkCode
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import DRAWING_LEAST_W
from onboard.efficiency.trial.laps import LapsFound, NoLap, laps_in
from onboard.efficiency.trial.leg import Leg, lap_leg, leg
from onboard.efficiency.trial.seconds import Seconds
from onboard.efficiency.trial.stretches import straight
from onboard.efficiency.trial.trial_practice import RECIPROCAL_DEG, SAME_POWER_FRACTION


class SpanKind(StrEnum):
    """What to look for in a span."""

    EITHER = "either"
    LAPS = "laps"
    THERE_AND_BACK = "there_and_back"


@dataclass(frozen=True)
class RunSpan:
    """A span of a log in which to find runs.

    Parameters
    ----------
    setup
        The set-up's label.
    start_s, end_s
        Start and end in stream time [s]; infinite if open.
    marked
        Whether the rider marked it as a run.
    kind
        What to look for. If laps, a there-and-back that ends where it began counts as one.
    """

    setup: str
    start_s: float
    end_s: float
    marked: bool
    kind: SpanKind = SpanKind.EITHER


@dataclass(frozen=True)
class RunsFound:
    """The runs of one span.

    Parameters
    ----------
    legs
        Straight runs and laps, in order of time, on the clock of the seconds given.
    passed_over
        Remarks on what was marked, or nearly a lap, and is none.
    """

    legs: tuple[Leg, ...]
    passed_over: tuple[Remark, ...]


def runs_in(seconds: Seconds, span: RunSpan, place: str, zero_s: float = 0.0) -> RunsFound:
    """Find the runs of one span.

    Parameters
    ----------
    seconds
        A whole ride.
    span
        Where to look, in stream time.
    place
        Where they come from, as text for people: the log's name.
    zero_s
        Zero of stream time from the log's start, for remarks [s].
    """
    inside = seconds.between(span.start_s, span.end_s)
    rounds = LapsFound([], [])
    if span.kind is not SpanKind.THERE_AND_BACK:
        rounds = laps_in(inside, marked=span.marked, thin=span.kind is SpanKind.LAPS)
    no_laps = tuple(_no_lap(one, span, place, zero_s) for one in rounds.no_laps)
    laps = tuple(lap_leg(one, span.setup, place) for one in rounds.laps if _draws(one))
    if span.kind is SpanKind.LAPS or (span.marked and (laps or no_laps)):
        return RunsFound(laps, no_laps or _nothing(laps, span, place, zero_s))
    straights = straight(inside, marked=span.marked)
    legs = tuple(leg(one, span.setup, place) for one in straights if _draws(one))
    if not laps:
        return RunsFound(legs, no_laps or _nothing(legs, span, place, zero_s))
    if sum(one.seconds_s for one in _to_and_fro(legs, laps)) > sum(one.seconds_s for one in laps):
        return RunsFound(legs, ())
    return RunsFound(laps, no_laps)


def _draws(seconds: Seconds) -> bool:
    """Return whether power was drawn: a tow or a drift compares nothing."""
    return float(np.nanmean(seconds.power_w)) >= DRAWING_LEAST_W


def _to_and_fro(legs: tuple[Leg, ...], laps: tuple[Leg, ...]) -> Iterator[Leg]:
    """Yield the straight runs beside laps that have a way back before or after them."""
    apart: list[list[Leg]] = [[] for _ in range(len(laps) + 1)]
    for one in legs:
        if not any(_overlap(one, lap) for lap in laps):
            apart[sum(lap.start_s < one.start_s for lap in laps)].append(one)
    for some in apart:
        paired = [_reciprocal(one, other) for one, other in itertools.pairwise(some)]
        for one, before, after in zip(some, [False, *paired], [*paired, False], strict=False):
            if before or after:
                yield one


def _overlap(one: Leg, lap: Leg) -> bool:
    return one.start_s < lap.start_s + lap.seconds_s and lap.start_s < one.start_s + one.seconds_s


def _reciprocal(one: Leg, other: Leg) -> bool:
    off_deg = (other.course_deg - one.course_deg) % 360.0 - 180.0
    alike = abs(math.log(other.power_w / one.power_w)) <= SAME_POWER_FRACTION
    return alike and abs(off_deg) <= RECIPROCAL_DEG


def _no_lap(one: NoLap, span: RunSpan, place: str, zero_s: float) -> Remark:
    from_s = (span.start_s if span.marked else one.start_s) + zero_s
    if one.missing_fraction is None:
        return Remark(
            RemarkCode.LAP_POWER_NOT_HELD,
            log=place,
            from_s=from_s,
            swing_fraction=one.swing_fraction,
        )
    return Remark(
        RemarkCode.LAP_CUT_SHORT, log=place, from_s=from_s, missing_fraction=one.missing_fraction
    )


def _nothing(runs: tuple[Leg, ...], span: RunSpan, place: str, zero_s: float) -> tuple[Remark, ...]:
    """Return a remark on a marked span without a run."""
    if runs or not span.marked:
        return ()
    wanted_laps = span.kind is SpanKind.LAPS
    code = RemarkCode.NO_LAP_FOUND if wanted_laps else RemarkCode.NO_RUN_FOUND
    return (Remark(code, log=place, from_s=span.start_s + zero_s),)
