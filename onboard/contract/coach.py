"""The coach of a trial: what to ride next, and how the set-ups stand so far.

The coach advises; it never steers. Its steps are codes with values in SI, like all statements.
"""

from onboard.contract.codes import Code, Statement
from onboard.contract.commands import RunKind
from onboard.contract.figure import Estimate, Number, Unknown
from onboard.dataclass import dataclass


class StepCode(Code):
    """What to do next in a trial."""

    SWAP = (
        "swap",
        "Swap to {setup}. Stop the motor and cut its power before you touch the propeller.",
    )
    START = "start", "Go straight at {target_w}."
    START_LAP = "start_lap", "Start a lap at {target_w}."
    SETTLE = "settle", "Settle at {target_w}, {left_s} more."
    HOLD = "hold", "Hold {target_w}, {left_s} more."
    TURN = "turn", "Turn, then settle for {settle_s}."
    BACK = "back", "Back along the same line, {course_deg}."
    LAP = "lap", "Hold {target_w} and finish the lap, {left_fraction} of it to go."
    OFF_POWER = "off_power", "{now_w} is off: back to {target_w}."
    RECKONING = "reckoning", "Run done. Wait for the standing."
    ENOUGH = "enough", "Enough: {setup} is best."
    ENOUGH_ALIKE = "enough_alike", "Enough: {setups} cannot be told apart."
    NO_DATA = "no_data", "Power or speed is unknown: a run would not count."
    NEWER = "newer", "A step that this viewer is too old to explain: {name}."


class Step(Statement[StepCode]):
    """What to do next in a trial, as a statement; a target that is not set is null."""

    __slots__ = ()


@dataclass(frozen=True)
class TrialPlace:
    """A set-up's place in a trial so far.

    Parameters
    ----------
    setup
        Its label.
    group
        Set-ups that cannot be told apart share one; 0 is that of the best.
    behind_fraction
        Wh/km above the best's, as a share of the best's; 0 for the best itself.
    best_chance_fraction
        Probability that it is the best of all; unknown if it was never run beside the best.
    """

    setup: str
    group: int
    behind_fraction: Estimate
    best_chance_fraction: Number


@dataclass(frozen=True)
class TrialStanding:
    """How the set-ups of a trial stand, worked out from the record as `compare` does.

    Parameters
    ----------
    until_s
        Stream time up to which runs are included.
    power_w
        The battery power compared at.
    places
        The set-ups that have figures, best first.
    told_fraction
        Smallest difference in Wh/km, as a share, at which two set-ups run like these can be told
        apart.
    enough
        Whether more runs would hardly change the answer.
    drop
        Set-ups that are not worth another run.
    rounds
        About how many more rounds would settle it; null if unknown.
    cautions
        Codes of what may be misleading, as in `compare`.
    """

    until_s: float
    power_w: float
    places: tuple[TrialPlace, ...]
    told_fraction: Number
    enough: bool
    drop: tuple[str, ...]
    rounds: int | Unknown
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Coach:
    """The coach of a trial at one instant.

    Parameters
    ----------
    kind
        How its runs are ridden: laps, or straight runs there and back.
    setups
        Labels of its set-ups, as the rider named them.
    runs
        Laps, or double runs, of each so far, in the same order.
    step
        What to do now.
    ahead
        Set-ups to ride from here on, in this order, a lap or double run of each; the first is the
        present one.
    standing
        How they stand so far.
    """

    kind: RunKind
    setups: tuple[str, ...]
    runs: tuple[int, ...]
    step: Step
    ahead: tuple[str, ...]
    standing: TrialStanding | Unknown
