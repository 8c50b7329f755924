"""Mutated bytes through both scanners: no exception, no growing buffer, and a known pace.

python -m tests.faults.fuzz --bytes 10000000 [--seed N]
"""

import argparse
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass

from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.mavlink.frames import STAMP_BYTES
from onboard.telemetry.mavlink.log_scanner import LogScanner
from tests.small_streams import Sender

REST_MOST_BYTES = 600
"""Limit on undecided bytes: two of the longest records and a few bytes suffice to decide."""

MARKERS = b"\xfd\xfe"
UNKNOWN = bytes.fromhex("fd0100000001013be20077abcd")
SIGNED = bytes.fromhex("fd090100ef0102000000050000000203590303c98b00ffffffffffff2718b168ccf5")


@dataclass
class Outcome:
    """Result of a run."""

    fed_bytes: int = 0
    frames: int = 0
    bad_bytes: int = 0
    undecided_bytes: int = 0
    """Bytes fed to the present scanner and not yet returned as frames or bad bytes."""
    rest_most_bytes: int = 0
    slowest_read_us_per_byte: float = 0.0
    seconds: float = 0.0

    def __str__(self) -> str:
        return (
            f"{self.fed_bytes} bytes, {self.frames} frames, {self.bad_bytes} bad bytes, "
            f"held at most {self.rest_most_bytes} bytes, "
            f"{self.seconds / max(self.fed_bytes, 1) * 1e6:.3f} us a byte "
            f"(slowest read of 1 kB and more {self.slowest_read_us_per_byte:.3f})"
        )


def sound(chance: random.Random, stamped: bool) -> Iterator[bytes]:
    """Yield frames of all kinds endlessly: both versions, signed, unknown, full of markers."""
    senders = [Sender(), Sender(2, 7, version_1=True)]
    for n in range(1 << 62):
        sender = chance.choice(senders)
        frame = chance.choice(
            [
                lambda sender=sender, n=n: sender.attitude(n % 4_000_000),
                lambda sender=sender: sender.gps(2.0),
                lambda sender=sender: sender.sys_status(50, 10),
                lambda sender=sender: sender.battery_status(50, 10),
                sender.heartbeat,
                lambda: UNKNOWN,
                lambda: SIGNED,
                # An unknown message filled with markers: each may begin a frame.
                lambda: b"\xfd\xff\x00\x00\x00\x01\x01\x3b\xe2\x00" + b"\xfd\x10\x00" * 85 + b"zz",
            ]
        )()
        yield (n * 4).to_bytes(8, "big") + frame if stamped else frame


def mutated(data: bytearray, chance: random.Random) -> bytearray:
    """Corrupt a range of bytes in a few places and ways."""
    for _ in range(chance.randrange(6)):
        if not data:
            break
        at = chance.randrange(len(data))
        span = chance.randrange(1, 40)
        match chance.randrange(8):
            case 0:
                data[at] ^= 1 << chance.randrange(8)
            case 1:
                data[at] = chance.choice(MARKERS)
            case 2:
                del data[at : at + span]
            case 3:
                data[at:at] = data[at : at + span]
            case 4:
                data[at:at] = chance.randbytes(span)
            case 5:
                data[at:at] = bytes([chance.choice(b"\x00\xfd\xfe\xff")]) * (8 * span)
            case 6:
                data[at:at] = b"\xfd\xff\x00" * span
            case _:
                data[at : at + 8] = data[at : at + 8][::-1]
    return data


def stream(chance: random.Random, size: int, stamped: bool) -> bytes:
    """Return about `size` mutated bytes."""
    frames, out = sound(chance, stamped), bytearray()
    while len(out) < size:
        piece = bytearray().join(next(frames) for _ in range(chance.randrange(1, 30)))
        out += mutated(piece, chance) if chance.random() < 0.7 else piece
    return bytes(out[:size])


def feed_link(data: bytes, chance: random.Random, outcome: Outcome) -> LinkScanner:
    """Feed bytes to a link's scanner in random reads."""
    scanner = LinkScanner()
    at = outcome.undecided_bytes = 0
    while at < len(data):
        pieces = []
        for _ in range(chance.randrange(1, 4)):
            size = chance.choice((1, 7, 30, 300, 3000))
            pieces.append((at * 4, data[at : at + chance.randrange(1, size + 1)]))
            at += len(pieces[-1][1])
        began_s = time.perf_counter()
        frames = scanner.push(pieces)
        note(outcome, frames, sum(len(piece) for _, piece in pieces), began_s)
    return scanner


def feed_log(data: bytes, chance: random.Random, outcome: Outcome) -> LogScanner:
    """Feed bytes to a log's scanner in random reads."""
    scanner = LogScanner()
    at = outcome.undecided_bytes = 0
    while at < len(data):
        size = chance.randrange(1, chance.choice((10, 1000, 60_000)))
        began_s = time.perf_counter()
        frames = scanner.push(data[at : at + size])
        note(outcome, frames, len(data[at : at + size]), began_s, STAMP_BYTES)
        at += size
    outcome.bad_bytes += scanner.push(b"", final=True).bad_bytes
    return scanner


def note(outcome: Outcome, frames, size: int, began_s: float, stamp_bytes: int = 0) -> None:
    """Count the results of a read; the undecided rest must stay small."""
    took_s = time.perf_counter() - began_s
    outcome.seconds += took_s
    outcome.fed_bytes += size
    outcome.frames += len(frames)
    outcome.bad_bytes += frames.bad_bytes
    returned_bytes = int(frames.size.sum()) + stamp_bytes * len(frames) + frames.bad_bytes
    outcome.undecided_bytes += size - returned_bytes
    outcome.rest_most_bytes = max(outcome.rest_most_bytes, outcome.undecided_bytes)
    if size >= 1000:
        pace = took_s / size * 1e6
        outcome.slowest_read_us_per_byte = max(outcome.slowest_read_us_per_byte, pace)
    assert 0 <= outcome.undecided_bytes <= REST_MOST_BYTES, f"{outcome.undecided_bytes} bytes kept"
    # Each frame must lie within the bytes fed.
    assert not len(frames) or int((frames.marker + frames.size).max()) <= frames.data.size - 300


def run(total_bytes: int, seed: int) -> dict[str, Outcome]:
    """Feed half of the bytes through each scanner."""
    outcomes = {"link": Outcome(), "log": Outcome()}
    chance = random.Random(seed)
    for kind, outcome in outcomes.items():
        left = total_bytes // 2
        while left > 0:
            data = stream(chance, min(left, 500_000), kind == "log")
            (feed_log if kind == "log" else feed_link)(data, chance, outcome)
            left -= len(data)
    return outcomes


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--bytes", type=int, default=10_000_000)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    for kind, outcome in run(chosen.bytes, chosen.seed).items():
        print(f"{kind}: {outcome}", flush=True)


if __name__ == "__main__":
    main()
