"""The saved state of a pack's charge, from one run of the daemon to the next."""

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import Any, Self

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.battery.charge_state import ChargeState
from onboard.efficiency.battery.full_to_full import GainReading, SinceFull
from onboard.efficiency.battery.pack_errors import SIZE
from onboard.efficiency.statistics.shared_errors import CAPACITY, GAIN, START


@dataclass(frozen=True)
class SavedCharge:
    """A saved count.

    Parameters
    ----------
    stated
        As it was saved.
    state
        State from which counting continues.
    since_anchor_fraction
        Charge drawn since a rested voltage was last used, as a share of full; None if never.
    recharge_unknown
        Whether an unseen charge was an open question when it was saved.
    since_s
        Since when that question is, or would be, open [s, Unix time]; NaN if unknown.
    since_full
        What was counted and put back since the pack was last full; None if that is not known.
    rests, charges
        Rested voltages and metered charges that the state rests on.
    gain
        The current sensor's gain by the charger's meter, beyond the correction with which the count
        was made; counting continues with the sensor corrected for it (`learned_pack`).
    """

    stated: dict[str, Any]
    state: ChargeState
    since_anchor_fraction: float | None
    recharge_unknown: bool
    since_s: float
    since_full: SinceFull | None
    rests: int
    charges: int
    gain: float

    @classmethod
    def read(cls, stated: Any, begin: ChargeState, utc_s: float) -> Self:
        """Parse a saved count.

        Parameters
        ----------
        stated
            From `ChargeCount.as_dict`.
        begin
            Estimate from the profile alone: it stands in for what was forgotten.
        utc_s
            When the count was saved [s, Unix time]; NaN if unknown.

        Raises
        ------
        ValueError
            If it is malformed or impossible.
        """
        try:
            fraction, error = float(stated["fraction"]), float(stated["capacity_error"])
            covariance = _covariance(stated, begin)
            contradicted = bool(stated["contradicted"])
            since = stated.get("since_anchor_fraction", 0.0)
            since = None if since is None else float(since)
            recharge_unknown = stated.get("unsaid") is True
            before_s = float(stated.get("unsaid_since_utc_s") or math.nan)
            full = stated.get("since_full")
            since_full = None if full is None else SinceFull.read(full)
            readings = [GainReading.read(one) for one in stated.get("gain_readings", ())]
            rests, charges = int(stated.get("rests", 0)), int(stated.get("charges", 0))
        except (AttributeError, KeyError, TypeError, ValueError):
            raise ValueError("the kept battery state is not readable") from None
        if not (
            _is_covariance(covariance)
            and -0.5 <= fraction <= 1.5
            and abs(error) < 0.9
            and (since is None or math.isfinite(since))
        ):
            raise ValueError("the kept battery state cannot be")
        mean = np.zeros(SIZE)
        mean[CAPACITY] = error
        state = ChargeState(begin.full_ah, fraction, 0.0, 0.0, mean, covariance, contradicted)
        state, used, gain = with_gain(state, readings)
        return cls(
            stated, state, since, recharge_unknown, before_s if recharge_unknown else utc_s,
            since_full, rests, charges + used, gain,
        )  # fmt: skip


def with_gain(
    state: ChargeState, readings: Iterable[GainReading]
) -> tuple[ChargeState, int, float]:
    """Return the state with a current sensor corrected by readings of its gain.

    Returns
    -------
    tuple
        The state, whose GAIN is zero again; the number of readings used; the gain itself.
    """
    used = 0
    for reading in readings:
        after = reading.applied(state)
        used += after is not state
        state = after
    mean = state.mean.copy()
    mean[GAIN] = 0.0
    return replace(state, mean=mean), used, float(state.mean[GAIN])


def _covariance(stated: dict[str, Any], begin: ChargeState) -> FloatArray:
    """Return the saved covariance; that of the profile, with the saved charge, if forgotten."""
    if stated["covariance"] is not None:
        return np.array(stated["covariance"], dtype=np.float64)
    covariance = begin.covariance.copy()
    covariance[START, START] = float(stated["start_sd"]) ** 2
    return covariance


def _is_covariance(matrix: FloatArray) -> bool:
    """Return whether a matrix is a possible covariance of a pack's errors."""
    if matrix.shape != (SIZE, SIZE) or not np.isfinite(matrix).all():
        return False
    tiny = 1e-9 * (1.0 + float(np.abs(matrix).max()))
    least = float(np.linalg.eigvalsh(matrix)[0])
    return bool(np.abs(matrix - matrix.T).max() <= tiny) and least >= -tiny
