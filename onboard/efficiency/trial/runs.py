"""The runs within a span of a ride: straight runs, each a leg, or laps.

A span is what the rider marked as a run, or all that was ridden with one set-up.
"""

from dataclasses import dataclass

from onboard.contract.remarks import Remark, RemarkCode
from onboard.efficiency.trial.leg import Leg, leg
from onboard.efficiency.trial.seconds import Seconds
from onboard.efficiency.trial.stretches import straight


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
    """

    setup: str
    start_s: float
    end_s: float
    marked: bool


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
    found = straight(seconds.between(span.start_s, span.end_s), marked=span.marked)
    remarks: tuple[Remark, ...] = ()
    if not found and span.marked:
        remarks = (Remark(RemarkCode.NO_RUN_FOUND, log=place, from_s=span.start_s + zero_s),)
    return RunsFound(tuple(leg(one, span.setup, place) for one in found), remarks)
