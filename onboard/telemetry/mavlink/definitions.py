"""The MAVLink message definitions: those of pymavlink, and the few that it lacks.

pymavlink's module holds a class for each message, with everything to build and print one. To load
its two megabytes costs more than to read an hour of a log, so what is needed of them stands in
`definitions.txt`, a line each: id, name, CRC_EXTRA, then the fields in wire order with their types.
`python -m onboard.telemetry.mavlink` writes that file anew; a test holds it equal to pymavlink.
"""

from functools import cache
from pathlib import Path

from onboard.dataclass import dataclass

FILE = Path(__file__).with_name("definitions.txt")

HEAD = "# Written by `python -m onboard.telemetry.mavlink` from pymavlink's definitions."


@dataclass(frozen=True)
class Definition:
    """One message.

    Parameters
    ----------
    name
        In capitals.
    crc_extra
        The byte appended to the checksummed bytes.
    fields
        In wire order, extensions last: name, C type, and length where it is an array, else 0.
    """

    name: str
    crc_extra: int
    fields: tuple[tuple[str, str, int], ...]


ADDED = {
    291: Definition(
        "ESC_STATUS",
        10,
        (
            ("time_usec", "uint64_t", 0),
            ("rpm", "int32_t", 4),
            ("voltage", "float", 4),
            ("current", "float", 4),
            ("index", "uint8_t", 0),
        ),
    ),
}
"""Definitions that pymavlink lacks, by message id. Field order and CRC_EXTRA as in MAVLink's common
message set (its generated C headers). ESC_INFO (290) is lacking too and stays unknown, because two
forms of it exist."""


@cache
def lines() -> dict[int, str]:
    """Return the line of each message, without the id that it begins with, by id."""
    pairs = (line.split(" ", 1) for line in FILE.read_text("ascii").splitlines()[1:])
    return {int(number): rest for number, rest in pairs}


def definition(message_id: int) -> Definition:
    """Return the definition of a message.

    Raises
    ------
    KeyError
        If there is none.
    """
    name, crc_extra, *fields = lines()[message_id].split(" ")
    split = (field.split(":") for field in fields)
    return Definition(
        name, int(crc_extra), tuple((one, kind, int(length)) for one, kind, length in split)
    )


@cache
def numbers() -> dict[str, int]:
    """Return the ids of all messages, by name."""
    return {line.split(" ", 1)[0]: number for number, line in lines().items()}


def crc_extra_of_all() -> dict[int, int]:
    """Return CRC_EXTRA of all messages, by id."""
    return {number: int(line.split(" ", 2)[1]) for number, line in lines().items()}


def as_line(message_id: int, message: Definition) -> str:
    """Return the line of a message in `definitions.txt`."""
    fields = (f"{name}:{kind}:{length}" for name, kind, length in message.fields)
    return " ".join([str(message_id), message.name, str(message.crc_extra), *fields])
