"""The source of a craft's messages: truth, readings, and what its autopilot knows."""

from dataclasses import dataclass

from tests.craft.sensors import Readings, Sensors
from tests.craft.truth import Truth


@dataclass(frozen=True)
class Board:
    """The autopilot's knowledge apart from its sensors."""

    cells: int
    lithium_iron: bool
    capacity_ah: float
    pole_pairs: int
    start_fraction: float
    max_power_w: float
    start_unix_s: float
    boot_s: float
    """Seconds since boot when the stream begins."""
    first_fix_s: float
    cell_voltages: bool


@dataclass(frozen=True)
class Source:
    """Everything from which the messages are made."""

    truth: Truth
    readings: Readings
    sensors: Sensors
    board: Board


def has_fix(source: Source, index: int) -> bool:
    """Return whether the GPS has a fix by this step."""
    return float(source.truth.time_s[index]) >= source.board.first_fix_s


def boot_ms(source: Source, index: int) -> int:
    """Return the autopilot's clock [ms since boot]."""
    return round((source.board.boot_s + float(source.truth.time_s[index])) * 1e3)


def unix_us(source: Source, index: int) -> int:
    """Return true time [microseconds since the Unix epoch]."""
    return round((source.board.start_unix_s + float(source.truth.time_s[index])) * 1e6)
