"""The viewer's end of the encrypted feed: a paired craft proves its key before anything is sent.

Dates and names in its certificate are ignored, as a board without a clock has no valid dates. The
craft must prove that it holds the private key of the pinned certificate.
"""

import asyncio
import contextlib
import socket

from groundside.connection.address import format_address
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
from onboard.dataclass import dataclass
from onboard.errors import FeedError

CONNECT_TIMEOUT_S = 3.0
REPLY_TIMEOUT_S = 6.0
"""Time limit for a reply [s]: the daemon allows 5 s for a first line, and an SD card is slow."""
FIRST_LINE_MOST_BYTES = 1 << 16

PAIR_AGAIN = "have the craft make another with: wattwake-onboard pair"


class KeyMismatchError(FeedError):
    """The peer that answers does not hold the key of the paired craft."""


@dataclass(frozen=True, eq=False)
class JoinedFeed:
    """A connection that the craft has accepted, and the first line received on it."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    first_line: bytes
    host: str


async def connect(
    host: str, port: int, pin: bytes, timeout_s: float = CONNECT_TIMEOUT_S
) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """Connect to a peer that proves it holds the pinned key; send nothing yet.

    Parameters
    ----------
    host, port
        Address of the encrypted feed.
    pin
        Fingerprint of its certificate, or at least the first 16 bytes.
    timeout_s
        Time limit [s].

    Raises
    ------
    KeyMismatchError
        If a peer with another key answers.
    OSError
        If nothing answers, or the peer does not speak TLS.
    """
    assert len(pin) >= 16
    try:
        async with asyncio.timeout(timeout_s):
            reader, writer = await asyncio.open_connection(
                host, port, ssl=client_context(), server_hostname="", limit=FIRST_LINE_MOST_BYTES
            )
    except ValueError as problem:  # an impossible host name
        raise OSError(str(problem)) from None
    if not is_pinned(writer.get_extra_info("ssl_object"), pin):
        writer.transport.abort()
        raise KeyMismatchError(format_address(host, port))
    return reader, writer


async def join(craft: Craft) -> JoinedFeed:
    """Connect to a paired craft and join its feed.

    Raises
    ------
    FeedError
        If the peer has another key, or does not admit this machine.
    OSError
        If nothing answers.
    """
    reader, writer, host = await _connect_to_first(
        craft.hosts, craft.port, bytes.fromhex(craft.fingerprint), craft.name
    )
    try:
        first_line = await _request(reader, writer, Join(craft.token).as_line())
    except BaseException:
        writer.transport.abort()
        raise
    message = _decode(first_line)
    if message is None or isinstance(message, TurnedAway):
        writer.transport.abort()
        raise FeedError(_refusal(craft.name, message))
    return JoinedFeed(reader, writer, first_line, host)


def _decode(line: bytes) -> Message | None:
    try:
        return from_line(line)
    except SchemaError:
        # This machine is admitted; the feed client reports the schema.
        return Hello("", 0.0)
    except ContractError:
        return None


def _refusal(name: str, message: TurnedAway | None) -> str:
    if message is not None and message.why is not None:
        return f"{name} lets nobody in now: {refusal_text(message.why, DEFAULT)}"
    return f"{name} does not let this machine in: it was revoked, or must be paired anew"


async def pair_with(invitation: Invitation, own_name: str) -> Craft:
    """Redeem a pairing code; return the craft to remember.

    Raises
    ------
    FeedError
        If the craft cannot be reached, has another key, or does not accept the code.
    """
    try:
        reader, writer, host = await _connect_to_first(
            invitation.addresses, invitation.port, invitation.pin, "the craft of this pairing text"
        )
    except OSError:
        tried = ", ".join(format_address(one, invitation.port) for one in invitation.addresses)
        raise FeedError(f"no craft answers at {tried}: be in its network, and try again") from None
    try:
        certificate = writer.get_extra_info("ssl_object").getpeercert(binary_form=True)
        line = await _request(reader, writer, Pair(invitation.code, own_name).as_line())
    except OSError:
        raise FeedError(f"the craft broke off within the pairing: {PAIR_AGAIN}") from None
    finally:
        writer.transport.abort()
    paired = _decode(line)
    if not isinstance(paired, Paired):
        raise FeedError(f"this pairing text was used, revoked or has lapsed: {PAIR_AGAIN}")
    name = paired.craft if good_name(paired.craft) else "craft"
    key = fingerprint(certificate).hex()
    return Craft(name, key, paired.token, paired.role, (host,), invitation.port)


def own_name() -> str:
    """Return this machine's name for pairing."""
    name = "".join(one for one in socket.gethostname() if one.isprintable()).strip()[:30].strip()
    return name or "viewer"


async def answers_at(craft: Craft, host: str, port: int, timeout_s: float) -> bool:
    """Return whether a craft is at an address, verified by its key; send it nothing."""
    try:
        _, writer = await connect(host, port, bytes.fromhex(craft.fingerprint), timeout_s)
    except (OSError, FeedError):
        return False
    writer.transport.abort()
    return True


async def _connect_to_first(
    hosts: tuple[str, ...], port: int, pin: bytes, name: str
) -> tuple[asyncio.StreamReader, asyncio.StreamWriter, str]:
    """Connect to the first host that holds the craft's key."""
    mismatch: KeyMismatchError | None = None
    problem: OSError = ConnectionRefusedError()
    for host in hosts:
        try:
            return *(await connect(host, port, pin)), host
        except KeyMismatchError as error:
            mismatch = error
        except OSError as error:
            problem = error
    if mismatch is not None:
        raise KeyMismatchError(
            f"what answers at {mismatch} is not {name}: its key is another. Somebody else may be "
            "answering. If the craft's key was made anew, pair again on it"
        )
    raise problem


async def _request(
    reader: asyncio.StreamReader, writer: asyncio.StreamWriter, line: bytes
) -> bytes:
    """Send the first line and return the first line of the reply."""
    writer.write(line)
    with contextlib.suppress(asyncio.LimitOverrunError, ValueError):
        async with asyncio.timeout(REPLY_TIMEOUT_S):
            if reply := await reader.readline():
                return reply
    raise ConnectionResetError("broke off")
