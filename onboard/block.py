"""The block: the columns received since the last one. Telemetry makes it, the engine folds it.

A channel is a table of samples: stream time and one float column per quantity, in SI units, NaN
where the autopilot states 'unknown'. `COLUMNS` names all channels and their columns.
"""

from collections.abc import Mapping
from dataclasses import field

import numpy as np
import numpy.typing as npt

from onboard.dataclass import dataclass

FloatArray = npt.NDArray[np.float64]

COLUMNS: Mapping[str, tuple[str, ...]] = {
    # The autopilot's summary of its main battery.
    "power": ("volts_v", "amps_a", "left_fraction"),
    # `pack` is the battery's instance; `cells` counts the voltages stated, `low_cell` from 1.
    "battery": (
        "pack",
        "volts_v",
        "amps_a",
        "charge_out_ah",
        "energy_out_wh",
        "left_fraction",
        "temperature_degc",
        "cells",
        "low_cell",
        "low_cell_v",
        "high_cell_v",
    ),
    # `fix` is 0 for none, 2 for 2D, 3 for 3D, higher for better ones.
    "gps": (
        "fix",
        "latitude_deg",
        "longitude_deg",
        "speed_mps",
        "course_deg",
        "satellites",
        "horizontal_sd_m",
        "speed_sd_mps",
        "dilution",
    ),
    # Output of the autopilot's estimator.
    "fused": ("latitude_deg", "longitude_deg", "north_mps", "east_mps", "heading_deg"),
    "hud": ("speed_mps", "heading_deg", "throttle_fraction"),
    "attitude": ("roll_deg", "pitch_deg", "heading_deg"),
    # `motor` counts from 0; `erpm` is the electrical speed.
    "drive": ("motor", "rpm", "erpm", "volts_v", "amps_a", "temperature_degc"),
    # Unix time stated by the autopilot.
    "clock": ("utc_s",),
    "heartbeat": ("mode", "armed"),
}
"""Columns of each channel."""


@dataclass(frozen=True)
class Channel:
    """Samples of one channel, in order of arrival.

    Parameters
    ----------
    t_s
        Stream time of each sample [s], shape (n,): the autopilot's boot clock made continuous, zero
        at the first message of the stream.
    columns
        One float array of shape (n,) for each name in `COLUMNS`; NaN is unknown.
    """

    t_s: FloatArray
    columns: Mapping[str, FloatArray]

    def __getitem__(self, name: str) -> FloatArray:
        """Return the column called `name`."""
        return self.columns[name]

    def __len__(self) -> int:
        """Return the number of samples."""
        return len(self.t_s)


@dataclass(frozen=True)
class Block:
    """The channels with new samples; a channel without any is absent."""

    channels: Mapping[str, Channel] = field(default_factory=dict)

    def get(self, name: str) -> Channel | None:
        """Return the channel called `name`, None if it has no new sample."""
        return self.channels.get(name)


def numbers_in(column: FloatArray) -> list[int]:
    """Return the whole numbers that occur in a column, rising; NaN left out.

    Examples
    --------
    >>> numbers_in(np.array([1.0, 0.0, np.nan, 1.0]))
    [0, 1]
    """
    # numpy's own `unique` loads its masked arrays first.
    return sorted({int(number) for number in column[np.isfinite(column)].tolist()})
