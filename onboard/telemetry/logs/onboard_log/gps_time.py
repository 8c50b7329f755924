"""UTC of an on-board log, from the GPS week and time of week that a receiver states.

The choice of the record and the order of operations follow pymavlink 2.4.50, DFReader.py, so that
times agree to the last bit. In logs that count microseconds since boot it is the first record
called GPS with a week above zero, whatever its fix; if there is no such type, the first GPS2 with a
time and a week. In logs that count milliseconds it is the first GPS or GPS2 with a time and a week.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.telemetry.logs.onboard_log.windows import Rows, Window
from onboard.telemetry.mavlink.checksum import Ints

GPS_EPOCH_UNIX_S = 315_964_800
"""6 January 1980, the epoch of GPS time."""
WEEK_S = 604_800
LEAP_S = 18
"""GPS time minus UTC since 2017, as in the reference [s]."""

_NEEDED = ("TimeUS", "GWk", "GMS")
_NEEDED_MS = ("T", "Week", "TimeMS")
"""Time since boot, GPS week and time of week, in both generations."""


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
        self._first_ms: tuple[int, float] | None = None
        """Place of the record of the millisecond generation, and the time at boot it states."""

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
            if not len(places) or not layout.timed:
                continue
            if layout.whole_numbers(*_NEEDED_MS):
                self._search_ms(window.rows(number, places), places)
                continue
            if not layout.whole_numbers(*_NEEDED):
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
        if self._first_ms is not None and self.base_s is None:
            self.base_s = self._first_ms[1]

    def _search_ms(self, rows: Rows, places: Ints) -> None:
        """Search records of the millisecond generation; the earliest of the window counts."""
        which = np.flatnonzero((rows["T"] != 0) & (rows["Week"] != 0))
        if not len(which):
            return
        place, row = int(places[which[0]]), rows[which[0]]
        if self._first_ms is None or place < self._first_ms[0]:
            base_s: float = utc_s(int(row["Week"]), int(row["TimeMS"])) - int(row["T"]) * 0.001
            self._first_ms = place, base_s

    def finish(self) -> float | None:
        """Return Unix time at boot [s] at the end of the log, None if it is unknown."""
        if self.base_s is None and not self._found.get("GPS"):
            return self._second_base_s
        return self.base_s


def _base_s(row: np.void) -> float:
    at_s: float = utc_s(int(row["GWk"]), int(row["GMS"]))
    return at_s - int(row["TimeUS"]) * 0.000001


def stamps_s(base_s: float, time_us: npt.NDArray[Any], tick_us: int = 1) -> npt.NDArray[np.float64]:
    """Return Unix time [s] of boot clock readings [us], counted in ticks of 1 or 1000 us."""
    if tick_us == 1:
        return base_s + time_us.astype(np.float64) * 0.000001
    return base_s + (time_us // tick_us).astype(np.float64) * 0.001
