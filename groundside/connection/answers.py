"""Commands sent to the daemon, matched with their answers."""

import asyncio
import itertools
import json
from dataclasses import dataclass, replace

from groundside.words.refusals import refusal_text
from groundside.words.units import Units
from onboard.contract.commands import LONGEST_BYTES, Command
from onboard.contract.messages import Ack
from onboard.contract.refusals import Refusal

ANSWER_S = 3.0
"""The daemon answers within its next turn of 0.2 s; the rest is for the network."""

NO_REASON = "the daemon gives no reason"
MAYBE = "it may or may not have been done: check before trying again"


@dataclass(frozen=True)
class Said:
    """How a command fared.

    Parameters
    ----------
    ok
        Whether it was done; None if that is not known, because no answer came.
    why
        Why it was not: the daemon's refusal, or a sentence of our own; None if it was done.
    command
        What was done, as the daemon understood it.
    """

    ok: bool | None
    why: Refusal | str | None = None
    command: Command | None = None

    def why_text(self, units: Units) -> str:
        """Return why it was not done, in words."""
        return refusal_text(self.why, units) if isinstance(self.why, Refusal) else self.why or ""


class Answers:
    """Numbers the commands on one connection and waits for their answers.

    Parameters
    ----------
    where
        What to call the daemon in a sentence.
    """

    def __init__(self, where: str) -> None:
        self._where = where
        self._ids = itertools.count(1)
        self._open: dict[int, asyncio.Future[Said]] = {}

    def line(self, command: Command) -> tuple[int, bytes]:
        """Return a number for a command, and the line to send.

        Raises
        ------
        ValueError
            If it is too long for a line, or JSON cannot express it.
        """
        number = next(self._ids)
        try:
            # Not escaped: it is shorter, and the daemon reads UTF-8.
            text = json.dumps(
                replace(command, id=number).as_dict(),
                ensure_ascii=False,
                allow_nan=False,
                separators=(",", ":"),
            )
            line = text.encode()
        except (TypeError, ValueError, RecursionError):
            raise ValueError("this is not a command: JSON cannot express it") from None
        if len(line) > LONGEST_BYTES:
            raise ValueError(f"this is too long: a command takes at most {LONGEST_BYTES} bytes")
        self._open[number] = asyncio.get_running_loop().create_future()
        return number, line + b"\n"

    async def wait(self, number: int, timeout_s: float) -> Said:
        """Wait for an answer; if none comes, return that."""
        try:
            async with asyncio.timeout(timeout_s):
                return await self._open[number]
        except TimeoutError:
            return Said(None, f"no answer from {self._where} within {timeout_s:g} s: {MAYBE}")
        finally:
            self._open.pop(number, None)

    def take(self, ack: Ack) -> None:
        """Take an answer from the daemon; ignore one that answers nothing sent here."""
        waiting = None if ack.id is None or not ack.by else self._open.get(ack.id)
        if waiting is None or waiting.done():
            return
        why = None if ack.ok else ack.why or NO_REASON
        waiting.set_result(Said(ack.ok, why, ack.command))

    def broken_off(self) -> None:
        """End all waiting: the connection is gone."""
        for waiting in self._open.values():
            if not waiting.done():
                waiting.set_result(
                    Said(None, f"{self._where} disconnected before it answered: {MAYBE}")
                )
