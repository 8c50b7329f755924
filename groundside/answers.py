"""What a viewer said to the daemon, and which answer belongs to it."""

import asyncio
import itertools
import json
from dataclasses import dataclass
from typing import Any

from onboard.contract.commands import LONGEST_BYTES

ANSWER_S = 3.0
"""The daemon answers at its next turn, 0.2 s later at the most; the rest is for the network."""

MAYBE = "it may have been done or not: look before saying it again"


@dataclass(frozen=True)
class Ack:
    """How a command fared.

    Parameters
    ----------
    ok
        Whether it was done; None where nobody knows, because no answer came.
    why
        A plain sentence where it was not, or is not known; else None.
    command
        What was done, as the daemon understood it.
    """

    ok: bool | None
    why: str | None = None
    command: dict[str, Any] | None = None


def printable(value: Any) -> str:
    """Give text that no terminal takes for a command of its own."""
    return "".join(one for one in str(value)[:LONGEST_BYTES] if one.isprintable())


class Answers:
    """Numbers commands on one connection and waits for their answers.

    Parameters
    ----------
    where
        What to call the daemon in a sentence.
    """

    def __init__(self, where: str) -> None:
        self._where = where
        self._ids = itertools.count(1)
        self._open: dict[int, asyncio.Future[Ack]] = {}

    def line(self, command: dict[str, Any]) -> tuple[int, bytes]:
        """Give a command its number, and the line that says it.

        Raises
        ------
        ValueError
            If it does not fit a line, or is nothing that JSON can say.
        """
        number = next(self._ids)
        try:
            # Not escaped: it takes less room, and the daemon reads UTF-8.
            text = json.dumps(
                {**command, "id": number},
                ensure_ascii=False,
                allow_nan=False,
                separators=(",", ":"),
            )
            line = text.encode()
        except (TypeError, ValueError, RecursionError):
            raise ValueError("this is no command: it is nothing that JSON can say") from None
        if len(line) > LONGEST_BYTES:
            raise ValueError(f"this is too long: a command takes at most {LONGEST_BYTES} bytes")
        self._open[number] = asyncio.get_running_loop().create_future()
        return number, line + b"\n"

    async def wait(self, number: int, timeout_s: float) -> Ack:
        """Wait for an answer; say so where none comes."""
        try:
            async with asyncio.timeout(timeout_s):
                return await self._open[number]
        except TimeoutError:
            return Ack(None, f"no answer from {self._where} within {timeout_s:g} s: {MAYBE}")
        finally:
            self._open.pop(number, None)

    def take(self, message: dict[str, Any]) -> None:
        """Take a message of the daemon; what answers nothing of ours is let go."""
        number = message.get("id")
        if message.get("kind") != "ack" or message.get("by") is False or type(number) is not int:
            return
        waiting = self._open.get(number)
        if waiting is None or waiting.done():
            return
        command = message.get("command")
        done = message.get("ok") is True
        why = None if done else printable(message.get("why") or "the daemon gives no reason")
        waiting.set_result(Ack(done, why, command if isinstance(command, dict) else None))

    def broken_off(self) -> None:
        """End all waiting: the connection is no more."""
        for waiting in self._open.values():
            if not waiting.done():
                waiting.set_result(
                    Ack(None, f"{self._where} broke off before it answered: {MAYBE}")
                )
