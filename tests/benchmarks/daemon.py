"""The whole daemon as a process: CPU time against bare pymavlink, memory, delay, start.

Frames arrive over UDP on loopback at a steady rate, as from a router on the board.
"""

import contextlib
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from tests.craft.telemetry_log import log_frames
from tests.daemon_process import Daemon
from tests.free_port import free_port

PER_S = 300
SECONDS = 30.0
AT_ONCE = 6
"""Frames per burst, as from a router that collects for 20 ms."""

VIEWERS = (1, 20, 100)

RECEIVE_LOOP = """
import sys
from pymavlink import mavutil
link = mavutil.mavlink_connection("udpin:127.0.0.1:" + sys.argv[1], dialect="all")
print("ready", flush=True)
while True:
    link.recv_match(blocking=True, timeout=1)
"""


def frames_of(hour: Path) -> list[bytes]:
    """Return the frames of the hour."""
    return [frame.data for frame in log_frames(hour)]


def send(frames: list[bytes], ports: list[int], seconds: float, at_once: int = AT_ONCE) -> None:
    """Send the frames to each of the ports at a steady rate, in bursts of `at_once`."""
    began = time.monotonic()
    with socket.socket(type=socket.SOCK_DGRAM) as outlet:
        for sent in range(0, int(seconds * PER_S), at_once):
            time.sleep(max(0.0, began + sent / PER_S - time.monotonic()))
            for frame in frames[sent : sent + at_once]:
                for port in ports:
                    outlet.sendto(frame, ("127.0.0.1", port))


def cpu_s(pid: int) -> float:
    """Return the CPU time of a process so far [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_mib(pid: int) -> float:
    """Return the resident memory of a process, as the kernel counts its pages [MiB]."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return int(next(line for line in lines if line.startswith("Rss:")).split()[1]) / 1024


@contextlib.contextmanager
def viewers(port: int, count: int) -> Iterator[list[float]]:
    """Run viewers that read everything; yield the arrival times of the first viewer's snapshots."""
    came: list[float] = []
    open_sockets = [socket.create_connection(("127.0.0.1", port)) for _ in range(count)]
    stop = threading.Event()

    def drain() -> None:
        for one in open_sockets[1:]:
            one.setblocking(False)
        open_sockets[0].settimeout(0.5)
        lines = open_sockets[0].makefile("rb")
        while not stop.is_set():
            with contextlib.suppress(TimeoutError, OSError):
                if lines.readline():
                    came.append(time.monotonic())
            for one in open_sockets[1:]:
                with contextlib.suppress(BlockingIOError):
                    one.recv(1 << 20)

    thread = threading.Thread(target=drain, daemon=True)
    thread.start()
    try:
        yield came
    finally:
        stop.set()
        thread.join(timeout=2)
        for one in open_sockets:
            one.close()


@contextlib.contextmanager
def daemon(folder: Path, *more: str) -> Iterator[tuple[Daemon, int]]:
    """Run a daemon that records, with a battery in its profile; yield it and its link's port."""
    profile = folder / "craft.toml"
    profile.write_text('[battery]\nchemistry = "lfp"\ncells = 8\ncapacity_ah = 50\n')
    with (
        tempfile.TemporaryDirectory(dir=folder) as record,
        Daemon(
            "--link", "udpin:127.0.0.1:0", "--profile", str(profile), "--record", record, *more
        ) as running,
    ):
        yield running, running.port("link udpin")


def against_a_receive_loop(frames: list[bytes], folder: Path, at_once: int) -> str:
    """Compare the daemon with an empty mavutil loop on the same stream at the same time."""
    port = free_port(socket.SOCK_DGRAM)
    loop = subprocess.Popen(
        [sys.executable, "-c", RECEIVE_LOOP, str(port)], stdout=subprocess.PIPE, text=True
    )
    assert loop.stdout is not None
    loop.stdout.readline()
    try:
        with daemon(folder) as (running, link), viewers(running.port("feed on"), 1):
            send(frames, [link, port], 3.0, at_once)
            pids = running.process.pid, loop.pid
            before = [cpu_s(pid) for pid in pids]
            send(frames, [link, port], SECONDS, at_once)
            ours, theirs = (cpu_s(pid) - was for pid, was in zip(pids, before, strict=True))
            memory = resident_mib(running.process.pid)
    finally:
        loop.kill()
        loop.wait()
    return (
        f"daemon at {PER_S} messages/s, {at_once} at once (UDP, recording, engine, one viewer) / "
        "empty mavutil loop: "
        f"{ours / theirs:.2f} ({ours / SECONDS:.1%} against {theirs / SECONDS:.1%} of a core); "
        f"needed 0.5, hoped for 0.35; {memory:.0f} MiB resident, needed 60, hoped for 45"
    )


def cost_of_a_viewer(frames: list[bytes], folder: Path) -> str:
    """Measure the CPU time per snapshot and viewer."""
    costs = {}
    for count in VIEWERS:
        with daemon(folder) as (running, link), viewers(running.port("feed on"), count):
            send(frames, [link], 2.0)
            before = cpu_s(running.process.pid)
            send(frames, [link], SECONDS / 2)
            costs[count] = (cpu_s(running.process.pid) - before) / (SECONDS / 2 * 5)
    more = (costs[VIEWERS[-1]] - costs[VIEWERS[0]]) / (VIEWERS[-1] - VIEWERS[0])
    each = ", ".join(f"{count}: {cost * 1e3:.2f} ms" for count, cost in costs.items())
    return (
        f"a snapshot with its block, by viewers: {each}; one more viewer {more * 1e6:.0f} us a "
        "snapshot; needed 50, hoped for 20"
    )


def delay(frames: list[bytes], folder: Path) -> str:
    """Measure the time from a message's bytes to the snapshot that contains it."""
    delays = []
    with daemon(folder) as (running, link), socket.socket(type=socket.SOCK_DGRAM) as outlet:
        send(frames, [link], 4.0)
        snapshots = running.snapshots()
        known = next(snapshots)["link"]["messages"]
        for number, frame in enumerate(frames[5000:5120]):
            time.sleep(0.003 * (number % 67))
            sent_s = time.monotonic()
            outlet.sendto(frame, ("127.0.0.1", link))
            known += 1
            while next(snapshots)["link"]["messages"] < known:
                pass
            delays.append(time.monotonic() - sent_s)
    ordered = sorted(delays)
    late_ms, usual_ms = 1e3 * ordered[int(0.99 * len(ordered))], 1e3 * statistics.median(delays)
    return (
        f"byte in to snapshot out, at 5 Hz, {len(delays)} messages: median {usual_ms:.0f} ms, "
        f"99th percentile {late_ms:.0f} ms; needed 230, hoped for 210"
    )


def start_up(frames: list[bytes], folder: Path) -> str:
    """Measure the time from the start of the process to the first snapshot with data."""
    port = free_port(socket.SOCK_DGRAM)
    sending = threading.Thread(target=send, args=(frames, [port], 8.0), daemon=True)
    sending.start()
    began = time.monotonic()
    with Daemon("--link", f"udpin:127.0.0.1:{port}", "--record", str(folder / "s")) as running:
        running.snapshot_when(lambda snapshot: snapshot["link"]["messages"] > 0)
        took = time.monotonic() - began
    sending.join()
    return f"start to the first snapshot on a running link: {took:.2f} s; needed 2, hoped for 1"


def lines(hour: Path, folder: Path) -> Iterator[str]:
    """Yield the lines of this part."""
    frames = frames_of(hour)
    yield start_up(frames, folder)
    for at_once in (1, AT_ONCE):
        yield against_a_receive_loop(frames, folder, at_once)
    yield cost_of_a_viewer(frames, folder)
    yield delay(frames, folder)
