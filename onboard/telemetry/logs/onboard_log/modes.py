"""Mode and arming: what the log says only when it changes, carried on."""

import math

import numpy as np

from onboard.telemetry.logs.onboard_log.fields import Fields
from onboard.telemetry.logs.onboard_log.waiting_samples import Part
from onboard.telemetry.mavlink.checksum import Ints

RECORDS = ("MODE", "ARM")


class Modes:
    """Turns MODE and ARM records into parts of `heartbeat`; what was not said yet is unknown."""

    def __init__(self) -> None:
        self._mode = self._armed = float("nan")

    def part(self, records: list[tuple[Fields, Ints]]) -> Part:
        """Return a sample for each record.

        Parameters
        ----------
        records
            Records of one layout, and their numbers among the timed ones; of several layouts.
        """
        said: list[tuple[int, str, float]] = []
        for fields, number in records:
            name, values = fields.name, fields.get("ArmState")
            if name == "MODE":
                values = fields.get("ModeNum", "Mode")
            values[np.isinf(values)] = np.nan
            said += [(n, name, value) for n, value in zip(number.tolist(), values, strict=True)]
        mode, armed = [], []
        for _, name, value in sorted(said):
            if name == "MODE":
                self._mode = value
            else:
                self._armed = value if math.isnan(value) else float(value > 0)
            mode.append(self._mode)
            armed.append(self._armed)
        columns = {"mode": np.array(mode), "armed": np.array(armed)}
        return Part("heartbeat", np.array(sorted(n for n, _, _ in said)), columns)


def stated_modes(fields: Fields) -> list[str | int | None]:
    """Return the mode that each MODE record states: its name or else its number, None without."""
    names = fields.texts("Mode")
    if names is not None:
        return list(names)
    numbers = fields.get("ModeNum", "Mode").tolist()
    return [int(value) if math.isfinite(value) else None for value in numbers]
