"""Paired viewers over TLS beside a link at full rate: snapshots missed, frames lost.

Each viewer has its own address, as phones do, and its own token.
"""

import asyncio
import contextlib
import re
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from onboard.crew.joining import Join
from onboard.crew.keys import make_identity
from onboard.crew.members import CrewBook
from onboard.telemetry.logs.telemetry_log import read_log
from tests.benchmarks.daemon import PER_S, cpu_s, frames_of, resident_mib, send
from tests.daemon_process import Daemon
from tests.newest import latest_session
from tests.onboard.crew.doors import client_context

COME_PER_S = 25.0
"""Connections per second; below the door's limit for all addresses together."""
SETTLE_S = 2.0
NUMBER = re.compile(rb'^{"schema":\d+,"kind":"snapshot",.*"seq":(\d+)')


class Crowd:
    """Viewers in a separate thread; each collects the numbers of its snapshots."""

    def __init__(self, port: int, tokens: list[str]) -> None:
        self._port, self._tokens = port, tokens
        self.numbers: list[list[int]] = [[] for _ in tokens]
        self.broken = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._watch()), daemon=True)

    def __enter__(self) -> "Crowd":
        self._thread.start()
        deadline = time.monotonic() + 30.0 + len(self._tokens) / COME_PER_S
        while not all(self.numbers):
            assert time.monotonic() < deadline, "not all viewers came in"
            time.sleep(0.05)
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(timeout=10)

    async def _watch(self) -> None:
        async with asyncio.TaskGroup() as group:
            for n, token in enumerate(self._tokens):
                group.create_task(self._view(n, token))
                await asyncio.sleep(1.0 / COME_PER_S)

    async def _view(self, n: int, token: str) -> None:
        reader, writer = await asyncio.open_connection(
            "127.0.0.1",
            self._port,
            ssl=client_context(),
            server_hostname="",
            local_addr=(f"127.3.0.{n + 1}", 0),
            limit=1 << 20,
        )
        writer.write(Join(token).as_line())
        while not self._stop.is_set():
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(1.0):
                    line = await reader.readline()
                    if not line:
                        self.broken += 1
                        break
                    if found := NUMBER.search(line):
                        self.numbers[n].append(int(found[1]))
        writer.transport.abort()


def lines(hour: Path, folder: Path, viewers: int, seconds: float) -> Iterator[str]:
    """Yield the lines of this part."""
    with tempfile.TemporaryDirectory(dir=folder) as name:
        record = Path(name)
        make_identity(record / "pairing")
        book = CrewBook(record / "pairing")
        made = [book.redeem(book.invite("crew", f"v{n}"), "x") for n in range(viewers)]
        profile = folder / "crew.toml"
        profile.write_text(
            '[battery]\nchemistry = "lfp"\ncells = 8\ncapacity_ah = 50\n'
            "[feed]\nviewers_most = 256\n"
        )
        frames = frames_of(hour)
        with Daemon(
            *("--link", "udpin:127.0.0.1:0", "--record", name, "--profile", str(profile)),
            *("--crew-listen", "127.0.0.1:0"),
        ) as daemon:
            daemon.wait_for_line("crew on")
            link = daemon.port("link udpin")
            with Crowd(daemon.port("crew on"), [one[1] for one in made if one]) as crowd:
                first = [own[-1] for own in crowd.numbers]
                before_s = cpu_s(daemon.process.pid)
                send(frames, [link], seconds)
                used = (cpu_s(daemon.process.pid) - before_s) / seconds
                memory = resident_mib(daemon.process.pid)
                time.sleep(SETTLE_S)
        sent = int(seconds * PER_S)
        recorded = sum(len(part) for part in read_log(latest_session(record) or record))
    missed = given = 0
    for own, began in zip(crowd.numbers, first, strict=True):
        span = own[-1] - began
        given += span
        missed += span - sum(number > began for number in own)
    yield (
        f"{viewers} paired viewers for {seconds:g} s at 5 Hz: {missed} of {given} snapshots missed "
        f"({missed / max(given, 1):.2%}), {crowd.broken} put out; "
        f"{sent - recorded} of {sent} frames lost on intake"
    )
    yield f"    the daemon meanwhile: {used:.1%} of a core, {memory:.0f} MiB"
