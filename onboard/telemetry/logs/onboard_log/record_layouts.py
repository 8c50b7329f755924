"""The layouts of records, as stated by the log's own format records.

A record is two marks (A3 95), a type number and the fields; a format record (type 128, 89 bytes)
states a type's name and length and, with a letter for each field, how the field is stored. Source
of the letters and their divisors: pymavlink 2.4.50, DFReader.py.
"""

import string
from collections.abc import Mapping
from functools import cached_property
from typing import Any

import numpy as np

from onboard.dataclass import dataclass

INTEGER_LETTERS = "bBhHiIMqQ"
TEXT_LETTERS = "nNZ"

FORMAT_TYPE = 128
HEADER_BYTES = 3
LONGEST_BYTES = 255
"""Longest record: a format record states the length in one byte."""

STORED: Mapping[str, str] = {
    "a": "(32,)<i2",
    "b": "<i1",
    "B": "<u1",
    "g": "<f2",
    "h": "<i2",
    "H": "<u2",
    "i": "<i4",
    "I": "<u4",
    "f": "<f4",
    "d": "<f8",
    "n": "S4",
    "N": "S16",
    "Z": "S64",
    "c": "<i2",
    "C": "<u2",
    "e": "<i4",
    "E": "<u4",
    "L": "<i4",
    "M": "<i1",
    "q": "<i8",
    "Q": "<u8",
}

DIVISOR: Mapping[str, float] = {
    # Written as the quotient that the reference divides by, so that the last bit agrees.
    **dict.fromkeys("cCeE", 1 / 0.01),
    "L": 1 / 1.0e-7,
}

_FORMAT_FIELDS = np.dtype(
    [("type", "u1"), ("length", "u1"), ("name", "S4"), ("letters", "S16"), ("columns", "S64")]
)
FORMAT_BYTES = HEADER_BYTES + _FORMAT_FIELDS.itemsize
_NAME_CHARACTERS = frozenset((string.ascii_letters + string.digits + "_").encode())


@dataclass(frozen=True)
class RecordClock:
    """A field that states the time since boot.

    Parameters
    ----------
    name
        The field.
    letters
        Letters in which it is stored.
    tick_us
        Its unit [us].
    """

    name: str
    letters: str
    tick_us: int


_CLOCKS = {
    clock.name: clock
    for clock in (
        RecordClock("TimeUS", "qQ", 1),
        RecordClock("TimeMS", "iI", 1000),
        RecordClock("T", "iI", 1000),
    )
}
"""The clocks of both generations: microseconds in the first field, or milliseconds there. Source:
pymavlink 2.4.50, DFReader.py."""

_STAMPED_LAST = ("GPS", "GPS2")
"""Records of the millisecond generation that state the time since boot in `T`, their last field:
their `TimeMS` is the GPS time of week."""

_OWN_CLOCKS = ("ACC", "GYR")
"""Beginnings of the names of records whose `TimeMS` is a sensor's own clock."""


@dataclass(frozen=True)
class RecordLayout:
    """The layout of one type of record.

    Parameters
    ----------
    type
        Number in the record's header.
    name
        Name in the log.
    length
        Length of a record, header included [bytes].
    letters
        Format letter of each field, by field name, in the record's order.
    fields
        The fields as stored, behind the header; empty if a letter is unknown.
    """

    type: int
    name: str
    length: int
    letters: Mapping[str, str]
    fields: np.dtype[Any]

    @cached_property
    def clock(self) -> "RecordClock | None":
        """The field that states the time since boot of each record; None if none does."""
        first = next(iter(self.letters), "")
        name = "T" if self.name in _STAMPED_LAST and "T" in self.letters else first
        clock = _CLOCKS.get(name)
        if clock is None or self.letters[name] not in clock.letters:
            return None
        if name == "TimeMS" and self.name.startswith(_OWN_CLOCKS + _STAMPED_LAST):
            return None
        if first == "TimeUS" and name == "T":
            return None
        return clock

    @property
    def timed(self) -> bool:
        """Whether each record states its time since boot."""
        return self.clock is not None

    def offset(self, name: str) -> int:
        """Return a field's offset behind the header [bytes]."""
        fields = self.fields.fields
        assert fields is not None
        return int(fields[name][1])

    def whole_numbers(self, *names: str) -> bool:
        """Return whether all these fields exist and hold whole numbers."""
        return all(self.letters.get(name, "-") in INTEGER_LETTERS for name in names)

    def texts(self, name: str) -> bool:
        """Return whether this field exists and holds text."""
        return self.letters.get(name, "-") in TEXT_LETTERS


def text(value: bytes) -> str:
    r"""Return a text field as text: up to its first zero byte.

    Examples
    --------
    >>> text(b"Ready\x00")
    'Ready'
    """
    try:
        whole = bytes(value).decode("utf-8")
    except UnicodeDecodeError:
        whole = bytes(value).decode("iso-8859-1")
    return whole.split("\0", 1)[0]


def layout_of(record: bytes) -> RecordLayout | None:
    """Return the layout stated by a format record, None if it is not consistent.

    The name must be of letters and digits, and the fields must fill the length exactly. A layout
    with an unknown letter keeps its length only.
    """
    row = np.frombuffer(record, _FORMAT_FIELDS, 1, HEADER_BYTES)[0]
    kind, length, raw_name = int(row["type"]), int(row["length"]), bytes(row["name"])
    letters = text(bytes(row["letters"]))
    name = raw_name.split(b"\0", 1)[0]
    if length < HEADER_BYTES or not name or not _NAME_CHARACTERS.issuperset(name):
        return None
    columns = text(bytes(row["columns"]))
    names = columns.split(",") if columns else []
    if not set(letters) <= set(STORED):
        return RecordLayout(kind, name.decode(), length, {}, np.dtype([]))
    stored = [np.dtype(STORED[letter]) for letter in letters]
    offsets = np.cumsum([0, *(column.itemsize for column in stored)]).tolist()
    if offsets[-1] != length - HEADER_BYTES or len(names) < len(letters):
        return None
    if kind == FORMAT_TYPE and (length != FORMAT_BYTES or name != b"FMT" or letters != "BBnNZ"):
        return None
    # Of two fields with the same name the last one counts.
    last = {field: n for n, field in enumerate(names[: len(letters)])}
    return RecordLayout(
        kind,
        name.decode(),
        length,
        {field: letters[n] for field, n in last.items()},
        np.dtype(
            {
                "names": list(last),
                "formats": [stored[n] for n in last.values()],
                "offsets": [offsets[n] for n in last.values()],
                "itemsize": length - HEADER_BYTES,
            }
        ),
    )


def format_record(kind: int, name: str, length: int, letters: str, columns: str) -> bytes:
    """Return the format record of a layout."""
    row = np.zeros((), _FORMAT_FIELDS)
    row["type"], row["length"], row["name"] = kind, length, name.encode()
    row["letters"], row["columns"] = letters.encode(), columns.encode()
    return bytes([0xA3, 0x95, FORMAT_TYPE]) + row.tobytes()


OWN_RECORD = format_record(
    FORMAT_TYPE, "FMT", FORMAT_BYTES, "BBnNZ", "Type,Length,Name,Format,Columns"
)
"""The format record that describes format records; a log may lack it."""
