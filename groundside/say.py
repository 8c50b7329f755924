"""Says one thing to the daemon over a connection of its own, and prints how it fared."""

import asyncio
import contextlib
import sys
from typing import Any, TextIO

from groundside.answers import ANSWER_S, Ack, Answers, printable
from groundside.charge_words import charge_told
from groundside.feed_client import CHUNK_BYTES, LONGEST_LINE_BYTES, SCHEMA, decode_line, shown
from onboard.feed.lines import LineSplitter


def setting(key: str, value: Any) -> dict[str, Any]:
    """Give the command that sets something.

    Examples
    --------
    >>> setting("home", "here")
    {'kind': 'set', 'key': 'home', 'value': 'here'}
    """
    return {"kind": "set", "key": key, "value": value}


def mark(name: str, text: str = "", **more: float | str) -> dict[str, Any]:
    """Give the command that marks something which happens now.

    `charged` comes with its amount, `unplugged` with its `source`.
    """
    return {"kind": "mark", "mark": name, "text": text} | more


async def say(host: str, port: int, command: dict[str, Any], *, timeout_s: float = ANSWER_S) -> Ack:
    """Say one thing to the daemon.

    Parameters
    ----------
    host, port
        Where the feed is served.
    command
        As of `setting` and `mark`.
    timeout_s
        For the connection, and again for the answer [s].

    Returns
    -------
    Ack
        How it fared; whatever goes wrong is a sentence in it.
    """
    where = shown(host, port)
    answers = Answers(f"feed at {where}")
    try:
        number, line = answers.line(command)
    except ValueError as problem:
        return Ack(False, str(problem))
    try:
        async with asyncio.timeout(timeout_s):
            reader, writer = await asyncio.open_connection(host, port)
    except (OSError, ValueError):  # ValueError: a host name that cannot be one
        return Ack(False, f"no feed at {where}: nothing was said")
    reading: asyncio.Task[None] | None = None
    try:
        problem_there = await _no_feed(reader, timeout_s)
        if problem_there is not None:
            return Ack(False, f"{problem_there.format(where=where)}: nothing was said")
        writer.write(line)
        reading = asyncio.create_task(_read(reader, answers))
        return await answers.wait(number, timeout_s)
    finally:
        if reading is not None:
            reading.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await reading
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()


def told(command: dict[str, Any], ack: Ack) -> str:
    """Give how a command fared as one line.

    Examples
    --------
    >>> told(mark("charged_full"), Ack(True))
    'charged_full: done'
    >>> told(mark("charged", charged_wh=250.0), Ack(True))
    'charged 250 Wh: done'
    >>> told(setting("target_speed_mps", -1), Ack(False, "value = -1: expected more"))
    'target_speed_mps -1: refused: value = -1: expected more'
    """
    done = ack.command or command
    if done.get("kind") == "set":
        value = done.get("value")
        what = f"{done.get('key')} {'cleared' if value is None else value}"
    else:
        what = " ".join(filter(None, (done.get("mark"), charge_told(done), done.get("text"))))
    word = {True: "done", False: "refused", None: "not known"}[ack.ok]
    return printable(f"{what}: {word}" if ack.why is None else f"{what}: {word}: {ack.why}")


def print_told(command: dict[str, Any], ack: Ack, out: TextIO | None = None) -> None:
    """Print how a command fared; what was not done goes to stderr unless told where."""
    print(told(command, ack), file=out or (sys.stdout if ack.ok else sys.stderr), flush=True)


async def _no_feed(reader: asyncio.StreamReader, timeout_s: float) -> str | None:
    """Read the first line; give what is wrong where it is not that of a feed we know."""
    try:
        async with asyncio.timeout(timeout_s):
            line = await reader.readline()
    except (OSError, ValueError):  # ValueError: a line without end
        line = b""
    greeting = decode_line(line)
    if greeting is None or greeting.get("kind") != "hello":
        return "what answers at {where} is not a feed"
    if greeting.get("schema") != SCHEMA:
        return f"feed at {{where}} does not speak schema {SCHEMA}, as this viewer does"
    return None


async def _read(reader: asyncio.StreamReader, answers: Answers) -> None:
    """Hand on what the daemon says until it says no more."""
    splitter = LineSplitter(LONGEST_LINE_BYTES)
    with contextlib.suppress(OSError):
        while data := await reader.read(CHUNK_BYTES):
            for line in splitter.feed(data):
                message = decode_line(line)
                if message is not None:
                    answers.take(message)
    answers.broken_off()
