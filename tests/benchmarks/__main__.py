"""`python -m tests.benchmarks [--seconds N]`: times both sides by turns, prints ratios.

Machines differ and are noisy, so only ratios of CPU time within one run count: the median of
several rounds, with the least and the most beside it.
"""

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pymavlink.dialects.v20.all as dialect
from pymavlink import mavutil

from onboard.profile import Profile
from onboard.ride import Ride
from onboard.telemetry.decoder import Decoder
from onboard.telemetry.link_scanner import LinkScanner
from onboard.telemetry.logs import read_log
from tests.craft.recording import record
from tests.craft.scenarios import SCENARIOS
from tests.craft.telemetry_log import log_bytes

ROUNDS = 3
LIVE_READ_BYTES = 1024


def cpu_s(work: Callable[[], object]) -> float:
    started = time.process_time()
    work()
    return time.process_time() - started


def bare_frames(path: Path) -> bytes:
    """The log's frames as a link gives them, without their stamps."""
    return b"".join(
        part.data[at : at + size].tobytes()
        for part in read_log(path)
        for at, size in zip(part.marker.tolist(), part.size.tolist(), strict=True)
    )


def pieces(data: bytes) -> Iterator[bytes]:
    return (data[at : at + LIVE_READ_BYTES] for at in range(0, len(data), LIVE_READ_BYTES))


def pymavlink_log(path: Path) -> None:
    log = mavutil.mavlink_connection(str(path), dialect="all")
    while log.recv_match() is not None:
        pass


def our_log(path: Path) -> None:
    decoder = Decoder()
    for frames in read_log(path):
        decoder.push(frames)
    decoder.finish()


def our_review(path: Path) -> None:
    ride = Ride(Profile())
    for frames in read_log(path):
        ride.take(frames)
    ride.finish()
    ride.snapshot("benchmark").as_dict()


def pymavlink_live(data: bytes) -> None:
    parser = dialect.MAVLink(None)
    parser.robust_parsing = True
    for piece in pieces(data):
        parser.parse_buffer(piece)


def our_live(data: bytes) -> None:
    """One read, one block: smaller blocks than the daemon makes, so the dearest case."""
    scanner, decoder = LinkScanner(), Decoder()
    for number, piece in enumerate(pieces(data)):
        decoder.push(scanner.push([(50_000 * number, piece)]))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--seconds", type=float, default=3600.0, help="length of the log [s]")
    seconds = options.parse_args().seconds
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long_cruise.tlog"
        made = record(SCENARIOS["long_cruise"], 11)
        kept = [frame for frame in made.frames if frame.time_s <= seconds]
        path.write_bytes(log_bytes(kept, made.scenario.start_unix_s))
        print(f"{len(kept)} messages, {path.stat().st_size} bytes")
        data = bare_frames(path)
        rows: dict[str, tuple[Any, Any, Any]] = {
            "log to columns, every message, CRC / recv_match()": (our_log, pymavlink_log, path),
            "log to trip figures / recv_match()": (our_review, pymavlink_log, path),
            f"live, reads of {LIVE_READ_BYTES} bytes / parse_buffer": (
                our_live,
                pymavlink_live,
                data,
            ),
        }
        for name, (ours, theirs, given) in rows.items():
            ratios = []
            for _ in range(ROUNDS):
                theirs_s = cpu_s(partial(theirs, given))
                ratios.append(theirs_s / cpu_s(partial(ours, given)))
            median = statistics.median(ratios)
            print(f"{name}: {median:.1f}x ({min(ratios):.1f} to {max(ratios):.1f})")


if __name__ == "__main__":
    main()
