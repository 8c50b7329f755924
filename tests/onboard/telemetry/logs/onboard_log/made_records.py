"""Streams of records of made-up layouts, clean or damaged."""

import random
import struct

from hypothesis import strategies as st

from tests.craft.onboard_kinds import FMT, Kind, format_record

LETTERS = "bBhHiIfdnNZcCeELMqQga"
NAMES = ("AA", "BB", "CCC", "DDDD", "GPS")
NUMBERS = (1, 2, 3, 149, 163, 255)
"""Two of the type numbers are the marks themselves."""


def made_kind(rng: random.Random) -> Kind:
    letters = "Q" if rng.random() < 0.7 else ""
    while len(letters) < rng.randrange(1, 12):
        letter = rng.choice(LETTERS)
        if struct.calcsize("<" + "".join(_code(one) for one in letters + letter)) > 252:
            break
        letters += letter
    letters = letters or "B"
    names = ["TimeUS" if letters[0] == "Q" else "F0", *(f"F{n}" for n in range(1, len(letters)))]
    return Kind(rng.choice(NUMBERS), rng.choice(NAMES), letters, ",".join(names))


def _code(letter: str) -> str:
    sizes = {"a": "64s", "n": "4s", "N": "16s", "Z": "64s", "g": "e", "M": "b"}
    return {**sizes, "c": "h", "C": "H", "e": "i", "E": "I", "L": "i"}.get(letter, letter)


def made_record(rng: random.Random, kind: Kind) -> bytes:
    """Return a record of random fields; some contain the marks, or the start of a record."""
    size = kind.stored.itemsize - 3
    body = bytearray(rng.randbytes(size))
    if rng.random() < 0.3:
        body[:] = bytes(rng.choice([0, 0xA3, 0x95, 128, kind.number]) for _ in range(size))
    if size >= 2 and rng.random() < 0.2:
        at = rng.randrange(size - 1)
        body[at : at + 2] = b"\xa3\x95"
    return bytes([0xA3, 0x95, kind.number]) + bytes(body)


@st.composite
def streams(draw: st.DrawFn) -> bytes:
    """Draw formats and records in any order, with junk between, cuts and padding."""
    rng = random.Random(draw(st.integers(0, 2**32)))
    known: dict[int, Kind] = {}
    stream = b""
    for step in draw(st.lists(st.sampled_from("frrrrrrrugbcFn"), max_size=40)):
        part = b""
        if step in "fFn" or not known:
            kind = made_kind(rng)
            part = format_record(kind)
            if step == "F" and known:
                part = format_record(rng.choice(list(known.values())))
            elif step == "n":
                # A format inside another record, where it counts for nothing.
                outer = Kind(9, "OUT", "ZNQHB", "F0,F1,F2,F3,F4")
                inside = format_record(rng.choice([kind, *known.values()])) + b"\xa3\x95"
                part = format_record(outer) + bytes([0xA3, 0x95, 9]) + inside
            else:
                known[kind.number] = kind
        elif step == "g":
            junk = [0, 0, 255, 0xA3, 0xA3, 0x95, 128, 1, 2]
            part = bytes(rng.choice(junk) for _ in range(rng.randrange(1, 60)))
        elif step == "u":
            part = bytes([0xA3, 0x95, 77]) + rng.randbytes(rng.randrange(40))
        else:
            part = made_record(rng, rng.choice(list(known.values())))
            if step == "b":
                broken = bytearray(part)
                broken[rng.randrange(len(broken))] ^= 1 << rng.randrange(8)
                part = bytes(broken)
            if step == "c":
                part = part[: rng.randrange(1, len(part))]
        stream += part
    stream += draw(st.sampled_from([b"", b"", bytes(50), b"\xff" * 300, b"\xa3", b"\xa3\x95"]))
    return stream


def made_letters_log(seed: int, count: int) -> bytes:
    """Return a clean log in which every format letter occurs."""
    rng = random.Random(seed)
    groups = ("QbBhHiIfd", "QnNZ", "QcCeELMqg", "Qa", "QaZ")
    kinds = [
        Kind(
            n + 1,
            f"T{n}",
            letters,
            ",".join(["TimeUS", *(f"F{k}" for k in range(1, len(letters)))]),
        )
        for n, letters in enumerate(groups)
    ]
    parts = [format_record(FMT), *(format_record(kind) for kind in kinds)]
    for number in range(count):
        kind = rng.choice(kinds)
        size = kind.stored.itemsize - 11
        stamp = (1000 * number).to_bytes(8, "little")
        body = bytes(
            rng.choice([rng.randrange(256), rng.randrange(65, 91), 0]) for _ in range(size)
        )
        parts.append(bytes([0xA3, 0x95, kind.number]) + stamp + body)
    return b"".join(parts)
