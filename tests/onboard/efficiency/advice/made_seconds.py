"""Settled seconds of a plain ride, with columns to be changed."""

import numpy as np

from onboard.efficiency.advice.conditions import DRIVE_DEGC, READINGS
from onboard.efficiency.sources.settled_seconds import SettledSeconds


def settled(seconds=240, *, drive_degc=40.0, **columns) -> SettledSeconds:
    rng = np.random.default_rng(1)
    noise = rng.normal(0, 0.02, seconds)
    plain = {
        "t_s": np.arange(1.0, seconds + 1),
        "amps_a": 10.0 + noise,
        "volts_v": np.full(seconds, 50.0),
        "charge_ah": np.arange(seconds) / 360.0,
        "east_mps": np.full(seconds, 2.0),
        "north_mps": np.zeros(seconds),
        "distance_m": np.full(seconds, 2.0),
        "throttle_fraction": np.full(seconds, 0.5),
        "latitude_deg": np.full(seconds, 45.0),
        "longitude_deg": np.full(seconds, -30.0),
        "energy_wh": np.full(seconds, np.nan),
        "made_m": np.full(seconds, np.nan),
    }
    plain |= {key: np.broadcast_to(value, seconds).astype(float) for key, value in columns.items()}
    plain.setdefault("power_w", plain["amps_a"] * plain["volts_v"])
    degc = np.broadcast_to(drive_degc, seconds).astype(float)
    nothing = np.full(seconds, np.nan)
    return SettledSeconds(**plain, readings=dict.fromkeys(READINGS, nothing) | {DRIVE_DEGC: degc})
