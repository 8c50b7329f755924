"""The whole daemon as a process: CPU time against bare pymavlink, memory, delay, start.

Frames arrive over UDP on loopback at a steady rate, as from a router on the board.
"""

import contextlib
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
from tests.small_streams import Sender

PER_S = 300
SECONDS, ROUNDS = 10.0, 3
"""Length and number of the rounds against a receive loop; the median counts."""

AT_ONCE, BURST = 6, 30
"""Frames per burst, as from a router that collects for 20 ms or for a tenth of a second."""

MUST = {(1, 1): (0.6, 0.4), (BURST, 1): (0.8, 0.4), (1, 0): (0.45, 0.35), (BURST, 0): (0.45, 0.35)}
"""CPU time that the daemon must not exceed, and the aim, as multiples of the loop's; by frames at
once and viewers."""

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


def own_rate(frames: list[bytes]) -> float:
    """Return the messages per second of the hour's own pace."""
    return len(frames) / 3600.0


def send(
    frames: list[bytes],
    ports: list[int],
    seconds: float,
    at_once: int = AT_ONCE,
    per_s: float = PER_S,
) -> None:
    """Send the frames to each of the ports at a steady rate, in bursts of `at_once`."""
    began = time.monotonic()
    with socket.socket(type=socket.SOCK_DGRAM) as outlet:
        for sent in range(0, int(seconds * per_s), at_once):
            time.sleep(max(0.0, began + sent / per_s - time.monotonic()))
            for frame in frames[sent : sent + at_once]:
                for port in ports:
                    outlet.sendto(frame, ("127.0.0.1", port))


def cpu_s(pid: int) -> float:
    """Return the CPU time of a process so far [s]."""
    # Per thread: for the whole process the resolution is only a hundredth of a second.
    threads = Path(f"/proc/{pid}/task").glob("*/schedstat")
    return sum(int(one.read_text().split()[0]) for one in threads) * 1e-9


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


def against_a_receive_loop(
    frames: list[bytes], folder: Path, at_once: int, count: int, per_s: float = PER_S
) -> str:
    """Compare the daemon with an empty mavutil loop on the same stream at the same time."""
    port = free_port(socket.SOCK_DGRAM)
    loop = subprocess.Popen(
        [sys.executable, "-c", RECEIVE_LOOP, str(port)], stdout=subprocess.PIPE, text=True
    )
    assert loop.stdout is not None
    loop.stdout.readline()
    ratios, shares = [], []
    try:
        with contextlib.ExitStack() as stack:
            running, link = stack.enter_context(daemon(folder))
            if count:
                stack.enter_context(viewers(running.port("feed on"), count))
            pids = running.process.pid, loop.pid
            send(frames, [link, port], 4.0, at_once, per_s)
            for number in range(ROUNDS):
                begin = int((4.0 + number * SECONDS) * per_s)
                before = [cpu_s(pid) for pid in pids]
                send(frames[begin:], [link, port], SECONDS, at_once, per_s)
                ours, theirs = (cpu_s(pid) - was for pid, was in zip(pids, before, strict=True))
                ratios.append(ours / theirs)
                shares.append(ours / SECONDS)
            memory = resident_mib(running.process.pid)
    finally:
        loop.kill()
        loop.wait()
    must = ""
    if per_s == PER_S and (at_once, count) in MUST:
        must = "; must {:g}, aim {:g}".format(*MUST[at_once, count])
    who = f"{count} viewer" if count else "no viewer"
    return (
        f"daemon at {per_s:.0f} messages/s, {at_once} at once, {who} (UDP, recording, engine) / "
        f"empty mavutil loop: {statistics.median(ratios):.2f} "
        f"({min(ratios):.2f} to {max(ratios):.2f}), {statistics.median(shares):.2%} of a core"
        f"{must}; {memory:.0f} MiB resident, must 47, aim 40"
    )


def cost_of_a_viewer(frames: list[bytes], folder: Path) -> str:
    """Measure the CPU time per snapshot and viewer."""
    costs = {}
    for count in VIEWERS:
        with daemon(folder) as (running, link), viewers(running.port("feed on"), count):
            send(frames, [link], 2.0)
            before = cpu_s(running.process.pid)
            send(frames, [link], SECONDS)
            costs[count] = (cpu_s(running.process.pid) - before) / (SECONDS * 5)
    more = (costs[VIEWERS[-1]] - costs[VIEWERS[0]]) / (VIEWERS[-1] - VIEWERS[0])
    each = ", ".join(f"{count}: {cost * 1e3:.2f} ms" for count, cost in costs.items())
    return (
        f"a snapshot with its block, by viewers: {each}; one more viewer {more * 1e6:.0f} us a "
        "snapshot; needed 50, hoped for 20"
    )


def delay(folder: Path) -> str:
    """Measure the time from a message's bytes to the snapshot with its reading.

    Each is the speed of a receiver, closed by a message with the boot clock.
    """
    sender, delays = Sender(), []
    with daemon(folder) as (running, link), socket.socket(type=socket.SOCK_DGRAM) as outlet:
        # A craft of its own: its boot clock is that of this run.
        began_s, snapshots = time.monotonic(), running.snapshots()
        at_s = began_s
        for number in range(400):
            at_s += 0.02 + 0.001 * (number % 7)
            time.sleep(max(0.0, at_s - time.monotonic()))
            boot_s = 100.0 + at_s - began_s
            for frame in (sender.heartbeat(), sender.gps(2.0), sender.sys_status(26.0, 9.0)):
                outlet.sendto(frame, ("127.0.0.1", link))
            outlet.sendto(sender.attitude(boot_s), ("127.0.0.1", link))
        for number in range(60):
            time.sleep(0.003 * (number % 67))
            boot_s = 100.0 + time.monotonic() - began_s
            sent_s, speed = time.monotonic(), 1.0 + 0.01 * number
            outlet.sendto(sender.gps(speed), ("127.0.0.1", link))
            outlet.sendto(sender.attitude(boot_s), ("127.0.0.1", link))
            while abs((next(snapshots)["speed_mps"] or 0.0) - speed) > 1e-6:
                pass
            delays.append(time.monotonic() - sent_s)
    ordered = sorted(delays)
    late_ms, usual_ms = 1e3 * ordered[int(0.99 * len(ordered))], 1e3 * statistics.median(delays)
    return (
        f"byte in to snapshot out, at 5 Hz, {len(delays)} newest readings: median "
        f"{usual_ms:.0f} ms, 99th percentile {late_ms:.0f} ms; needed 230, hoped for 210"
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
    for count in (1, 0):
        for at_once in (1, BURST):
            yield against_a_receive_loop(frames, folder, at_once, count)
            yield against_a_receive_loop(frames, folder, at_once, count, own_rate(frames))
    yield cost_of_a_viewer(frames, folder)
    yield delay(folder)
