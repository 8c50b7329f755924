"""UTC of an on-board log, from the GPS week and time of week that a receiver states.

The choice of the record and the order of operations follow pymavlink 2.4.50, DFReader.py, for logs
that count microseconds since boot, so that times agree to the last bit: the first record called GPS
with a week above zero, whatever its fix; if there is no such type, the first GPS2 with a time and a
week.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.telemetry.logs.onboard_log.windows import Window

GPS_EPOCH_UNIX_S = 315_964_800
"""6 January 1980, the epoch of GPS time."""
WEEK_S = 604_800
LEAP_S = 18
"""GPS time minus UTC since 2017, as in the reference [s]."""

_NEEDED = ("TimeUS", "GWk", "GMS")


def utc_s(week: Any, milliseconds: Any) -> Any:
    """Return the Unix time [s] of a GPS week and time of week; numbers or arrays.

    Examples
    --------
    >>> utc_s(0, 18000)
    315964800.0
    """
    return GPS_EPOCH_UNIX_S + WEEK_S * week + milliseconds * 0.001 - LEAP_S


class BaseFinder:
    """Find Unix time at boot in the windows of one log."""

    def __init__(self) -> None:
        self.base_s: float | None = None
        """Unix time at boot [s]; None while no record states it."""
        self._second_base_s: float | None = None
        self._found: dict[str, bool] = {}

    def push(self, window: Window) -> None:
        """Search the next window."""
        if self.base_s is not None:
            return
        for number, layout in enumerate(window.layouts):
            if layout is None or layout.name not in ("GPS", "GPS2"):
                continue
            if layout.name == "GPS2" and self._second_base_s is not None:
                continue
            places = window.places(number)
            if not len(places) or not layout.timed or not layout.whole_numbers(*_NEEDED):
                continue
            rows = window.rows(number, places)
            self._found[layout.name] = True
            good = rows["GWk"] > 0
            if layout.name == "GPS2":
                good &= rows["TimeUS"] != 0
            which = np.flatnonzero(good)
            if len(which):
                base_s = _base_s(rows[which[0]])
                if layout.name == "GPS":
                    self.base_s = base_s
                    return
                self._second_base_s = base_s

    def finish(self) -> float | None:
        """Return Unix time at boot [s] at the end of the log, None if it is unknown."""
        if self.base_s is None and not self._found.get("GPS"):
            return self._second_base_s
        return self.base_s


def _base_s(row: np.void) -> float:
    at_s: float = utc_s(int(row["GWk"]), int(row["GMS"]))
    return at_s - int(row["TimeUS"]) * 0.000001


def stamps_s(base_s: float, time_us: npt.NDArray[Any]) -> npt.NDArray[np.float64]:
    """Return Unix time [s] of boot clock readings [us]."""
    return base_s + time_us.astype(np.float64) * 0.000001
