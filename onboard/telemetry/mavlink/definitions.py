"""What is used of pymavlink's definitions of messages.

Its module has a class for each message, with all that makes and prints one: six megabytes that
nobody here needs, so it is let go once it was read. Who imports it anew gets one of his own.
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
        The byte that its checksum ends with.
    fields
        In wire order, extensions last: name, type in C, and length where it is an array, else 0.
    """

    name: str
    crc_extra: int
    fields: tuple[tuple[str, str, int], ...]


def _read() -> dict[int, Definition]:
    module = f"{_PACKAGE}.{_NAME}"
    others_use_it = module in sys.modules
    dialect = importlib.import_module(module)
    found = {}
    for number, message in dialect.mavlink_map.items():
        types = dict(zip(message.fieldnames, message.fieldtypes, strict=True))
        names = message.ordered_fieldnames
        lengths = message.array_lengths
        fields = tuple((n, types[n], length) for n, length in zip(names, lengths, strict=True))
        found[number] = Definition(message.msgname, message.crc_extra, fields)
    if not others_use_it:
        del sys.modules[module]
        delattr(sys.modules[_PACKAGE], _NAME)
        # Its functions and classes refer to each other by it.
        vars(dialect).clear()
        gc.collect()
    return found


DEFINITIONS = _read()
"""By message id."""
