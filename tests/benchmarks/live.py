"""A live link's bytes in reads of several sizes, against `MAVLink.parse_buffer`.

Reads are combined every fifth of a second, as in the daemon.
"""

from collections.abc import Iterator
from pathlib import Path

import pymavlink.dialects.v20.all as dialect

from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.messages.decoder import Decoder
from tests.benchmarks.rows import Row, given
from tests.craft.telemetry_log import log_frames

READS = (256, 1024, 8192)
SECONDS = 900.0
BYTES_PER_S = {"this link": None, "a link at 115,200 baud": 11_520}
TICKS_PER_S = 5


def link_bytes(path: Path) -> bytes:
    """Return the bytes of the log's first minutes, without stamps."""
    return b"".join(frame.data for frame in log_frames(path) if frame.time_s < SECONDS)


def reads(data: bytes, size: int) -> Iterator[bytes]:
    """Split the bytes into reads of one size."""
    return (data[at : at + size] for at in range(0, len(data), size))


def ticks(data: bytes, size: int, bytes_per_s: float) -> list[list[tuple[int, bytes]]]:
    """Group the reads as the daemon does, five times a second."""
    taken: dict[int, list[tuple[int, bytes]]] = {}
    for number, piece in enumerate(reads(data, size)):
        second = number * size / bytes_per_s
        taken.setdefault(int(second * TICKS_PER_S), []).append((int(second * 1e6), piece))
    return list(taken.values())


def parse_buffer(data: bytes, size: int) -> None:
    """Parse with pymavlink."""
    parser = dialect.MAVLink(None)
    parser.robust_parsing = True
    for piece in reads(data, size):
        parser.parse_buffer(piece)


def scan(taken: list[list[tuple[int, bytes]]]) -> None:
    """Find and check frames, as for the recorder and the decoder."""
    scanner = LinkScanner()
    for pieces in taken:
        scanner.push(pieces)


def decode(taken: list[list[tuple[int, bytes]]]) -> None:
    """Decode to blocks of SI columns, every fifth of a second."""
    scanner, decoder = LinkScanner(), Decoder()
    for pieces in taken:
        decoder.push(scanner.push(pieces))


def rows(hour: Path) -> list[Row]:
    """Return the comparisons of this part."""
    data = link_bytes(hour)
    found = []
    for link, bytes_per_s in BYTES_PER_S.items():
        rate = bytes_per_s or len(data) / SECONDS
        for size in READS:
            taken, theirs = ticks(data, size, rate), given(parse_buffer, data, size)
            about = f"live, {link}, reads of {size} bytes"
            found.append(Row(f"{about}, frames / parse_buffer", given(scan, taken), theirs, 6, 10))
        found.append(Row(f"{about}, blocks / parse_buffer", given(decode, taken), theirs))
    return found
