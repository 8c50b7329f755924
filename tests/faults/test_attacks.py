"""Hostile connections to the encrypted door, while the craft rides and a good viewer watches.

None gets a snapshot, none ends the daemon, the good viewer misses nothing, and the record has every
frame of the link unaltered.

WATTWAKE_ATTACKS=1000 python -m pytest tests/faults/test_attacks.py -s
"""

import asyncio
import contextlib
import json
import os
import random
import socket
import ssl
import threading
import time
import warnings
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from onboard.crew.joining import REFUSED, Join, Pair
from onboard.crew.members import CrewBook
from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.daemon_process import Daemon
from tests.faults.faulty_link import Chunk, background, udp
from tests.free_port import free_port
from tests.newest import latest_session
from tests.onboard.crew.doors import client_context, member, paired_folder
from tests.patience import PATIENCE_S
from tests.small_streams import Sender

pytestmark = pytest.mark.slow

ATTACKS = min(max(int(os.environ.get("WATTWAKE_ATTACKS", "200")), 20), 1000)
AT_ONCE = 40
PER_S = 30.0
AFTERWARDS_S = 2.0
FRAMES_PER_S = 50.0


class Target:
    """The target of an attack, and secrets that the attacker may have obtained."""

    def __init__(self, port: int, token: str, revoked: str, used: bytes, seed: int) -> None:
        self.port, self.token, self.revoked, self.used = port, token, revoked, used
        self.chance = random.Random(seed)

    async def plain(self, data: bytes, source: str) -> bytes:
        """Send data unencrypted; return the answer up to the end of the connection."""
        reader, writer = await asyncio.open_connection(
            "127.0.0.1", self.port, local_addr=(source, 0)
        )
        return await _received(reader, writer, data)

    async def secret(
        self, data: bytes, source: str, context: ssl.SSLContext | None = None
    ) -> bytes:
        """Send data encrypted; return the answer up to the end of the connection."""
        reader, writer = await asyncio.open_connection(
            "127.0.0.1",
            self.port,
            ssl=context or client_context(),
            server_hostname="",
            local_addr=(source, 0),
        )
        return await _received(reader, writer, data)


async def _received(
    reader: asyncio.StreamReader, writer: asyncio.StreamWriter, data: bytes
) -> bytes:
    got = b""
    try:
        writer.write(data)
        async with asyncio.timeout(PATIENCE_S):  # the door disconnects long before
            while data := await reader.read(65_536):
                got += data
    finally:
        writer.transport.abort()
    return got


async def old_encryption(on: Target, source: str) -> bytes:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        context = client_context(ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1)
    context.set_ciphers("ALL:@SECLEVEL=0")
    return await on.secret(Join(on.token).as_line(), source, context)


async def unencrypted(on: Target, source: str) -> bytes:
    return await on.plain(Join(on.token).as_line(), source)


async def a_browser(on: Target, source: str) -> bytes:
    return await on.plain(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n", source)


async def half_open(on: Target, source: str) -> bytes:
    return await on.plain(b"\x16\x03\x01\x02\x00\x01"[: on.chance.randrange(7)], source)


async def noise(on: Target, source: str) -> bytes:
    return await on.plain(on.chance.randbytes(on.chance.randrange(1, 3000)), source)


async def oversized(on: Target, source: str) -> bytes:
    return await on.secret(b"x" * on.chance.choice([513, 5000, 200_000]), source)


async def byte_by_byte(on: Target, source: str) -> bytes:
    reader, writer = await asyncio.open_connection(
        "127.0.0.1", on.port, ssl=client_context(), server_hostname="", local_addr=(source, 0)
    )
    receiving = asyncio.create_task(_received(reader, writer, b""))
    for byte in Join("a" * 90).as_line()[:60]:
        await asyncio.sleep(0.15)
        if writer.transport.is_closing():
            break
        writer.write(bytes([byte]))
    return await receiving


async def used_code(on: Target, source: str) -> bytes:
    return await on.secret(Pair(on.used, "again").as_line(), source)


async def revoked_token(on: Target, source: str) -> bytes:
    return await on.secret(Join(on.revoked).as_line(), source)


async def wrong_token(on: Target, source: str) -> bytes:
    return await on.secret(Join(on.chance.randbytes(32).hex()).as_line(), source)


async def no_joining(on: Target, source: str) -> bytes:
    command = b'{"kind":"set","id":1,"key":"reserve_fraction","value":0}\n'
    return await on.secret(command * on.chance.randrange(1, 50), source)


async def fuzzed(on: Target, source: str) -> bytes:
    line = bytearray(Join(on.revoked).as_line())
    for _ in range(on.chance.randrange(1, 8)):
        line[on.chance.randrange(len(line) - 1)] = on.chance.randrange(256)
    return await on.secret(bytes(line) + b"\n", source)


async def gone_at_once(on: Target, source: str) -> bytes:
    one = socket.socket()
    one.setblocking(False)
    one.bind((source, 0))
    one.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\0\0\0\0\0\0\0")
    with contextlib.suppress(BlockingIOError):
        one.connect(("127.0.0.1", on.port))
    await asyncio.sleep(0.01)
    one.close()
    return b""


Attack = Callable[[Target, str], Awaitable[bytes]]
KINDS: tuple[Attack, ...] = (
    old_encryption,
    unencrypted,
    a_browser,
    half_open,
    noise,
    oversized,
    byte_by_byte,
    used_code,
    revoked_token,
    wrong_token,
    no_joining,
    fuzzed,
    gone_at_once,
)


async def a_hundred_at_once(on: Target, source: str) -> bytes:
    async def one() -> bytes:
        with contextlib.suppress(OSError):
            return await on.secret(Join("x").as_line(), source)
        return b""

    return b"".join(await asyncio.gather(*(one() for _ in range(100))))


async def attack(on: Target, count: int) -> dict[str, list[bytes]]:
    """Attack `count` times, each time from another address, except for the flood."""
    got: dict[str, list[bytes]] = {kind.__name__: [] for kind in (*KINDS, a_hundred_at_once)}
    room = asyncio.Semaphore(AT_ONCE)

    async def once(kind: Attack, source: str) -> None:
        async with room:
            received = b""
            with contextlib.suppress(OSError):
                received = await kind(on, source)
            got[kind.__name__].append(received)

    async with asyncio.TaskGroup() as group:
        group.create_task(once(a_hundred_at_once, "127.2.0.1"))
        for n in range(count):
            group.create_task(once(KINDS[n % len(KINDS)], f"127.1.{n // 250}.{n % 250 + 1}"))
            await asyncio.sleep(1.0 / PER_S)
    return got


class GoodViewer(threading.Thread):
    """Joins the feed, and records the numbers of all snapshots."""

    def __init__(self, port: int, token: str) -> None:
        super().__init__(daemon=True)
        plain = socket.create_connection(("127.0.0.1", port), PATIENCE_S)
        self._connection = client_context().wrap_socket(plain)
        self._connection.sendall(Join(token).as_line())
        self.numbers: list[int] = []
        self.ended = False

    def sees(self, number: int) -> None:
        """Wait until this snapshot, or a later one, has arrived."""
        end_s = time.monotonic() + PATIENCE_S
        while not self.numbers or self.numbers[-1] < number:
            assert time.monotonic() < end_s
            time.sleep(0.02)

    def run(self) -> None:
        with (
            contextlib.suppress(OSError),
            self._connection,
            self._connection.makefile("rb") as lines,
        ):
            for line in lines:
                message = json.loads(line)
                if message["kind"] == "snapshot":
                    self.numbers.append(message["seq"])
        self.ended = True


def sent_frames(seconds: float) -> list[Chunk]:
    sender = Sender()
    count = round(seconds * FRAMES_PER_S)
    return [Chunk(n / FRAMES_PER_S, sender.attitude(1 + n / FRAMES_PER_S)) for n in range(count)]


def assert_recorded(record: bytes, frames: list[bytes]) -> None:
    place = 0
    for n, frame in enumerate(frames):
        assert record[place + 8 : place + 8 + len(frame)] == frame, n
        place += 8 + len(frame)
    assert place == len(record)


def test_no_attack_gets_data_or_breaks_anything(tmp_path: Path) -> None:
    folder, port = paired_folder(tmp_path), free_port()
    record = tmp_path / "rec"
    good, revoked = member(folder, "good"), member(folder, "revoked")
    book = CrewBook(folder)
    used = book.invite("crew")
    assert book.redeem(used, "somebody") is not None
    book.revoke("revoked")
    chunks = sent_frames(600.0)
    with Daemon(
        *("--link", "udpin:127.0.0.1:0", "--record", str(record)),
        *("--crew-listen", f"127.0.0.1:{port}"),
    ) as daemon:
        daemon.wait_for_line("crew on")
        viewer = GoodViewer(port, good)
        viewer.start()
        with (
            udp(daemon.port("link udpin")) as send,
            background(chunks, send) as sent_s,
        ):
            target = Target(port, good, revoked, used, seed=7)
            got = asyncio.run(attack(target, ATTACKS))
            time.sleep(AFTERWARDS_S)
        count = len(sent_s)
        last = daemon.snapshot_when(lambda snapshot: snapshot["link"]["messages"] >= count)["seq"]
        assert not viewer.ended
        late = GoodViewer(port, good)
        late.start()
        for one in (viewer, late):
            one.sees(last)
    for one in (viewer, late):
        one.join(timeout=PATIENCE_S)
    assert "Traceback" not in daemon.stderr
    for kind, received in got.items():
        assert received, kind
        for one in received:
            assert b"snapshot" not in one and b"hello" not in one and b"token" not in one, kind
    assert sum(map(len, got.values())) == ATTACKS + 1
    # Answers, where there were any, revealed nothing.
    assert {one for one in got["wrong_token"] + got["used_code"] if one} == {REFUSED}
    numbers = viewer.numbers
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
    session = latest_session(record)
    assert session is not None
    frames = [chunk.data for chunk in chunks[:count]]
    assert_recorded((session / RECORD_NAME).read_bytes(), frames)
    print(f"{ATTACKS} attacks, {count} frames, {len(numbers)} snapshots")
