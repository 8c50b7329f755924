"""Columns that grow while a log is read: compact, as stored, and scaled only at the end."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.telemetry.logs.onboard_log.record_layouts import DIVISOR, RecordClock, RecordLayout
from onboard.telemetry.mavlink.checksum import Ints

Array = npt.NDArray[Any]

_AHEAD_MOST = 8.0
"""Bounds of a column's growth. The room needed is extrapolated from the share of the file read, but
the first window of a log holds records that do not come again."""
_AHEAD_LEAST = 1.25


class GrowingColumn:
    """One field of one layout, in order of arrival."""

    def __init__(self, stored: np.dtype[Any]) -> None:
        self._buffer = np.empty(0, stored)
        self._count = 0

    def append(self, values: Array, read_fraction: float) -> None:
        """Append values.

        Parameters
        ----------
        values
            The values, shape (n,) or (n, 32).
        read_fraction
            Share of the file read so far, these values included.
        """
        needed = self._count + len(values)
        if needed > len(self._buffer):
            ahead = min(max(1.05 / read_fraction, _AHEAD_LEAST), _AHEAD_MOST)
            room = needed if read_fraction >= 1.0 else int(needed * ahead)
            # Room that is never written takes no memory.
            grown = np.empty((room, *values.shape[1:]), values.dtype)
            grown[: self._count] = self._buffer[: self._count] if self._count else 0
            self._buffer = grown
        self._buffer[self._count : needed] = values
        self._count = needed

    def take(self, letter: str) -> Array:
        """Return the values in the unit of the format letter, and release them."""
        stored, self._buffer = self._buffer, np.empty(0)
        if letter in DIVISOR:
            scaled = stored[: self._count].astype(np.float64)
            scaled /= DIVISOR[letter]
            return scaled
        stored.resize((self._count, *stored.shape[1:]), refcheck=False)
        return stored


class Table:
    """All records of one name: columns of the fields of each layout that the name has had."""

    def __init__(self, wanted: Sequence[str] | None) -> None:
        self._wanted = wanted
        self._columns: dict[int, dict[str, GrowingColumn]] = {}
        self._layouts: dict[int, RecordLayout] = {}
        self._runs: list[tuple[int, int]] = []
        """Layout number and length of each run of records of one layout, in order."""

    def append(self, number: int, layout: RecordLayout, rows: Array, read_fraction: float) -> None:
        """Append records of one layout; `order` places them among those of other layouts."""
        if number not in self._columns:
            self._layouts[number] = layout
            names = layout.letters if self._wanted is None else self._wanted
            own = {
                name: GrowingColumn(layout.fields[name]) for name in names if name in layout.letters
            }
            if layout.clock is not None and layout.clock.name not in own:
                own[layout.clock.name] = GrowingColumn(layout.fields[layout.clock.name])
            self._columns[number] = own
        for name, column in self._columns[number].items():
            column.append(rows[name], read_fraction)

    def order(self, numbers: Ints) -> None:
        """State the layout numbers of the records appended last, in their order, shape (n,)."""
        bounds = np.flatnonzero(numbers[1:] != numbers[:-1]) + 1
        for run in np.split(numbers, bounds):
            number, count = int(run[0]), len(run)
            if self._runs and self._runs[-1][0] == number:
                count += self._runs.pop()[1]
            self._runs.append((number, count))

    @property
    def clock(self) -> RecordClock | None:
        """The field that states the time of at least some of the records; None if none does."""
        clocks = [one.clock for one in self._layouts.values() if one.clock is not None]
        # Of a name that had both, the finer one.
        return min(clocks, key=lambda clock: clock.tick_us, default=None)

    def take(self) -> dict[str, Array]:
        """Return the columns and release them; NaN (or no text) where a layout lacks a field."""
        if len(self._columns) == 1:
            ((number, columns),) = self._columns.items()
            letters = self._layouts[number].letters
            return {name: columns[name].take(letters[name]) for name in list(columns)}
        which = np.repeat(*np.array(self._runs).T)
        names = dict.fromkeys(name for columns in self._columns.values() for name in columns)
        return {name: self._merged(name, which) for name in names}

    def _merged(self, name: str, which: Ints) -> Array:
        """Return the column of one field, merged from all layouts in the records' order."""
        parts = {
            number: columns[name].take(self._layouts[number].letters[name])
            for number, columns in self._columns.items()
            if name in columns
        }
        shapes = {values.shape[1:] for values in parts.values()}
        kinds = {values.dtype.kind == "S" for values in parts.values()}
        if len(shapes) > 1 or len(kinds) > 1:
            # Text and number, or array and number, share no column: the newest kind counts.
            newest = list(parts.values())[-1]
            parts = {
                number: values
                for number, values in parts.items()
                if values.shape[1:] == newest.shape[1:]
                and (values.dtype.kind == "S") == (newest.dtype.kind == "S")
            }
        stored = np.result_type(*parts.values())
        if stored.kind != "S" and not np.isin(which, list(parts)).all():
            stored = np.result_type(stored, np.float64)
        shape = next(iter(parts.values())).shape[1:]
        empty = b"" if stored.kind == "S" else np.nan if stored.kind == "f" else 0
        whole = np.full((len(which), *shape), empty, stored)
        # A signalling NaN, such as damage makes, is a NaN like any other.
        with np.errstate(invalid="ignore"):
            for number, values in parts.items():
                whole[which == number] = values
        return whole
