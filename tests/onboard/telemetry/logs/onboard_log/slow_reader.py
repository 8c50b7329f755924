"""A slow, literal implementation of the record rule, the reference of the fast scanner."""

import re
import struct
from dataclasses import dataclass
from typing import Any

MARKS = b"\xa3\x95"
STRUCT = {
    "a": "64s", "b": "b", "B": "B", "g": "e", "h": "h", "H": "H", "i": "i", "I": "I", "f": "f",
    "n": "4s", "N": "16s", "Z": "64s", "c": "h", "C": "H", "e": "i", "E": "I", "L": "i", "d": "d",
    "M": "b", "q": "q", "Q": "Q",
}  # fmt: skip
DIVIDED = {"c": 0.01, "C": 0.01, "e": 0.01, "E": 0.01, "L": 1.0e-7}


@dataclass(frozen=True)
class Read:
    at: int
    name: str
    fields: dict[str, Any]


@dataclass(frozen=True)
class Described:
    name: str
    length: int
    letters: str
    columns: list[str]


def described(record: bytes) -> tuple[int, Described] | None:
    """Return the type and layout stated by a format record; None if it is invalid."""
    kind, length, name, letters, columns = struct.unpack("<BB4s16s64s", record[3:])
    name, letters, columns = (part.split(b"\0")[0] for part in (name, letters, columns))
    if length < 3 or not re.fullmatch(rb"[A-Za-z0-9_]+", name):
        return None
    names = columns.decode("latin-1").split(",") if columns else []
    if not all(chr(letter) in STRUCT for letter in letters):
        return kind, Described(name.decode(), length, "", [])
    size = struct.calcsize("<" + "".join(STRUCT[chr(letter)] for letter in letters))
    if size + 3 != length or len(names) < len(letters):
        return None
    if kind == 128 and (name != b"FMT" or letters != b"BBnNZ"):
        return None
    return kind, Described(name.decode(), length, letters.decode(), names[: len(letters)])


def value(letter: str, stored: Any) -> Any:
    if letter == "a":
        return list(struct.unpack("<32h", stored))
    if letter in DIVIDED:
        return stored / (1 / DIVIDED[letter])
    return stored


def read(data: bytes) -> tuple[list[Read], int]:
    """Return all records, and the number of bytes that belong to none."""
    layouts = {128: Described("FMT", 89, "BBnNZ", ["Type", "Length", "Name", "Format", "Columns"])}
    pad = data[-1:] if data[-1:] in (b"\0", b"\xff") else b""
    padding_from = len(data.rstrip(pad)) if pad else len(data)
    found, bad, at = [], 0, 0
    while at < len(data):
        marked = data[at : at + 2] == MARKS and at + 2 < len(data)
        layout = layouts.get(data[at + 2]) if marked else None
        end = at + layout.length if layout else 0
        if (
            layout
            and end <= len(data)
            and (MARKS.startswith(data[end : end + 2]) or end == padding_from)
        ):
            body = data[at + 3 : end]
            stored: tuple[Any, ...] = ()
            if layout.letters:
                stored = struct.unpack("<" + "".join(STRUCT[one] for one in layout.letters), body)
            fields = {
                name: value(letter, one)
                for name, letter, one in zip(layout.columns, layout.letters, stored, strict=False)
            }
            found.append(Read(at, layout.name, fields))
            if data[at + 2] == 128 and (new := described(data[at:end])):
                layouts[new[0]] = new[1]
            at = end
        else:
            bad += 1
            at += 1
    return found, bad
