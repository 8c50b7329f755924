"""The encrypted way to a paired craft: known by its key before a word is said to it.

Dates and names in its certificate are of no account: a board without a clock has no dates. What
counts is that it proves to hold the key of the pinned certificate.
"""

import asyncio
import contextlib
import socket
from dataclasses import dataclass

from groundside.connection.address import shown
from groundside.connection.crafts import Craft
from groundside.words.refusals import refusal_text
from groundside.words.units import DEFAULT
from onboard.contract.codec import ContractError, SchemaError, from_line
from onboard.contract.messages import Hello, Message, Paired, TurnedAway
from onboard.crew.invitation import Invitation
from onboard.crew.joining import Join, Pair
from onboard.crew.keys import fingerprint
from onboard.crew.members import good_name
from onboard.crew.pinning import client_context, is_pinned
from onboard.errors import FeedError

CONNECT_S = 3.0
ANSWER_S = 6.0
"""The daemon waits five seconds for a first line; writing a new viewer to a card takes some."""
FIRST_LINE_MOST_BYTES = 1 << 16

PAIR_ANEW = "have the craft make another with: wattwake-onboard pair"


class OtherKeyError(FeedError):
    """What answers is not the craft that was paired with."""


@dataclass(frozen=True, eq=False)
class Joined:
    """A feed that let this machine in, and the first line that it said."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    first: bytes
    host: str


async def connected(
    host: str, port: int, pin: bytes, within_s: float = CONNECT_S
) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """Connect to what proves to hold the pinned key, and say nothing yet.

    Parameters
    ----------
    host, port
        Where.
    pin
        The fingerprint of its certificate, or at least 16 bytes of its begin.
    within_s
        How long it may take [s].

    Raises
    ------
    OtherKeyError
        If something with another key answers.
    OSError
        If nothing answers, or nothing that encrypts.
    """
    assert len(pin) >= 16
    try:
        async with asyncio.timeout(within_s):
            reader, writer = await asyncio.open_connection(
                host, port, ssl=client_context(), server_hostname="", limit=FIRST_LINE_MOST_BYTES
            )
    except ValueError as problem:  # a host name that cannot be one
        raise OSError(str(problem)) from None
    if not is_pinned(writer.get_extra_info("ssl_object"), pin):
        writer.transport.abort()
        raise OtherKeyError(shown(host, port))
    return reader, writer


async def joined(craft: Craft) -> Joined:
    """Return the feed of a paired craft, let in and ready to be read.

    Raises
    ------
    FeedError
        If what answers has another key, or does not let this machine in.
    OSError
        If it does not answer.
    """
    reader, writer, host = await _first_that_answers(
        craft.hosts, craft.port, bytes.fromhex(craft.fingerprint), craft.name
    )
    try:
        first = await _answer(reader, writer, Join(craft.token).as_line())
    except BaseException:
        writer.transport.abort()
        raise
    message = _message(first)
    if message is None or isinstance(message, TurnedAway):
        writer.transport.abort()
        raise FeedError(_why_not(craft.name, message))
    return Joined(reader, writer, first, host)


def _message(line: bytes) -> Message | None:
    try:
        return from_line(line)
    except SchemaError:
        # It is let in; the reader of the feed says that it speaks otherwise.
        return Hello("", 0.0)
    except ContractError:
        return None


def _why_not(name: str, message: TurnedAway | None) -> str:
    if message is not None and message.why is not None:
        return f"{name} lets nobody in now: {refusal_text(message.why, DEFAULT)}"
    return f"{name} does not let this machine in: it was revoked, or must be paired anew"


async def pair_with(invitation: Invitation, own_name: str) -> Craft:
    """Spend a code; give the craft as it is to be remembered.

    Raises
    ------
    FeedError
        If the craft cannot be reached, is another, or does not take the code.
    """
    try:
        reader, writer, host = await _first_that_answers(
            invitation.addresses, invitation.port, invitation.pin, "the craft of this pairing text"
        )
    except OSError:
        places = ", ".join(shown(one, invitation.port) for one in invitation.addresses)
        raise FeedError(f"no craft answers at {places}: be in its network, and try again") from None
    try:
        certificate = writer.get_extra_info("ssl_object").getpeercert(binary_form=True)
        line = await _answer(reader, writer, Pair(invitation.code, own_name).as_line())
    except OSError:
        raise FeedError(f"the craft broke off within the pairing: {PAIR_ANEW}") from None
    finally:
        writer.transport.abort()
    paired = _message(line)
    if not isinstance(paired, Paired):
        raise FeedError(f"this pairing text was used, revoked or has lapsed: {PAIR_ANEW}")
    name = paired.craft if good_name(paired.craft) else "craft"
    key = fingerprint(certificate).hex()
    return Craft(name, key, paired.token, paired.role, (host,), invitation.port)


def own_name() -> str:
    """Return what this machine calls itself."""
    name = "".join(one for one in socket.gethostname() if one.isprintable()).strip()[:30].strip()
    return name or "viewer"


async def answers_at(craft: Craft, host: str, port: int, within_s: float) -> bool:
    """Return whether a craft is at an address, by its key; nothing is said to it."""
    try:
        _, writer = await connected(host, port, bytes.fromhex(craft.fingerprint), within_s)
    except (OSError, FeedError):
        return False
    writer.transport.abort()
    return True


async def _first_that_answers(
    hosts: tuple[str, ...], port: int, pin: bytes, name: str
) -> tuple[asyncio.StreamReader, asyncio.StreamWriter, str]:
    """Connect to the first address that holds the key."""
    other: OtherKeyError | None = None
    problem: OSError = ConnectionRefusedError()
    for host in hosts:
        try:
            return *(await connected(host, port, pin)), host
        except OtherKeyError as found:
            other = found
        except OSError as found:
            problem = found
    if other is not None:
        raise OtherKeyError(
            f"what answers at {other} is not {name}: its key is another. Somebody else may be "
            "answering. If the craft's key was made anew, pair again on it"
        )
    raise problem


async def _answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, said: bytes) -> bytes:
    """Say the first line and give the first that comes back."""
    writer.write(said)
    with contextlib.suppress(asyncio.LimitOverrunError, ValueError):
        async with asyncio.timeout(ANSWER_S):
            if line := await reader.readline():
                return line
    raise ConnectionResetError("broke off")
