"""Finds the daemon's feed without an address: on this machine, then on the local network.

Of what answers on a network, paired crafts only are taken, each known by its key.
"""

import asyncio
import contextlib
from collections.abc import Callable
from dataclasses import dataclass

from groundside.connection.address import shown
from groundside.connection.craft_link import answers_at
from groundside.connection.crafts import Craft
from onboard.contract.messages import Hello
from onboard.crew.announce import SERVICE
from onboard.crew.keys import short_id
from onboard.feed.lines import decoded

LOOPBACK = "127.0.0.1"
LOOPBACK_S, LOOK_S, ASK_S = 0.5, 3.0, 1.0
"""How long to wait for this machine, for the network, and for one that answered there [s]."""
EXTRA = "pip install 'wattwake[find]'"


@dataclass(frozen=True)
class Found:
    """A daemon that announces itself: its name, where its feed is, and the begin of its key."""

    name: str
    host: str
    port: int
    id: str = ""


@dataclass(frozen=True)
class Finding:
    """Where to look for the feed, and how that was found out.

    Parameters
    ----------
    host, port
        Where to connect; None where the rider must choose.
    said
        What was tried and found, in sentences.
    lacking
        Where nothing was found, the same in a few words for a screen; else empty.
    craft
        The paired craft that it is, where it is one.
    """

    host: str | None
    port: int
    said: tuple[str, ...]
    lacking: str = ""
    craft: Craft | None = None


def _silent(_sentence: str) -> None:
    """Say nothing."""


async def find_feed(
    port: int,
    *,
    look_s: float = LOOK_S,
    say: Callable[[str], None] = _silent,
    crafts: tuple[Craft, ...] = (),
) -> Finding:
    """Find a feed: here, then paired crafts where they were, then what announces itself.

    The last by multicast DNS (RFC 6762).

    Parameters
    ----------
    port
        The feed's usual port.
    look_s
        How long to listen on the network [s].
    say
        Called with a sentence before something takes a while.
    crafts
        Those that this machine is paired with.

    Returns
    -------
    Finding
        The one that was found. Where there is none it is loopback: a daemon may start there yet.
    """
    here = shown(LOOPBACK, port)
    if await _answers(LOOPBACK, port):
        return Finding(LOOPBACK, port, ())
    there = await _where_they_were(crafts)
    if there:
        return _chosen(there, ())
    say(f"nothing answers at {here}: searching the network for {look_s:g} s")
    try:
        found = await _announced(look_s)
    except ImportError:
        return Finding(
            LOOPBACK,
            port,
            (
                f"nothing answers at {here}, and the network was not searched: that needs {EXTRA}",
                f"waiting at {here}; to go elsewhere: watch HOST[:PORT]",
            ),
            f"nothing on this machine; to search the network: {EXTRA}",
        )
    except OSError as problem:
        found = ()
        network = f"the network could not be searched ({problem.strerror or problem})"
    else:
        network = f"nothing announced itself on the network for {look_s:g} s"
    known = await _paired(found, crafts)
    strangers = [one for one in found if one.id not in {_id(craft) for craft in crafts}]
    unpaired = tuple(
        f"{one.name} at {shown(one.host, one.port)} is not paired with this machine: "
        "on it, wattwake-onboard pair prints what to type here"
        for one in strangers
    )
    if known:
        return _chosen(known, unpaired)
    if unpaired:
        return Finding(None, port, unpaired)
    return Finding(
        LOOPBACK,
        port,
        (
            f"nothing answers at {here}, and {network}",
            f"waiting at {here}; to go elsewhere: watch HOST[:PORT]",
        ),
        "nothing found here nor on the network; give its address: watch HOST",
    )


def _id(craft: Craft) -> str:
    return short_id(bytes.fromhex(craft.fingerprint))


def _chosen(there: list[Craft], more: tuple[str, ...]) -> Finding:
    """Take the only one, else have the rider choose."""
    if len(there) == 1:
        craft = there[0]
        where = shown(craft.hosts[0], craft.port)
        said = (f"found {craft.name} at {where}", *more)
        return Finding(craft.hosts[0], craft.port, said, craft=craft)
    listed = [f"  {one.name}: watch {shown(one.hosts[0], one.port)}" for one in there]
    return Finding(None, 0, (f"{len(there)} crafts answer; choose one:", *listed))


async def _where_they_were(crafts: tuple[Craft, ...]) -> list[Craft]:
    """Return the crafts that answer where they were found before, all asked at once."""
    asked = [(craft, host) for craft in crafts for host in craft.hosts]
    answers = await asyncio.gather(
        *(answers_at(craft, host, craft.port, 2 * ASK_S) for craft, host in asked)
    )
    found: dict[str, Craft] = {}
    for (craft, host), answered in zip(asked, answers, strict=True):
        if answered:
            found.setdefault(craft.fingerprint, craft.found_at(host, craft.port))
    return list(found.values())


async def _paired(found: tuple[Found, ...], crafts: tuple[Craft, ...]) -> list[Craft]:
    """Return the paired crafts among those that announce themselves, each tried by its key."""
    there = []
    for craft in crafts:
        for one in found:
            if one.id == _id(craft) and await answers_at(craft, one.host, one.port, 2 * ASK_S):
                there.append(craft.found_at(one.host, one.port))
                break
    return there


async def _answers(host: str, port: int) -> bool:
    try:
        async with asyncio.timeout(LOOPBACK_S):
            reader, writer = await asyncio.open_connection(host, port)
    except (OSError, TimeoutError):
        return False
    try:
        async with asyncio.timeout(LOOPBACK_S):
            greeting = decoded(await reader.readline())
    except (OSError, TimeoutError, ValueError):
        return False  # something else listens there
    finally:
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()
    return isinstance(greeting, Hello)


async def _announced(look_s: float) -> tuple[Found, ...]:
    """Listen for daemons that announce themselves.

    Raises
    ------
    ImportError
        Where the library for it is not installed.
    OSError
        Where there is no network to listen on.
    """
    from zeroconf import IPVersion
    from zeroconf.asyncio import AsyncServiceBrowser, AsyncServiceInfo, AsyncZeroconf

    names: set[str] = set()

    def heard(*, name: str, **_more: object) -> None:
        names.add(name)

    looking = AsyncZeroconf(ip_version=IPVersion.V4Only)
    try:
        browser = AsyncServiceBrowser(looking.zeroconf, SERVICE, handlers=[heard])
        await asyncio.sleep(look_s)
        await browser.async_cancel()
        found = []
        for name in sorted(names):
            info = AsyncServiceInfo(SERVICE, name)
            if not await info.async_request(looking.zeroconf, int(ASK_S * 1000)):
                continue
            hosts = info.parsed_scoped_addresses(IPVersion.V4Only)
            if hosts and info.port:
                plain = "".join(c if c.isprintable() else "?" for c in name)
                said = info.decoded_properties.get("id") or ""
                found.append(Found(plain.removesuffix(f".{SERVICE}"), hosts[0], info.port, said))
        return tuple(found)
    finally:
        await looking.async_close()
