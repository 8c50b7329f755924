"""The MAVLink message definitions: those of pymavlink, and the few that it lacks.

pymavlink's module holds a class for each message, with everything to build and print one: six
megabytes that nothing here needs. It is dropped once read; a later import
gets a fresh copy.
"""

import gc
import importlib
import sys
from dataclasses import dataclass

_PACKAGE, _NAME = "pymavlink.dialects.v20", "all"


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


def _read() -> dict[int, Definition]:
    module = f"{_PACKAGE}.{_NAME}"
    imported_before = module in sys.modules
    dialect = importlib.import_module(module)
    definitions = {}
    for number, message in dialect.mavlink_map.items():
        types = dict(zip(message.fieldnames, message.fieldtypes, strict=True))
        names = message.ordered_fieldnames
        lengths = message.array_lengths
        fields = tuple((n, types[n], length) for n, length in zip(names, lengths, strict=True))
        definitions[number] = Definition(message.msgname, message.crc_extra, fields)
    if not imported_before:
        del sys.modules[module]
        delattr(sys.modules[_PACKAGE], _NAME)
        # Its functions and classes refer to each other by it.
        vars(dialect).clear()
        gc.collect()
    return definitions | ADDED


DEFINITIONS = _read()
"""By message id."""
