"""The fields of records of one layout, as floats in the unit of the format letter."""

import numpy as np

from onboard.block import FloatArray
from onboard.telemetry.logs.onboard_log.record_layouts import (
    DIVISOR,
    INTEGER_LETTERS,
    TEXT_LETTERS,
    RecordLayout,
)
from onboard.telemetry.logs.onboard_log.windows import Rows


class Fields:
    """Fields by name; a field that the layout lacks is unknown."""

    def __init__(self, layout: RecordLayout, rows: Rows) -> None:
        self.name = layout.name
        self._letters = layout.letters
        self._rows = rows

    def __len__(self) -> int:
        """Return the number of records."""
        return len(self._rows)

    def has(self, name: str) -> bool:
        """Return whether the layout has a numeric field of that name."""
        return self._letters.get(name, "Z") not in TEXT_LETTERS + "a"

    def is_whole(self, name: str) -> bool:
        """Return whether a field holds whole numbers without a unit of the letter's own."""
        return self._letters.get(name, "Z") in INTEGER_LETTERS

    def get(self, *names: str) -> FloatArray:
        """Return the first of these fields that the layout has, NaN if it has none; shape (n,)."""
        for name in names:
            if self.has(name):
                # A signalling NaN, such as damage makes, is a NaN like any other.
                with np.errstate(invalid="ignore"):
                    values = self._rows[name].astype(np.float64)
                if self._letters[name] in DIVISOR:
                    values /= DIVISOR[self._letters[name]]
                return values
        return np.full(len(self), np.nan)

    def known(self, name: str, *unknown: float, per: float = 1.0) -> FloatArray:
        """Return a field divided by `per`, NaN where it is infinite or one of `unknown`."""
        values = self.get(name)
        values[np.isinf(values) | np.isin(values, unknown)] = np.nan
        values /= per
        return values

    def instance(self, default: int) -> FloatArray:
        """Return the instance of the device that each record is of."""
        values = self.get("I", "Inst", "Instance")
        return np.where(np.isfinite(values), values, float(default))
