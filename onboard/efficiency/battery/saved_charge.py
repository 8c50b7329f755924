"""The saved state of a pack's charge, from one run of the daemon to the next."""

import math
from dataclasses import dataclass
from typing import Any, Self

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.battery.charge_state import ChargeState
from onboard.efficiency.battery.pack_errors import SIZE
from onboard.efficiency.statistics.shared_errors import CAPACITY


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
    """

    stated: dict[str, Any]
    state: ChargeState
    since_anchor_fraction: float | None
    recharge_unknown: bool
    since_s: float

    @classmethod
    def read(cls, stated: Any, full_ah: float, utc_s: float) -> Self:
        """Parse a saved count.

        Raises
        ------
        ValueError
            If it is malformed or impossible.
        """
        try:
            fraction, error = float(stated["fraction"]), float(stated["capacity_error"])
            covariance = np.array(stated["covariance"], dtype=np.float64)
            contradicted = bool(stated["contradicted"])
            since = stated.get("since_anchor_fraction", 0.0)
            since = None if since is None else float(since)
            recharge_unknown = stated.get("unsaid") is True
            before_s = float(stated.get("unsaid_since_utc_s") or math.nan)
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
        state = ChargeState(full_ah, fraction, 0.0, 0.0, mean, covariance, contradicted)
        return cls(stated, state, since, recharge_unknown, before_s if recharge_unknown else utc_s)


def _is_covariance(matrix: FloatArray) -> bool:
    """Return whether a matrix is a possible covariance of the shared errors."""
    if matrix.shape != (SIZE, SIZE) or not np.isfinite(matrix).all():
        return False
    tiny = 1e-9 * (1.0 + float(np.abs(matrix).max()))
    least = float(np.linalg.eigvalsh(matrix)[0])
    return bool(np.abs(matrix - matrix.T).max() <= tiny) and least >= -tiny
