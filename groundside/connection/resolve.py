"""Resolve the argument of `watch` to a feed: its address, and whether it is encrypted.

Nothing unencrypted from the network is trusted: a feed on another machine is a paired craft's, or
it is refused.
"""

import asyncio
from collections.abc import Callable
from dataclasses import replace

from groundside.connection.address import format_address, parse_address
from groundside.connection.crafts import Craft, CraftBook, crafts_path
from groundside.connection.crew_client import (
    CONNECT_TIMEOUT_S,
    answers_at,
    join,
    own_name,
    pair_with,
)
from groundside.connection.discovery import FeedAddress, find_feed
from groundside.connection.feed_client import FeedClient
from onboard.crew.invitation import looks_like_one, parse_invitation
from onboard.errors import UsageError
from onboard.feed.server import is_local
from onboard.profile import DEFAULT_FEED_PORT


def resolve_feed(argument: str | None, report: Callable[[str], None]) -> FeedAddress:
    """Return the address of the feed; given a pairing text, pair first.

    Parameters
    ----------
    argument
        HOST[:PORT], a craft's name or a pairing text; None searches.
    report
        Called with a sentence at each step.

    Raises
    ------
    WattwakeError
        If no feed is available, or the rider must choose.
    """
    book = CraftBook(crafts_path())
    if argument is None:
        found = asyncio.run(find_feed(DEFAULT_FEED_PORT, report=report, crafts=book.crafts))
        if found.host is None:
            raise UsageError("\n".join(found.notes))
        for sentence in found.notes:
            report(sentence)
        if found.craft is not None:
            return _craft_address(book.remember(found.craft))
        return _require_local(found, book)
    if looks_like_one(argument):
        craft = book.remember(asyncio.run(pair_with(parse_invitation(argument), own_name())))
        report(f"paired with {craft.name}: from now on `watch` finds it by itself")
        return _craft_address(craft)
    named = book.named(argument)
    if named is not None:
        return _craft_address(named)
    host, port = parse_address(argument, DEFAULT_FEED_PORT)
    # Without a port, a local address means this board's plain feed.
    named_port = parse_address(argument, 0)[1] or (port if is_local(host) else None)
    known = book.at(host, named_port)
    if known is None and not is_local(host):
        known = asyncio.run(find_craft_at(book.crafts, host, named_port))
        known = known and book.remember(known)
    return _craft_address(known) if known else _require_local(FeedAddress(host, port, ()), book)


async def find_craft_at(crafts: tuple[Craft, ...], host: str, port: int | None) -> Craft | None:
    """Return the paired craft found, verified by its key, at an address not yet stored for it.

    Parameters
    ----------
    crafts
        The crafts that this machine is paired with.
    host, port
        The address; without a port, each craft's last port is tried.
    """
    for craft in crafts:
        if await answers_at(craft, host, port or craft.port, CONNECT_TIMEOUT_S):
            return craft.found_at(host, port or craft.port)
    return None


def open_feed(address: FeedAddress) -> FeedClient:
    """Return a client for the feed at an address, encrypted if it is a paired craft's.

    Raises
    ------
    FeedError
        If the peer has another key, or does not admit this machine.
    """
    craft = address.craft
    if craft is None:
        return FeedClient(address.host or "", address.port)
    asyncio.run(_try_to_join(craft))
    return FeedClient(address.host or "", address.port, connect=lambda: join(craft))


async def _try_to_join(craft: Craft) -> None:
    """Check that the craft admits this machine; an unreachable craft is not an error."""
    try:
        feed = await join(craft)
    except OSError:
        return
    feed.writer.transport.abort()


def _craft_address(craft: Craft) -> FeedAddress:
    return FeedAddress(craft.hosts[0], craft.port, (), craft=craft)


def _require_local(address: FeedAddress, book: CraftBook) -> FeedAddress:
    """Return the address if it is on this machine.

    Raises
    ------
    UsageError
        If it is on another machine.
    """
    host = address.host or ""
    if is_local(host):
        return replace(address, notes=())
    paired = "; ".join(
        f"{one.name} at {format_address(one.hosts[0], one.port)}" for one in book.crafts
    )
    raise UsageError(
        f"{format_address(host, address.port)}: this machine is not paired with it: on the craft, "
        "wattwake-onboard pair prints what to type here"
        + (f" (paired with: {paired})" if paired else "")
    )
