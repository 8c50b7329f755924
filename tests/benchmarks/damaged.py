"""Damaged logs: how many good frames are found, and the CPU time that the damage costs.

The generator knows the truth. pymavlink is not a reference here: its reader loses good frames.
"""

import random
import time
from pathlib import Path

from pymavlink import mavutil

from onboard.telemetry.logs.telemetry_log import read_log
from onboard.telemetry.mavlink.layouts import UNKNOWN_ID, crc_extras
from tests.craft.telemetry_log import frame_size

WINDOWS = (16 << 10, 64 << 10, 1 << 20)


def records(data: bytes) -> list[bytes]:
    """Return the records of an undamaged log."""
    found, at = [], 0
    while at < len(data):
        size = 8 + frame_size(data, at + 8)
        found.append(data[at : at + size])
        at += size
    return found


def flipped(good: list[bytes], rng: random.Random) -> tuple[bytes, set[bytes]]:
    """Flip a bit in one record in a hundred; return the log and the intact records."""
    parts, whole = [], set()
    for record in good:
        if rng.random() < 0.01:
            broken = bytearray(record)
            broken[rng.randrange(8, len(broken))] ^= 1 << rng.randrange(8)
            parts.append(bytes(broken))
        else:
            parts.append(record)
            whole.add(record)
    return b"".join(parts), whole


def littered(good: list[bytes], rng: random.Random) -> tuple[bytes, set[bytes]]:
    """Put garbage before every tenth record and cut the last; return the same as `flipped`."""
    parts = []
    for number, record in enumerate(good):
        if number % 10 == 0:
            count = rng.randrange(1, 80)
            parts.append(bytes(rng.choice((0, 1, 0xFD, 0xFE, 77)) for _ in range(count)))
        parts.append(record)
    return b"".join(parts)[:-3], set(good[:-1])


def found(path: Path, window_bytes: int) -> set[bytes]:
    """Return the records of known messages found by the reader under test."""
    known, records = crc_extras() != UNKNOWN_ID, set()
    for frames in read_log(path, window_bytes):
        mine = frames.where(known.take(frames.message_id, mode="clip"))
        data = mine.data.tobytes()
        spans = zip(mine.marker.tolist(), mine.size.tolist(), strict=True)
        records.update(data[at - 8 : at + size] for at, size in spans)
    return records


def pymavlink_finds(path: Path) -> int:
    """Return the number of frames that pymavlink's reader returns."""
    log, count = mavutil.mavlink_connection(str(path), dialect="all"), 0
    while (message := log.recv_match()) is not None:
        count += message.get_type() != "BAD_DATA" and not message.get_type().startswith("UNKNOWN")
    return count


def per_mb(path: Path) -> float:
    """Return the CPU time per megabyte [s]."""
    started = time.process_time()
    for _ in read_log(path):
        pass
    return (time.process_time() - started) / path.stat().st_size * 1e6


def lines(hour: Path, folder: Path) -> list[str]:
    """Return the lines of this part."""
    rng = random.Random(8)
    good = records(hour.read_bytes())
    clean = min(per_mb(hour) for _ in range(3))
    texts = []
    for name, damage in (("a bit flipped in 1 %", flipped), ("garbage before 10 %", littered)):
        path = folder / "damaged.tlog"
        data, whole = damage(good, rng)
        path.write_bytes(data)
        lost, forged = 0, 0
        for window in WINDOWS:
            ours = found(path, window)
            lost, forged = max(lost, len(whole - ours)), max(forged, len(ours - whole))
        cost = min(per_mb(path) for _ in range(3)) / clean
        theirs = pymavlink_finds(path) / len(whole)
        texts.append(
            f"{name} of the frames: {lost} of {len(whole)} good ones lost, in any window of 16 KiB "
            f"to 1 MiB, beside {forged} forged ones that pass their checksum (pymavlink finds "
            f"{theirs:.2%}); time a megabyte {cost:.1f} times a clean log's"
        )
    return texts
