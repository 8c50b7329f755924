"""Mode and arming: an on-board log records changes only, so the last state is carried on."""

import math

import numpy as np

from onboard.telemetry.logs.onboard_log.fields import Fields
from onboard.telemetry.logs.onboard_log.waiting_samples import ChannelSamples
from onboard.telemetry.mavlink.checksum import Ints

RECORDS = ("MODE", "ARM")


class Modes:
    """Turn MODE and ARM records into parts of `heartbeat`; a state not recorded yet is unknown."""

    def __init__(self) -> None:
        self._mode = self._armed = float("nan")

    def part(self, records: list[tuple[Fields, Ints]]) -> ChannelSamples:
        """Return a sample for each record.

        Parameters
        ----------
        records
            For each layout: its records, and their numbers among the timed records.
        """
        changes: list[tuple[int, str, float]] = []
        for fields, number in records:
            name, values = fields.name, fields.get("ArmState")
            if name == "MODE":
                values = fields.get("ModeNum", "Mode")
            values[np.isinf(values)] = np.nan
            changes += [(n, name, value) for n, value in zip(number.tolist(), values, strict=True)]
        mode, armed = [], []
        for _, name, value in sorted(changes):
            if name == "MODE":
                self._mode = value
            else:
                self._armed = value if math.isnan(value) else float(value > 0)
            mode.append(self._mode)
            armed.append(self._armed)
        columns = {"mode": np.array(mode), "armed": np.array(armed)}
        return ChannelSamples("heartbeat", np.array(sorted(n for n, _, _ in changes)), columns)
