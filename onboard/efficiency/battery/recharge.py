"""The state of charge after unmeasured time, and after the rider's statements about it.

Between rides a pack may be charged or discharged with no instrument on. So the count continues as
if nothing had been charged, with a wider covariance; whether it was charged is an open question
(`charge_unsaid`), and only an answer raises the count: the rider's, or the voltage of a rested pack
where it is conclusive. Swapping packs counts as charging.
"""

import math
from dataclasses import replace

import numpy as np

from onboard.contract.commands import Amount
from onboard.dataclass import dataclass
from onboard.efficiency.battery.charge_state import ROUNDING_V, ChargeState
from onboard.efficiency.battery.learned_practice import AGEING_SD_FRACTION, AGEING_UNKNOWN_S
from onboard.efficiency.battery.ocv_curve import OCV_CURVES, OcvCurve
from onboard.efficiency.battery.pack_errors import SIZE
from onboard.efficiency.battery.round_trip import CHARGE_SD_FRACTION, pack_loss
from onboard.efficiency.common_practice import (
    CHARGE_QUESTION_AFTER_S,
    CHARGED_FULL_SD,
    METER_SD_FRACTION,
    OCV_SHAPE_FACTOR,
    SHOWS_CHARGED_SD,
    SHOWS_NOT_CHARGED_FRACTION,
    SHOWS_NOT_CHARGED_SD,
    STATED_CHARGE_SD,
    UNSEEN_DRAIN_PER_H,
    UNSEEN_DRAIN_SD_FRACTION,
)
from onboard.efficiency.statistics.shared_errors import CAPACITY, START, VOLTAGE


@dataclass(frozen=True)
class Away:
    """A time during which the pack was not measured.

    Parameters
    ----------
    pause_s
        Duration [s]; NaN if unknown.
    was_running
        Whether the autopilot kept running.
    drawn_ah
        Charge drawn meanwhile according to its counter [Ah]; None without.
    """

    pause_s: float = math.nan
    was_running: bool = False
    drawn_ah: float | None = None

    @property
    def is_short(self) -> bool:
        """Whether it was too short for a charge."""
        return self.pause_s <= CHARGE_QUESTION_AFTER_S

    @property
    def opens_question(self) -> bool:
        """Whether to ask the rider if the pack was charged: not where a counter kept running."""
        return self.drawn_ah is None and not self.is_short

    @property
    def unseen_sd(self) -> float:
        """Standard deviation of the charge drawn unmeasured, as a share of full."""
        if self.drawn_ah is not None:
            return 0.0
        if math.isnan(self.pause_s):
            return UNSEEN_DRAIN_SD_FRACTION
        return min(UNSEEN_DRAIN_SD_FRACTION, UNSEEN_DRAIN_PER_H * self.pause_s / 3600.0)


def widened(state: ChargeState, sd_fraction: float) -> ChargeState:
    """Return the state with a standard deviation added to its charge, as a share of full."""
    covariance = state.covariance.copy()
    covariance[START, START] += sd_fraction**2
    return replace(state, covariance=covariance)


def aged(state: ChargeState, pause_s: float) -> ChargeState:
    """Return the state with its capacity widened for a pause [s], NaN if unknown."""
    days = (AGEING_UNKNOWN_S if math.isnan(pause_s) else pause_s) // 86400.0
    covariance = state.covariance.copy()
    covariance[CAPACITY, CAPACITY] += AGEING_SD_FRACTION**2 * days / 365.25
    return replace(state, covariance=covariance)


def with_known_charge(
    state: ChargeState, fraction: float, sd_fraction: float, charge_ah: float, t_s: float
) -> ChargeState:
    """Return the state of a pack with its charge known now, overriding the count.

    Parameters
    ----------
    state
        Before.
    fraction, sd_fraction
        State of charge and its standard deviation.
    charge_ah, t_s
        Charge drawn [Ah] and stream time [s] now.
    """
    state = state.moved_to(charge_ah, t_s)
    covariance = state.covariance.copy()
    covariance[START, :] = covariance[:, START] = 0.0
    covariance[START, START] = sd_fraction**2
    return ChargeState(state.full_ah, fraction, charge_ah, t_s, state.mean, covariance)


def charged(
    state: ChargeState,
    chemistry: str,
    full_wh: float,
    amount: Amount,
) -> ChargeState:
    """Return the state after a charge stated by the rider, clipped to full.

    Parameters
    ----------
    state
        Counted from now on.
    chemistry
        One of `CHEMISTRIES`.
    full_wh
        The pack's energy when full [Wh].
    amount
        The amount stated.

    Notes
    -----
    All charge is stored; of the energy, half of the round-trip loss arises in charging.
    """
    key, stated = amount
    here = state.start_ah, state.start_s
    fraction = state.start_fraction
    if key == "left_fraction":
        sd = CHARGED_FULL_SD if stated >= 1.0 else STATED_CHARGE_SD
        return with_known_charge(state, stated, sd, *here)
    known = 1.0 + float(state.mean[CAPACITY])
    if key == "charged_ah":
        added = stated / (state.full_ah * known)
        sd = math.hypot(METER_SD_FRACTION, CHARGE_SD_FRACTION)
    else:
        loss = pack_loss(chemistry)
        ocv = OCV_CURVES[chemistry]
        energy = float(np.interp(fraction, ocv.fraction, ocv.energy_fraction()))
        energy += stated / (1.0 + loss.fraction / 2) / full_wh
        added = math.inf if energy >= 1.0 else max(ocv.at_energy(energy) - fraction, 0.0)
        sd = math.hypot(METER_SD_FRACTION, loss.sd / 2)
    if not stated:
        return state
    if fraction + added >= 1.0:
        return with_known_charge(state, 1.0, CHARGED_FULL_SD, *here)
    turn = np.eye(SIZE)
    turn[START, CAPACITY] = -added / known
    covariance = turn @ state.covariance @ turn.T
    moved = replace(
        state, start_fraction=fraction + added, covariance=covariance, contradicted=False
    )
    return widened(moved, added * sd)


def charge_by_voltage(
    ocv: OcvCurve, cell_v: float, sd_v: float, least: float = 0.0
) -> tuple[float, float]:
    """Return the state of charge of a rested cell from its voltage alone, and its sd.

    Parameters
    ----------
    ocv
        Open-circuit curve of the cells.
    cell_v, sd_v
        Open-circuit voltage, and its standard deviation in addition to the curve's [V].
    least
        Lower bound of the state of charge; the prior is uniform above it.

    Examples
    --------
    >>> from onboard.efficiency.battery.ocv_curve import OCV_CURVES
    >>> [round(x, 2) for x in charge_by_voltage(OCV_CURVES["li-ion"], 4.2, 0.01, 0.4)]
    [0.99, 0.01]
    >>> charge_by_voltage(OCV_CURVES["lfp"], 3.27, 0.01, 0.4)[1] > 0.1
    True
    """
    at = np.linspace(min(max(least, 0.0), 0.99), 1.0, 101)
    volts = np.interp(at, ocv.fraction, ocv.ocv_v)
    spread = np.interp(at, ocv.fraction, ocv.sd_v)
    variance = (OCV_SHAPE_FACTOR * spread) ** 2 + sd_v**2 + ROUNDING_V**2
    off = (cell_v - volts) / np.sqrt(variance)
    # A curve rises: one with this voltage at a lower charge is above the table all the way up.
    above = np.maximum.accumulate(np.maximum(off, 0.0)[::-1])[::-1]
    below = np.maximum.accumulate(np.maximum(-off, 0.0))
    log = -0.5 * ((above + below) ** 2 + np.log(variance))
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = float(weight @ at)
    return mean, math.sqrt(float(weight @ (at - mean) ** 2))


def answered_by_voltage(  # noqa: PLR0917
    state: ChargeState,
    ocv: OcvCurve,
    cell_v: float,
    sd_v: float,
    charge_ah: float,
    t_s: float,
) -> tuple[ChargeState, bool]:
    """Return the state after a rested voltage, and whether the question stays open.

    Parameters
    ----------
    state
        As if nothing had been charged.
    ocv, cell_v, sd_v
        As for `charge_by_voltage`.
    charge_ah, t_s
        Charge drawn [Ah] and stream time [s] then.

    Returns
    -------
    tuple
        The state from the voltage alone where it shows that the pack was charged, else unchanged;
        and whether the question stays open.
    """
    count, gradient = state.fraction(charge_ah, t_s)
    count_sd = math.sqrt(max(float(gradient @ state.covariance @ gradient), 0.0))
    sd_v = math.hypot(sd_v, cell_v * math.sqrt(float(state.covariance[VOLTAGE, VOLTAGE])))
    seen, seen_sd = charge_by_voltage(ocv, cell_v, sd_v, count - SHOWS_NOT_CHARGED_SD * count_sd)
    if seen - count > SHOWS_CHARGED_SD * math.hypot(seen_sd, count_sd):
        return with_known_charge(state, seen, seen_sd, charge_ah, t_s), False
    at_most = seen + SHOWS_NOT_CHARGED_SD * seen_sd - count
    return state, at_most > SHOWS_NOT_CHARGED_FRACTION * (1.0 - count)
