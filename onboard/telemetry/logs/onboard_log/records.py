"""The records of a whole on-board log as columns, under the log's own names."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from onboard.dataclass import dataclass
from onboard.telemetry.logs.log_files import Progress
from onboard.telemetry.logs.onboard_log import gps_time
from onboard.telemetry.logs.onboard_log.growing_columns import Table
from onboard.telemetry.logs.onboard_log.instances import InstanceFields
from onboard.telemetry.logs.onboard_log.windows import WINDOW_BYTES, Window, windows
from onboard.telemetry.mavlink.checksum import Ints


@dataclass(frozen=True)
class LogRecords:
    """All records of one name, in the order of the file.

    Parameters
    ----------
    time_us
        Boot clock of each record [us], int64 of shape (n,); float with NaN where only some records
        state it; None where none does.
    columns
        Columns by field name, shape (n,), or (n, 32) where the field is an array; in the unit of
        its format letter. NaN where a record's layout lacks the field. Texts are bytes of fixed
        length: see `record_layouts.text`.
    instance
        Field that numbers several devices of one kind, None if the log names none.
    base_s
        Unix time at boot [s], None where no GPS receiver stated it.
    count
        Number of records.
    tick_us
        Unit of the log's own stamps [us]: 1, or 1000 in older logs.
    """

    time_us: npt.NDArray[Any] | None
    columns: Mapping[str, npt.NDArray[Any]]
    instance: str | None
    base_s: float | None
    count: int
    tick_us: int = 1

    def __len__(self) -> int:
        """Return the number of records."""
        return self.count

    def __getitem__(self, name: str) -> npt.NDArray[Any]:
        """Return the column of a field."""
        return self.columns[name]

    @property
    def utc_s(self) -> npt.NDArray[np.float64] | None:
        """Unix time of each record [s], shape (n,); None where it is unknown."""
        if self.time_us is None or self.base_s is None:
            return None
        return gps_time.stamps_s(self.base_s, self.time_us, self.tick_us)


def read_records(
    path: Path,
    wanted: Mapping[str, Sequence[str]] | None = None,
    *,
    window_bytes: int = WINDOW_BYTES,
    progress: Progress | None = None,
) -> dict[str, LogRecords]:
    """Read an on-board log's records as columns.

    Parameters
    ----------
    path
        The log.
    wanted
        Names of records, and the fields of each; a field that the log lacks is left out. None:
        every field of every type.
    window_bytes
        Bytes to read at a time; the result does not depend on it.
    progress
        Called after each window with the bytes read so far.

    Returns
    -------
    dict of str to LogRecords
        By name; no entry for names without records.

    Raises
    ------
    LogError
        If the file cannot be read, or holds no record.
    """
    tables: dict[str, Table] = {}
    counts: dict[str, int] = {}
    instances = InstanceFields()
    base = gps_time.BaseFinder()
    for window in windows(path, window_bytes, progress=progress):
        base.push(window)
        instances.push(window)
        for name, parts in _by_name(window, wanted).items():
            table = tables.setdefault(name, Table(None if wanted is None else wanted[name]))
            for number, places in parts:
                layout = window.layouts[number]
                assert layout is not None
                table.append(
                    number,
                    layout,
                    window.rows(number, places),
                    window.end / window.file_bytes,
                )
                counts[name] = counts.get(name, 0) + len(places)
            table.order(_in_order(parts))
    base_s = base.finish()
    found = {}
    for name in list(tables):
        table = tables.pop(name)
        clock, columns = table.clock, table.take()
        time_us, tick_us = None, 1
        if clock is not None:
            time_us, tick_us = _in_us(columns[clock.name], clock.tick_us), clock.tick_us
            if wanted is not None and clock.name not in wanted[name]:
                del columns[clock.name]
        found[name] = LogRecords(
            time_us, columns, instances.field(name), base_s, counts[name], tick_us
        )
    return found


def _in_us(stamps: npt.NDArray[Any], tick_us: int) -> npt.NDArray[Any]:
    """Return stamps in microseconds; whole numbers stay whole."""
    if stamps.dtype == np.uint64:
        return stamps.view(np.int64)
    return stamps.astype(np.int64 if stamps.dtype.kind in "iu" else np.float64) * tick_us


def _by_name(
    window: Window, wanted: Mapping[str, Sequence[str]] | None
) -> dict[str, list[tuple[int, Ints]]]:
    """Return the wanted records by name: layout numbers, and the records of each."""
    found: dict[str, list[tuple[int, Ints]]] = {}
    if wanted is None:
        for number, places in window.by_layout():
            layout = window.layouts[number]
            assert layout is not None
            found.setdefault(layout.name, []).append((number, places))
        return found
    for number, layout in enumerate(window.layouts):
        if layout is not None and layout.name in wanted:
            places = window.places(number)
            if len(places):
                found.setdefault(layout.name, []).append((number, places))
    return found


def _in_order(parts: list[tuple[int, Ints]]) -> Ints:
    """Return the layout number of each record, in the order of the records."""
    if len(parts) == 1:
        return np.full(len(parts[0][1]), parts[0][0])
    places = np.concatenate([places for _, places in parts])
    numbers = np.concatenate([np.full(len(places), number) for number, places in parts])
    return numbers[np.argsort(places)]
