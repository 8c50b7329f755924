"""From what was typed behind `watch` to where the feed is, and how it is to be reached.

Nothing that comes over a network is believed unencrypted: a feed elsewhere is that of a paired
craft, or none.
"""

import asyncio
from collections.abc import Callable
from dataclasses import replace

from groundside.connection.address import parse_address, shown
from groundside.connection.craft_link import CONNECT_S, answers_at, joined, own_name, pair_with
from groundside.connection.crafts import Craft, CraftBook, crafts_path
from groundside.connection.feed_client import FeedClient
from groundside.connection.finding import Finding, find_feed
from onboard.crew.invitation import looks_like_one, parse_invitation
from onboard.errors import UsageError
from onboard.feed.server import is_local
from onboard.profile import DEFAULT_FEED_PORT

Say = Callable[[str], None]


def reach(address: str | None, say: Say) -> Finding:
    """Find the feed; pair first where a pairing text was given.

    Parameters
    ----------
    address
        HOST[:PORT], a craft's name, a pairing text, or None to search.
    say
        Told in a sentence what is done.

    Raises
    ------
    WattwakeError
        If there is none that can be had, or the rider must choose.
    """
    book = CraftBook(crafts_path())
    if address is None:
        finding = asyncio.run(find_feed(DEFAULT_FEED_PORT, say=say, crafts=book.crafts))
        if finding.host is None:
            raise UsageError("\n".join(finding.said))
        for sentence in finding.said:
            say(sentence)
        if finding.craft is not None:
            return _at_craft(book.remember(finding.craft))
        return _if_believed(finding, book)
    if looks_like_one(address):
        craft = asyncio.run(pair_with(parse_invitation(address), own_name()))
        craft = book.remember(craft)
        say(f"paired with {craft.name}: from now on `watch` finds it by itself")
        return _at_craft(craft)
    named = book.named(address)
    if named is not None:
        return _at_craft(named)
    host, port = parse_address(address, DEFAULT_FEED_PORT)
    # Without a port it is this board's plain feed that is meant by a local address.
    named_port = parse_address(address, 0)[1] or (port if is_local(host) else None)
    known = book.at(host, named_port)
    if known is None and not is_local(host):
        known = asyncio.run(craft_that_answers(book.crafts, host, named_port))
        known = known and book.remember(known)
    return _at_craft(known) if known else _if_believed(Finding(host, port, ()), book)


async def craft_that_answers(
    crafts: tuple[Craft, ...], host: str, port: int | None
) -> Craft | None:
    """Return the paired craft that is at an address where it was never before, by its key.

    Parameters
    ----------
    crafts
        Those that this machine is paired with.
    host, port
        Where; without a port where each was before.
    """
    for craft in crafts:
        if await answers_at(craft, host, port or craft.port, CONNECT_S):
            return craft.found_at(host, port or craft.port)
    return None


def feed_at(finding: Finding) -> FeedClient:
    """Return the feed that was found, encrypted where it is a paired craft's.

    Raises
    ------
    FeedError
        If the craft answers and has another key, or does not let this machine in.
    """
    craft = finding.craft
    if craft is None:
        return FeedClient(finding.host or "", finding.port)
    asyncio.run(_try(craft))
    return FeedClient(finding.host or "", finding.port, dial=lambda: joined(craft))


async def _try(craft: Craft) -> None:
    """See that the craft lets us in; that it is not there yet is no fault."""
    try:
        there = await joined(craft)
    except OSError:
        return
    there.writer.transport.abort()


def _at_craft(craft: Craft) -> Finding:
    return Finding(craft.hosts[0], craft.port, (), craft=craft)


def _if_believed(finding: Finding, book: CraftBook) -> Finding:
    """Return a feed that comes from this machine itself.

    Raises
    ------
    UsageError
        If it does not.
    """
    host = finding.host or ""
    if is_local(host):
        return replace(finding, said=())
    paired = "; ".join(f"{one.name} at {shown(one.hosts[0], one.port)}" for one in book.crafts)
    raise UsageError(
        f"{shown(host, finding.port)}: this machine is not paired with it: on the craft, "
        "wattwake-onboard pair prints what to type here"
        + (f" (paired with: {paired})" if paired else "")
    )
