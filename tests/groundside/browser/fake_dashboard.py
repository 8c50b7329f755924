"""A stand-in for a dashboard: a small process that speaks as the toolkit's web driver does."""

import asyncio
import sys

import aiohttp

from tests.patience import PATIENCE_S

MODES = b"\x1b[?1049h\x1b[?1003h\x1b[?25l"

_SCRIPT = r"""
import json, os, sys
out, given = sys.stdout.buffer, sys.stdin.buffer
def write(kind, data):
    out.write(kind + len(data).to_bytes(4, "big") + data)
    out.flush()
out.write(b"__GANGLION__\n")
for mode in (b"\x1b[?1049h", b"\x1b[?1003h", b"\x1b[?2026$p", b"\x1b[?25l", b"\x1b[?2026h"):
    write(b"D", mode)
write(b"D", b"begun %d" % os.getpid())
while len(head := given.read(5)) == 5:
    data = given.read(int.from_bytes(head[1:], "big"))
    if data == b"q":
        write(b"M", b'{"type": "exit"}')
        break
    if data == b"fail" or (head[:1] == b"M" and json.loads(data)["type"] == "quit"):
        break
    if data.startswith(b"flood "):
        for _ in range(300):
            write(b"D", b"\x07" * 10_000)
        open(data[6:], "w").close()
        continue
    write(b"D", b"got " + data)
"""
COMMAND = [sys.executable, "-S", "-c", _SCRIPT]


async def read_until(socket: aiohttp.ClientWebSocketResponse, end: bytes) -> bytes:
    """Return what a dashboard draws, up to and including some bytes."""
    seen = b""
    async with asyncio.timeout(PATIENCE_S):
        while end not in seen:
            message = await socket.receive()
            assert message.type == aiohttp.WSMsgType.BINARY, message
            seen += message.data
    return seen


async def pid_of(socket: aiohttp.ClientWebSocketResponse) -> int:
    """Return the process of a dashboard that has just started; fail if it was running before."""
    async with asyncio.timeout(PATIENCE_S):
        while not (data := (await socket.receive()).data).startswith(b"begun "):
            assert not data.startswith(b"got "), data
    return int(data.split()[1])


async def close_code(socket: aiohttp.ClientWebSocketResponse) -> int:
    """Return the code with which the server closes a websocket."""
    async with asyncio.timeout(PATIENCE_S):
        while (message := await socket.receive()).type == aiohttp.WSMsgType.BINARY:
            pass
    assert message.type == aiohttp.WSMsgType.CLOSE
    return int(message.data)
