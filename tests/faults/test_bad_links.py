"""Bad links: the sound frames that they deliver are recorded, once and unaltered."""

import os
import time
from pathlib import Path

import pytest

from onboard.telemetry.logs.telemetry_log import read_log
from tests.daemon_process import Daemon
from tests.faults.faulty_link import BAD, Chunk, Plug, play, ride, spoil, udp
from tests.newest import latest_session
from tests.onboard.telemetry.mavlink.slow_framing import frames as slow_frames
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow

SECONDS = 5.0


def expected(chunks: list[Chunk]) -> list[bytes]:
    """Return the sound frames among the bytes sent, by a slow reference reader of the framing."""
    data = b"".join(chunk.data for chunk in chunks)
    return [data[begin:end] for begin, end in slow_frames(data, 0)[0]]


def record(directory: Path) -> tuple[list[bytes], list[int]]:
    """Return the recorded frames and their stamps."""
    session = latest_session(directory)
    assert session is not None
    frames: list[bytes] = []
    stamps: list[int] = []
    for part in read_log(session):
        assert part.bad_bytes == 0
        stamps += part.stamp_us.tolist()
        for at, size in zip(part.marker.tolist(), part.size.tolist(), strict=True):
            frames.append(part.data[at : at + size].tobytes())
    return frames, stamps


def check(directory: Path, chunks: list[Chunk], snapshot: dict) -> None:
    sound = expected(chunks)
    frames, stamps = record(directory)
    assert frames == sound
    assert stamps == sorted(stamps)
    assert stamps[-1] - stamps[0] < (SECONDS + PATIENCE_S) * 1e6
    # The figures come from the sound part: 50 V, 10 A, 2 m/s.
    assert snapshot["power_w"] == pytest.approx(500)
    assert snapshot["speed_mps"] == pytest.approx(2.0, abs=0.2)
    sent = sum(len(chunk.data) for chunk in chunks)
    bad = sent - sum(map(len, sound))
    assert snapshot["link"]["bad_bytes"] == pytest.approx(bad, abs=300)
    print(f"{len(sound)} sound frames, {bad} bad bytes of {sent}")


def all_received(chunks: list[Chunk]):
    # Except the last one, which may wait for bytes that never come.
    count = len(expected(chunks)) - 1
    return lambda snapshot: snapshot["link"]["messages"] >= count


@pytest.mark.parametrize("seed", [1, 2])
def test_a_bad_udp_link(tmp_path: Path, seed: int) -> None:
    chunks = list(spoil(ride(SECONDS), BAD, seed))
    daemon = Daemon("--link", "udpin:127.0.0.1:0", "--record", str(tmp_path))
    with daemon, udp(daemon.port("link udpin")) as send:
        play(chunks, send)
        snapshot = daemon.snapshot_when(all_received(chunks))
    check(tmp_path, chunks, snapshot)


@pytest.mark.parametrize("seed", [3, 4])
def test_a_bad_serial_link(tmp_path: Path, seed: int) -> None:
    chunks = list(spoil(ride(SECONDS), BAD, seed))
    with Plug(tmp_path / "by-id" / "autopilot") as plug:
        options = ("--link", str(plug.name), "--record", str(tmp_path))
        with Daemon(*options) as daemon:
            play(chunks, plug.send)
            snapshot = daemon.snapshot_when(all_received(chunks))
    check(tmp_path, chunks, snapshot)


def test_a_port_plugged_in_again_as_another_device(tmp_path: Path) -> None:
    first, second = list(spoil(ride(2), BAD, 5)), list(spoil(ride(3), BAD, 6))
    with Plug(tmp_path / "by-id" / "autopilot") as plug:
        options = ("--link", str(plug.name), "--record", str(tmp_path))
        with Daemon(*options) as daemon:
            play(first, plug.send)
            daemon.snapshot_when(all_received(first))
            # In the middle of a frame.
            plug.send(expected(second)[0][:9])
            time.sleep(0.3)
            plug.unplug()

            def down(snapshot: dict) -> bool:
                return any(alert["code"] == "link_down" for alert in snapshot["alerts"])

            daemon.snapshot_when(down)
            plug.plug()
            assert len(set(plug.devices)) == 2
            began_s, cpu_wait_s = time.monotonic(), daemon.cpu_wait_s()
            before = daemon.snapshot_when(lambda snapshot: not down(snapshot))
            took_s = time.monotonic() - began_s
            cpu_wait_s = daemon.cpu_wait_s() - cpu_wait_s
            play(second, plug.send)
            count = before["link"]["messages"] + len(expected(second)) - 2
            daemon.snapshot_when(lambda snapshot: snapshot["link"]["messages"] >= count)
    print(f"{plug.devices}: back {took_s:.1f} s after it was plugged in")
    frames, _ = record(tmp_path)
    before = expected(first)
    assert frames[: len(before)] == before
    # The half frame spoils nothing after it; a read in progress at unplugging may be lost.
    assert frames[len(before) :] == expected(second)
    assert took_s - cpu_wait_s < 6.0


@pytest.mark.parametrize("claimed_s", [0.0, 946_684_800.0, 4_102_444_800.0])
def test_a_sender_with_a_wrong_clock_moves_no_stamp(tmp_path: Path, claimed_s: float) -> None:
    chunks = list(spoil(ride(2.0, utc_s=claimed_s), BAD, 7))
    began_us = time.time() * 1e6
    daemon = Daemon("--link", "udpin:127.0.0.1:0", "--record", str(tmp_path))
    with daemon, udp(daemon.port("link udpin")) as send:
        play(chunks, send)
        daemon.snapshot_when(all_received(chunks))
    frames, stamps = record(tmp_path)
    assert frames == expected(chunks)
    assert began_us < stamps[0] <= stamps[-1] < time.time() * 1e6


def from_now(chunks: list[Chunk]) -> list[Chunk]:
    return [Chunk(chunk.at_s - chunks[0].at_s, chunk.data) for chunk in chunks]


BOARD_CLOCK = """
import os, time
_steady, _began, _set = time.monotonic_ns, time.monotonic_ns(), __file__ + ".set"
def wrong_ns():
    # 1970 when the board starts; someone sets it, forward and back again.
    return _steady() - _began + (0, 86_400 * 10**12, 5)[os.stat(_set).st_size]
time.time_ns = wrong_ns
time.time = lambda: wrong_ns() * 1e-9
"""


def test_a_board_clock_that_is_set_during_the_ride(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "clock").mkdir()
    program = tmp_path / "clock" / "sitecustomize.py"
    program.write_text(BOARD_CLOCK)
    clock = program.with_name(program.name + ".set")
    clock.touch()
    monkeypatch.setenv("PYTHONPATH", os.fspath(tmp_path / "clock"))
    chunks = list(spoil(ride(SECONDS), BAD, 8))
    directory = tmp_path / "sessions"
    daemon = Daemon("--link", "udpin:127.0.0.1:0", "--record", str(directory))
    with daemon, udp(daemon.port("link udpin")) as send:
        for part in range(3):
            clock.write_bytes(bytes(part))
            until = (part + 1) * len(chunks) // 3
            play(from_now(chunks[part * len(chunks) // 3 : until]), send)
            daemon.snapshot_when(all_received(chunks[:until]))
    session = latest_session(directory)
    assert session is not None
    assert session.name.startswith("1970-01-01T00-0")
    frames, stamps = record(directory)
    assert frames == expected(chunks)
    assert stamps == sorted(stamps)
    # The clock was set by days, but the stamps did not jump.
    assert stamps[-1] - stamps[0] < (SECONDS + PATIENCE_S) * 1e6
