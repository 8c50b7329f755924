"""Discovery of the daemon's feed without an address: on this machine, then on the local network.

On the network only paired crafts are accepted, each verified by its key.
"""

import asyncio
import contextlib
from collections.abc import Callable

from groundside.connection.address import format_address
from groundside.connection.crafts import Craft
from groundside.connection.crew_client import answers_at
from onboard.contract.messages import Hello
from onboard.crew.announce import SERVICE
from onboard.crew.keys import short_id
from onboard.dataclass import dataclass
from onboard.feed.lines import decoded

LOOPBACK = "127.0.0.1"
LOOPBACK_TIMEOUT_S = 0.5
LISTEN_S = 3.0
"""Time to listen for announcements on the network [s]."""
ASK_TIMEOUT_S = 1.0
"""Time for an announced daemon to give its address [s]; twice that to prove its key."""
EXTRA = "pip install 'wattwake[find]'"


@dataclass(frozen=True)
class AnnouncedDaemon:
    """A daemon that announces itself: its name, feed address, and the first digits of its key."""

    name: str
    host: str
    port: int
    id: str = ""


@dataclass(frozen=True)
class FeedAddress:
    """The address of a feed, and how it was determined.

    Parameters
    ----------
    host, port
        Where to connect; None if the rider must choose.
    notes
        Sentences on what was tried and found.
    not_found
        A few words for the screen if nothing was found; else empty.
    craft
        The paired craft at that address, if any.
    """

    host: str | None
    port: int
    notes: tuple[str, ...]
    not_found: str = ""
    craft: Craft | None = None


async def find_feed(
    port: int,
    *,
    listen_s: float = LISTEN_S,
    report: Callable[[str], None] = lambda _: None,
    crafts: tuple[Craft, ...] = (),
) -> FeedAddress:
    """Find a feed: on this machine, else paired crafts at their last addresses, else by mDNS.

    Parameters
    ----------
    port
        The feed's default port.
    listen_s
        Time to listen for multicast DNS (RFC 6762) announcements [s].
    report
        Called with a sentence before each slow step.
    crafts
        The crafts that this machine is paired with.

    Returns
    -------
    FeedAddress
        The feed found; loopback if there is none, as a daemon may yet start there.
    """
    loopback = format_address(LOOPBACK, port)
    if await _greets(LOOPBACK, port):
        return FeedAddress(LOOPBACK, port, ())
    answering = await _at_last_addresses(crafts)
    if answering:
        return _choose(answering, ())
    report(f"nothing answers at {loopback}: searching the network for {listen_s:g} s")
    waiting = f"waiting at {loopback}; to go elsewhere: watch HOST[:PORT]"
    try:
        announced = await announced_daemons(listen_s)
    except ImportError:
        tried = (
            f"nothing answers at {loopback}, and the network was not searched: that needs {EXTRA}"
        )
        brief = f"nothing on this machine; to search the network: {EXTRA}"
        return FeedAddress(LOOPBACK, port, (tried, waiting), brief)
    except OSError as problem:
        announced = ()
        network = f"the network could not be searched ({problem.strerror or problem})"
    else:
        network = f"nothing announced itself on the network for {listen_s:g} s"
    paired = await _paired(announced, crafts)
    unpaired = tuple(
        f"{one.name} at {format_address(one.host, one.port)} is not paired with this machine: "
        "on it, wattwake-onboard pair prints what to type here"
        for one in announced
        if one.id not in {_id(craft) for craft in crafts}
    )
    if paired:
        return _choose(paired, unpaired)
    if unpaired:
        return FeedAddress(None, port, unpaired)
    brief = "nothing found here nor on the network; give its address: watch HOST"
    tried = f"nothing answers at {loopback}, and {network}"
    return FeedAddress(LOOPBACK, port, (tried, waiting), brief)


def _id(craft: Craft) -> str:
    return short_id(bytes.fromhex(craft.fingerprint))


def _choose(crafts: list[Craft], more_notes: tuple[str, ...]) -> FeedAddress:
    """Return the address of the only craft; with several, leave the choice to the rider."""
    if len(crafts) == 1:
        craft = crafts[0]
        where = format_address(craft.hosts[0], craft.port)
        notes = (f"found {craft.name} at {where}", *more_notes)
        return FeedAddress(craft.hosts[0], craft.port, notes, craft=craft)
    listed = [f"  {one.name}: watch {format_address(one.hosts[0], one.port)}" for one in crafts]
    return FeedAddress(None, 0, (f"{len(crafts)} crafts answer; choose one:", *listed))


async def _at_last_addresses(crafts: tuple[Craft, ...]) -> list[Craft]:
    """Return the crafts that answer at their last addresses; all are tried at once."""
    asked = [(craft, host) for craft in crafts for host in craft.hosts]
    answers = await asyncio.gather(
        *(answers_at(craft, host, craft.port, 2 * ASK_TIMEOUT_S) for craft, host in asked)
    )
    found: dict[str, Craft] = {}
    for (craft, host), answered in zip(asked, answers, strict=True):
        if answered:
            found.setdefault(craft.fingerprint, craft.found_at(host, craft.port))
    return list(found.values())


async def _paired(announced: tuple[AnnouncedDaemon, ...], crafts: tuple[Craft, ...]) -> list[Craft]:
    """Return the paired crafts among the announced daemons, each verified by its key."""
    found = []
    for craft in crafts:
        for one in announced:
            if one.id == _id(craft) and await answers_at(
                craft, one.host, one.port, 2 * ASK_TIMEOUT_S
            ):
                found.append(craft.found_at(one.host, one.port))
                break
    return found


async def _greets(host: str, port: int) -> bool:
    """Return whether a plain feed answers at an address."""
    try:
        async with asyncio.timeout(LOOPBACK_TIMEOUT_S):
            reader, writer = await asyncio.open_connection(host, port)
    except (OSError, TimeoutError):
        return False
    try:
        async with asyncio.timeout(LOOPBACK_TIMEOUT_S):
            greeting = decoded(await reader.readline())
    except (OSError, TimeoutError, ValueError):
        return False  # something else listens there
    finally:
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()
    return isinstance(greeting, Hello)


async def announced_daemons(listen_s: float) -> tuple[AnnouncedDaemon, ...]:
    """Return the daemons announced within `listen_s` [s].

    Raises
    ------
    ImportError
        If the mDNS library is not installed.
    OSError
        If there is no network to listen on.
    """
    from zeroconf import IPVersion
    from zeroconf.asyncio import AsyncServiceBrowser, AsyncServiceInfo, AsyncZeroconf

    names: set[str] = set()

    def on_service(*, name: str, **_more: object) -> None:
        names.add(name)

    mdns = AsyncZeroconf(ip_version=IPVersion.V4Only)
    try:
        browser = AsyncServiceBrowser(mdns.zeroconf, SERVICE, handlers=[on_service])
        await asyncio.sleep(listen_s)
        await browser.async_cancel()
        found = []
        for name in sorted(names):
            info = AsyncServiceInfo(SERVICE, name)
            if not await info.async_request(mdns.zeroconf, int(ASK_TIMEOUT_S * 1000)):
                continue
            hosts = info.parsed_scoped_addresses(IPVersion.V4Only)
            if hosts and info.port:
                plain = "".join(c if c.isprintable() else "?" for c in name)
                key_id = info.decoded_properties.get("id") or ""
                found.append(
                    AnnouncedDaemon(plain.removesuffix(f".{SERVICE}"), hosts[0], info.port, key_id)
                )
        return tuple(found)
    finally:
        await mdns.async_close()
