"""What would fool a comparison: each a look at the legs, and a sentence."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.students_t import quantile
from onboard.efficiency.trial.leg import Leg

APART_FRACTION, APART_SHARE = 0.02, 0.998
"""Set-ups were run at unlike power if it differs by 2 %, and by more than their legs' scatter makes
it differ: the quantile of Student's t."""

SCATTER_FRACTION, DRIFT_FRACTION, SWING_FRACTION = 0.03, 0.05, 0.05
"""Power was not held from leg to leg, over a leg, within a leg. Common practice, no source."""

HELD_FRACTION, HELD_SHARE, STILL_FRACTION = 0.004, 0.1, 0.004
"""The motor's current was held if between set-ups it differs by no more than 0.4 % and a tenth of
what the power does; and if from leg to leg it keeps stiller than the power, or hardly moves at all.
Equal currents alone may be by chance. Common practice, no source."""

VOLTS_FRACTION, PACK_DEGC, DRIVE_DEGC = 0.02, 5.0, 10.0
"""2 % of voltage is a fifth of an LFP pack's charge or more. Ten degrees are 4 % of the resistance
of a copper winding, and so about half a per cent of the power. Common practice, no source."""


@dataclass(frozen=True)
class Caution:
    """Something that would fool the comparison.

    Parameters
    ----------
    code
        For other programs.
    text
        For people.
    """

    code: str
    text: str


def power_cautions(legs: list[Leg]) -> list[Caution]:
    """Tell whether battery power was held, and what was held instead."""
    said = [*_apart(legs), *_unsteady(legs)]
    if not said:
        return []
    motor = _motor_current_held(legs)
    head = "Battery power was not held: "
    if motor is None and not _amps_known(legs):
        said.append(
            "what was held instead is not known, as the log has no motor current, nor turns with "
            "the motor's data in the profile's [drive]"
        )
    cautions = [Caution("power_not_held", head + "; ".join(said) + ".")]
    return cautions if motor is None else [*cautions, Caution("motor_current_held", motor)]


def surroundings_cautions(legs: list[Leg]) -> list[Caution]:
    """Tell whether voltage or temperature differed between set-ups."""
    found: list[Caution] = []
    pair = _widest(legs, lambda one: one.volts_v)
    if pair and abs(pair[2] - pair[3]) > VOLTS_FRACTION * max(pair[2:]):
        found.append(
            Caution(
                "voltage_differs",
                f"Pack voltage differed: {pair[2]:.1f} V with {pair[0]}, {pair[3]:.1f} V with "
                f"{pair[1]}. Charge alike before each, or take turns.",
            )
        )
    said = []
    for name, limit, of in (
        ("pack", PACK_DEGC, lambda one: one.pack_degc),
        ("motor drive", DRIVE_DEGC, lambda one: one.drive_degc),
    ):
        pair = _widest(legs, of)
        if pair and abs(pair[2] - pair[3]) > limit:
            said.append(
                f"{name} {pair[2]:.0f} degC with {pair[0]}, {pair[3]:.0f} degC with {pair[1]}"
            )
    if said:
        text = f"Temperature differed: {'; '.join(said)}. Let it cool, or take turns."
        found.append(Caution("temperature_differs", text))
    return found


def _setups(legs: list[Leg]) -> list[str]:
    return sorted({one.setup for one in legs})


def _of(legs: list[Leg], setup: str, value: Callable[[Leg], float]) -> FloatArray:
    values = np.array([value(one) for one in legs if one.setup == setup], np.float64)
    return values[np.isfinite(values)]


def _widest(legs: list[Leg], value: Callable[[Leg], float]) -> tuple[str, str, float, float] | None:
    """Give the two set-ups whose means differ most, with the means; None where unknown."""
    means = {
        name: float(known.mean()) for name in _setups(legs) if len(known := _of(legs, name, value))
    }
    if len(means) < 2:
        return None
    high, low = max(means, key=means.__getitem__), min(means, key=means.__getitem__)
    return high, low, means[high], means[low]


def _scatter(legs: list[Leg], value: Callable[[Leg], float]) -> tuple[float, int]:
    """Give the standard deviation of a value's logarithm from leg to leg of the same set-up."""
    squares, freedom = 0.0, 0
    for name in _setups(legs):
        logs = np.log(_of(legs, name, value))
        squares += float(((logs - logs.mean()) ** 2).sum())
        freedom += len(logs) - 1
    return (math.sqrt(squares / freedom), freedom) if freedom > 0 else (0.0, 0)


def _apart(legs: list[Leg]) -> list[str]:
    scatter, freedom = _scatter(legs, _power)
    reach = quantile(float(freedom), APART_SHARE) * scatter if freedom else 0.0
    apart: set[str] = set()
    for a, b in combinations(_setups(legs), 2):
        one, other = (np.log(_of(legs, name, _power)) for name in (a, b))
        difference = float(one.mean() - other.mean())
        sure = reach * math.sqrt(1.0 / len(one) + 1.0 / len(other))
        if abs(difference) > max(APART_FRACTION, sure):
            apart |= {a, b}
    said = [
        f"{math.exp(_log_mean(legs, name, _power)):.0f} W with {name}" for name in sorted(apart)
    ]
    return [", ".join(said)] if said else []


def _unsteady(legs: list[Leg]) -> list[str]:
    said = []
    scatter, _ = _scatter(legs, _power)
    if scatter > SCATTER_FRACTION:
        said.append(f"it changed by {100 * scatter:.0f} % from run to run")
    drift = float(np.median([abs(one.power_drift_fraction) for one in legs]))
    swing = float(np.median([one.power_swing_fraction for one in legs]))
    if drift > DRIFT_FRACTION or swing > SWING_FRACTION:
        said.append(f"it changed by {100 * max(drift, swing):.0f} % within a run")
    return said


def _amps_known(legs: list[Leg]) -> bool:
    return all(len(_of(legs, name, lambda one: one.motor_amps_a)) for name in _setups(legs))


def _motor_current_held(legs: list[Leg]) -> str | None:
    """Say so if the motor's current was the same while the power was not."""
    if not _amps_known(legs):
        return None
    told = [one for one in legs if math.isfinite(one.motor_amps_a)]
    by_power, by_amps = _scatter(told, _power)[0], _scatter(told, _amps)[0]
    if by_amps > max(STILL_FRACTION, by_power / 2.0):
        return None
    apart = [
        tuple(_log_mean(told, a, value) - _log_mean(told, b, value) for value in (_power, _amps))
        for a, b in combinations(_setups(told), 2)
    ]
    held = all(abs(amps) < HELD_FRACTION + HELD_SHARE * abs(power) for power, amps in apart)
    moved = max((abs(power) for power, _ in apart), default=0.0) > APART_FRACTION
    if held and (moved or by_power > max(APART_FRACTION, 4.0 * by_amps)):
        return _told(math.exp(float(np.mean([math.log(one.motor_amps_a) for one in told]))))
    return None


def _power(one: Leg) -> float:
    return one.power_w


def _amps(one: Leg) -> float:
    return one.motor_amps_a


def _log_mean(legs: list[Leg], setup: str, value: Callable[[Leg], float]) -> float:
    return float(np.log(_of(legs, setup, value)).mean())


def _told(amps_a: float) -> str:
    return (
        f"Motor current was held at {amps_a:.1f} A, not battery power. An equal current is an "
        "equal torque; the power goes with the turns and so differs between propellers. Hold the "
        "battery's power instead."
    )
