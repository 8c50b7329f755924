"""Commands to the daemon, and their results once it has acknowledged them."""

import asyncio
import itertools
import json
from dataclasses import replace

from groundside.words.refusals import refusal_text
from groundside.words.units import Units
from onboard.contract.commands import (
    LONGEST_BYTES,
    Amount,
    Command,
    Key,
    Mark,
    MarkName,
    Set,
    Value,
)
from onboard.contract.messages import Ack
from onboard.contract.refusals import Refusal
from onboard.dataclass import dataclass

ACK_TIMEOUT_S = 3.0
"""Time limit for an acknowledgement [s]: the daemon takes up to 0.2 s, the network the rest."""

NO_REASON = "the daemon gives no reason"
MAYBE = "it may or may not have been done: check before trying again"


def setting(key: Key, value: Value) -> Set:
    """Return a `set` command; its number is assigned on sending.

    Examples
    --------
    >>> setting("home", "here")
    Set(id=0, key='home', value='here')
    """
    return Set(0, key, value)


def mark(name: MarkName, text: str = "", amount: Amount | None = None, source: str = "") -> Mark:
    """Return a `mark` command for the present moment; its number is assigned on sending.

    The mark `charged` takes an amount, `unplugged` a source.
    """
    return Mark(0, name, text, amount, source)


@dataclass(frozen=True)
class CommandResult:
    """The result of a command.

    Parameters
    ----------
    ok
        Whether it was carried out; None if unknown, because no acknowledgement came.
    why
        Reason for a failure: the daemon's refusal, or the viewer's own sentence; None on success.
    command
        The command carried out, as the daemon understood it.
    """

    ok: bool | None
    why: Refusal | str | None = None
    command: Command | None = None

    def why_text(self, units: Units) -> str:
        """Return the reason for a failure in words."""
        return refusal_text(self.why, units) if isinstance(self.why, Refusal) else self.why or ""


class PendingCommands:
    """Numbers the commands of one connection and matches them with acknowledgements.

    Parameters
    ----------
    daemon
        Name of the daemon in sentences.
    """

    def __init__(self, daemon: str) -> None:
        self._daemon = daemon
        self._ids = itertools.count(1)
        self._pending: dict[int, asyncio.Future[CommandResult]] = {}

    def encode(self, command: Command) -> tuple[int, bytes]:
        """Return the number given to a command, and the line to send.

        Raises
        ------
        ValueError
            If the line would be too long, or JSON cannot express the command.
        """
        number = next(self._ids)
        try:
            # Without ASCII escapes: shorter, and the daemon reads UTF-8.
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
        self._pending[number] = asyncio.get_running_loop().create_future()
        return number, line + b"\n"

    async def wait(self, number: int, timeout_s: float) -> CommandResult:
        """Wait for an acknowledgement; the result is unknown if none comes in time."""
        try:
            async with asyncio.timeout(timeout_s):
                return await self._pending[number]
        except TimeoutError:
            problem = f"no answer from {self._daemon} within {timeout_s:g} s: {MAYBE}"
            return CommandResult(None, problem)
        finally:
            self._pending.pop(number, None)

    def acknowledge(self, ack: Ack) -> None:
        """Resolve the command that an acknowledgement is for, if it was sent from here."""
        pending = None if ack.id is None or not ack.by else self._pending.get(ack.id)
        if pending is None or pending.done():
            return
        why = None if ack.ok else ack.why or NO_REASON
        pending.set_result(CommandResult(ack.ok, why, ack.command))

    def disconnect(self) -> None:
        """Resolve all pending commands as unknown: the connection is gone."""
        problem = f"{self._daemon} disconnected before it answered: {MAYBE}"
        for pending in self._pending.values():
            if not pending.done():
                pending.set_result(CommandResult(None, problem))
