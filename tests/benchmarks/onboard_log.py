"""On-board logs to columns, against the same columns read with pymavlink and its compiled index."""

from array import array
from pathlib import Path

from pymavlink import DFReader

from onboard.telemetry.logs.onboard_log.records import LogRecords, read_records
from tests.benchmarks.rows import Row, given
from tests.craft.onboard_log import onboard_log_bytes
from tests.craft.recording import record
from tests.craft.scenarios import SCENARIOS

WANTED = {
    "GPS": ["TimeUS", "Status", "Lat", "Lng", "Spd", "GCrs", "GMS", "GWk"],
    "BAT": ["TimeUS", "Volt", "Curr", "CurrTot", "EnrgTot"],
    "ESC": ["TimeUS", "RPM", "Volt", "Curr"],
    "MODE": ["TimeUS", "ModeNum"],
    "ATT": ["TimeUS", "Roll", "Pitch", "Yaw"],
}


def made_log(path: Path) -> None:
    """Write the log of the simulated skiff's hour."""
    path.write_bytes(onboard_log_bytes(record(SCENARIOS["long_cruise"])))


def ours(path: Path) -> dict[str, LogRecords]:
    """Read the wanted fields as columns."""
    return read_records(path, WANTED)


def theirs(path: Path) -> dict[str, dict[str, "array[float]"]]:
    """Read the same with pymavlink, in the leanest loop that it allows."""
    columns = {name: {field: array("d") for field in fields} for name, fields in WANTED.items()}
    appends = {
        name: [(field, column.append) for field, column in own.items()]
        for name, own in columns.items()
    }
    with DFReader.DFReader_binary(str(path)) as log:
        while (message := log.recv_match(type=list(WANTED))) is not None:
            # It returns some more types, to keep track of modes and parameters.
            for field, append in appends.get(message.fmt.name, ()):
                append(getattr(message, field))
    return columns


def ours_whole(path: Path) -> dict[str, LogRecords]:
    """Read every field of every type."""
    return read_records(path)


def theirs_whole(path: Path) -> int:
    """Visit every record with pymavlink, without access to any field."""
    count = 0
    with DFReader.DFReader_binary(str(path)) as log:
        while log.recv_msg() is not None:
            count += 1
    return count


def rows(hour: Path) -> list[Row]:
    """Return the comparisons of this part, on the log of an hour."""
    return [
        Row(
            "on-board log, 5 types, wanted fields / recv_match(type) and its fields",
            given(ours, hour),
            given(theirs, hour),
            45,
            70,
        ),
        Row(
            "on-board log, every field of every type / recv_msg(), no field",
            given(ours_whole, hour),
            given(theirs_whole, hour),
        ),
    ]


def same(path: Path) -> bool:
    """Return whether both read exactly equal values."""
    mine = ours(path)
    return all(
        mine[name].columns[field].tolist() == column.tolist()
        for name, own in theirs(path).items()
        for field, column in own.items()
    )
