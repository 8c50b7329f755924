"""Why set-ups differ: battery power split between drive, motor and shaft, if measured."""

import math

from onboard.dataclass import dataclass
from onboard.efficiency.trial.power_split import PowerSplit, by_motor_fraction, split
from onboard.efficiency.trial.results import Comparison
from onboard.profile import Drive


@dataclass(frozen=True)
class SetupSplit:
    """A set-up's power split at the power of its runs.

    Parameters
    ----------
    name
        The set-up.
    split
        Its power, split into losses and shaft power.
    propeller_rpm
        Propeller speed.
    metres_per_turn_m
        Distance through the water per turn.
    shaft_wh_per_km
        Energy per kilometre at the shaft: what hull and propeller take.
    """

    name: str
    split: PowerSplit
    propeller_rpm: float
    metres_per_turn_m: float
    shaft_wh_per_km: float


@dataclass(frozen=True)
class PairSplit:
    """The causes of the difference between two set-ups.

    Parameters
    ----------
    a, b
        The set-ups.
    by_motor_fraction
        Part of a's difference in Wh/km that is due to drive and motor.
    by_propeller_fraction
        The rest, due to propeller and hull.
    """

    a: str
    b: str
    by_motor_fraction: float
    by_propeller_fraction: float


def setup_splits(comparison: Comparison, drive: Drive) -> list[SetupSplit]:
    """Return the split of each set-up with motor data in its legs."""
    evidence = comparison.evidence
    found: list[SetupSplit] = []
    for name in (one.name for one in comparison.setups):
        counted = [
            (weight, evidence.legs[n], float(evidence.speed_mps[k]))
            for k, double in enumerate(evidence.doubles)
            if double.setup == name
            for n, weight in double.parts
        ]
        total = sum(weight for weight, _, _ in counted)
        power, rpm, amps, speed = (
            sum(w * value for w, value in zip((c[0] for c in counted), values, strict=True)) / total
            for values in (
                [one.power_w for _, one, _ in counted],
                [one.rpm for _, one, _ in counted],
                [one.reported_amps_a for _, one, _ in counted],
                [mps for _, _, mps in counted],
            )
        )
        one = split(power, rpm, amps, drive)
        if one is None:
            continue
        turns = rpm / drive.gear_ratio
        # The speed at the power of comparison; metres per turn hardly depend on it.
        found.append(SetupSplit(name, one, turns, speed * 60.0 / turns, one.shaft_w / 3.6 / speed))
    return found


def pair_splits(comparison: Comparison, splits: list[SetupSplit]) -> list[PairSplit]:
    """Return the causes of the difference of each pair of set-ups."""
    by_name = {one.name: one.split for one in splits}
    levels = dict(
        zip(comparison.evidence.names, comparison.evidence.levels.level.tolist(), strict=True)
    )
    found: list[PairSplit] = []
    for pair in comparison.pairs:
        if pair.a not in by_name or pair.b not in by_name:
            continue
        whole = math.expm1(levels[pair.b] - levels[pair.a])
        motor = by_motor_fraction(by_name[pair.a], by_name[pair.b], comparison.slope.value)
        found.append(PairSplit(pair.a, pair.b, motor, (1.0 + whole) / (1.0 + motor) - 1.0))
    return found
