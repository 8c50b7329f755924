"""The bytes of floods: bytes that form no frame, or sound frames of another system.

They are made from a seed and need not be stored: those in a record can be recognized.
"""

import functools
import random

from tests.faults.soak_craft import Autopilot, Craft

OTHER = 77
"""System id of the other system."""

KINDS = ("fd", "fe", "random", "headers", "other")
HEAD_BYTES = 12

Flood = tuple[str, int, int, float]
"""Kind, size [bytes], seed, and start [s]."""


@functools.lru_cache(maxsize=4)
def junk(kind: str, size: int, seed: int) -> bytes:
    """Return a flood's bytes."""
    chance = random.Random(seed)
    if kind == "fd":
        return b"\xfd" * size
    if kind == "fe":
        return b"\xfe" * size
    if kind == "random":
        return chance.randbytes(size)
    if kind == "headers":
        return _headers(size, chance)
    return b"".join(others(size, seed))


def _headers(size: int, chance: random.Random) -> bytes:
    """Return headers of known messages without their payloads, in immediate succession."""
    known = (0, 1, 2, 24, 30, 33, 147)
    pool = []
    for _ in range(2000):
        number = chance.choice(known).to_bytes(3, "little")
        if chance.random() < 0.5:
            head = bytes((0xFD, chance.choice((28, 255)), 0, 0, chance.randrange(256), 1, 1))
            head += number
        else:
            head = bytes((0xFE, chance.choice((28, 255)), chance.randrange(256), 1, 1, number[0]))
        pool.append(head + chance.randbytes(chance.randrange(4)))
    return b"".join(chance.choices(pool, k=size // 6))[:size]


@functools.lru_cache(maxsize=4)
def others(size: int, seed: int) -> tuple[bytes, ...]:
    """Return frames of another system, as many as fit."""
    craft, autopilot, made, total, number = Craft(seed), Autopilot(OTHER), [], 0, 0
    while total < min(size, 1 << 18):
        craft.step()
        for frame in autopilot.frames(craft, number, 100 + number * 0.2, 1.7e9 + number * 0.2):
            made.append(frame)
            total += len(frame)
        number += 1
    # Packed once and sent repeatedly: packing all would take longer than sending.
    return tuple((made * (size // total + 1))[: max(len(made) * size // total, 1)])


def datagrams(kind: str, size: int, seed: int, most: int) -> list[bytes]:
    """Return the datagrams of a flood."""
    if kind == "other":
        return list(others(size, seed))
    data = junk(kind, size, seed)
    return [data[begin : begin + most] for begin in range(0, len(data), most)]


def may_hold(kind: str, size: int, seed: int, frame: bytes) -> bool:
    """Return whether a recorded frame, or its header, may come from a flood."""
    if kind == "other":
        return len(frame) > 5 and OTHER in (frame[3], frame[5])
    if kind in ("fd", "fe"):
        return frame[:3] == junk(kind, 3, seed)
    return frame[:HEAD_BYTES] in junk(kind, size, seed)
