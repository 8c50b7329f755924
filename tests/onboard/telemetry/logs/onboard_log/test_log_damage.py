"""A simulated log with damage: records found were written, and lost bytes are counted."""

import random
from pathlib import Path

import pytest

from onboard.telemetry.logs.onboard_log.windows import windows
from tests.craft.onboard_kinds import FMT, KINDS
from tests.craft.onboard_log import onboard_log_bytes
from tests.craft.recording import record
from tests.craft.scenarios import SCENARIOS

LENGTH = {kind.number: kind.stored.itemsize for kind in KINDS}
BLOCK_BYTES = 512


@pytest.fixture(scope="module")
def clean() -> bytes:
    return onboard_log_bytes(record(SCENARIOS["at_anchor"]))[:400_000]


def records(data: bytes) -> list[bytes]:
    """Return the whole records of a clean log, by their lengths."""
    found, at = [], 0
    while at + 3 <= len(data) and at + LENGTH[data[at + 2]] <= len(data):
        found.append(data[at : at + LENGTH[data[at + 2]]])
        at += len(found[-1])
    return found


def found_in(data: bytes, path: Path, window_bytes: int) -> tuple[list[bytes], int]:
    path.write_bytes(data)
    found, bad = [], 0
    for window in windows(path, window_bytes):
        for start, number in zip(window.start.tolist(), window.number.tolist(), strict=True):
            layout = window.layouts[number]
            assert layout is not None
            found.append(window.data[start : start + layout.length].tobytes())
        bad += window.bad_bytes
    return found, bad


@pytest.mark.slow
@pytest.mark.parametrize("window_bytes", [4096, 1 << 20])
def test_junk_between_costs_the_record_in_front_of_it(
    clean: bytes, tmp_path: Path, window_bytes: int
) -> None:
    rng = random.Random(1)
    whole = records(clean)
    stream, kept, junk_bytes = b"", [], 0
    for n, one in enumerate(whole):
        stream += one
        junk = b""
        if one[2] != FMT.number and rng.random() < 0.05 and n + 1 < len(whole):
            junk = rng.randbytes(rng.randrange(1, 300))
        if junk:
            junk_bytes += len(junk) + len(one)
        else:
            kept.append(one)
        stream += junk
    found, bad = found_in(stream, tmp_path / "junk.bin", window_bytes)
    assert found == kept
    assert bad == junk_bytes
    assert junk_bytes > 10_000


def with_damaged_blocks(clean: bytes, kind: str, count: int) -> bytes:
    rng = random.Random(2)
    blocks = [clean[at : at + BLOCK_BYTES] for at in range(0, len(clean), BLOCK_BYTES)]
    # The formats at the start stay: nothing can be read without them.
    for n in rng.sample(range(20, len(blocks) - 1), count):
        blocks[n] = {
            "lost": b"",
            "zeroed": bytes(BLOCK_BYTES),
            "noise": rng.randbytes(BLOCK_BYTES),
        }[kind]
    return b"".join(blocks)


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "pieced_together"), [("zeroed", 0), ("noise", 0), ("lost", 12)])
def test_damaged_blocks(clean: bytes, tmp_path: Path, kind: str, pieced_together: int) -> None:
    count = 60
    written = records(clean)
    damaged = with_damaged_blocks(clean, kind, count)
    found, bad = found_in(damaged, tmp_path / "blocks.bin", 1 << 16)
    # Over lost bytes two halves may fit by chance: seldom more than one in five times.
    assert len(set(found) - set(written)) <= pieced_together
    # Besides the records within or cut by a block, one sound record before it is lost.
    per_block = BLOCK_BYTES / (len(clean) / len(written))
    assert len(found) > len(written) - count * (per_block + 3)
    assert bad > count
