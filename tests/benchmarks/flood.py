"""Junk on a link: the scanner's CPU time per byte, compared with that of plain frames.

However much arrives at once, a byte should cost at most 0.1 us on a laptop's core.
"""

import random
import time
from collections.abc import Iterator

from onboard.telemetry.link.base import Piece
from onboard.telemetry.link.link_scanner import LinkScanner
from tests.small_streams import Sender

PUSHES_BYTES = (2_000, 62_000, 1_000_000, 8_000_000)
ROUNDS = 3


def plain(size: int) -> bytes:
    """Return frames as on a link."""
    sender, parts, made = Sender(), [], 0
    while made < size:
        parts.append(b"".join(sender.second(100 + len(parts), 50, 10, 2)))
        made += len(parts[-1])
    return b"".join(parts)


def floods(size: int) -> dict[str, bytes]:
    """Return junk of many kinds."""
    rng = random.Random(1)
    repeated = {
        "0xFD": b"\xfd",
        "0xFE": b"\xfe",
        "0x00": b"\0",
        "0xFD 0xFE": b"\xfd\xfe",
        "0xFD 0xFF 0x00": b"\xfd\xff\0",
        "headers of MAVLink 2": b"\xfd\xff\0\0\1\1\1\x1e\0\0",
        "headers of MAVLink 1": b"\xfe\xff\1\1\1\x1e",
        "0xFE and a known id": b"\xfe\xfe\xfe\xfe\xfe\x1e",
    }
    made = {name: (part * (size // len(part) + 1))[:size] for name, part in repeated.items()}
    made["random"] = rng.randbytes(size)
    made["random markers"] = bytes(rng.choices(b"\xfe\xfd\0\x1e", k=size))
    # An unknown message without payload counts as a frame only right after another frame.
    made["no junk: unknown messages"] = plain(1)[:21] + repeated["0xFD 0xFF 0x00"].replace(
        b"\xff", b"\0"
    ) * (size // 3)
    return made


def us_per_byte(data: bytes, push_bytes: int) -> float:
    """Return the least CPU time per byte of some scans, in pushes of one size [us]."""
    pushes = [[Piece(4, data[at : at + push_bytes])] for at in range(0, len(data), push_bytes)]
    spent_s = []
    for _ in range(ROUNDS):
        scanner, began_s = LinkScanner(), time.process_time()
        for pieces in pushes:
            scanner.push(pieces)
        spent_s.append(time.process_time() - began_s)
    return min(spent_s) / len(data) * 1e6


def lines() -> Iterator[str]:
    """Yield the lines of this part."""
    for push_bytes in PUSHES_BYTES:
        size = max(push_bytes, 200_000)
        frames = us_per_byte(plain(size), push_bytes)
        yield f"flood, {push_bytes} bytes at once: plain frames {frames:.3f} us a byte"
        for name, data in floods(size).items():
            junk = us_per_byte(data, push_bytes)
            yield f"    {name}: {junk:.3f} us a byte, {junk / frames:.1f} times that of frames"
