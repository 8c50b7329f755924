"""Finds the daemon's feed without an address: on this machine, then on the local network."""

import asyncio
import contextlib
from collections.abc import Callable
from dataclasses import dataclass

from groundside.feed_client import decode_line, shown

SERVICE = "_wattwake._tcp.local."
"""What a daemon announces itself as (DNS-Based Service Discovery, RFC 6763)."""
LOOPBACK = "127.0.0.1"
LOOPBACK_S, LOOK_S, ASK_S = 0.5, 3.0, 1.0
"""How long to wait for this machine, for the network, and for one that answered there [s]."""
EXTRA = "pip install 'wattwake[find]'"


@dataclass(frozen=True)
class Found:
    """A daemon that announces itself: its name and where its feed is."""

    name: str
    host: str
    port: int


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
    """

    host: str | None
    port: int
    said: tuple[str, ...]
    lacking: str = ""


def _silent(_sentence: str) -> None:
    """Say nothing."""


async def find_feed(
    port: int, *, look_s: float = LOOK_S, say: Callable[[str], None] = _silent
) -> Finding:
    """Find a feed: loopback first, then what announces itself by multicast DNS (RFC 6762).

    Parameters
    ----------
    port
        The feed's usual port.
    look_s
        How long to listen on the network [s].
    say
        Called with a sentence before something takes a while.

    Returns
    -------
    Finding
        The one that was found. Where there is none it is loopback: a daemon may start there yet.
    """
    here = shown(LOOPBACK, port)
    if await _answers(LOOPBACK, port):
        return Finding(LOOPBACK, port, ())
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
    if len(found) == 1:
        one = found[0]
        return Finding(one.host, one.port, (f"found {one.name} at {shown(one.host, one.port)}",))
    if found:
        listed = [f"  {one.name}: watch {shown(one.host, one.port)}" for one in found]
        return Finding(None, port, (f"{len(found)} crafts answer; choose one:", *listed))
    return Finding(
        LOOPBACK,
        port,
        (
            f"nothing answers at {here}, and {network}",
            f"waiting at {here}; to go elsewhere: watch HOST[:PORT]",
        ),
        "nothing found here nor on the network; give its address: watch HOST",
    )


async def _answers(host: str, port: int) -> bool:
    try:
        async with asyncio.timeout(LOOPBACK_S):
            reader, writer = await asyncio.open_connection(host, port)
    except (OSError, TimeoutError):
        return False
    try:
        async with asyncio.timeout(LOOPBACK_S):
            greeting = decode_line(await reader.readline())
    except (OSError, TimeoutError, ValueError):
        return False  # something else listens there
    finally:
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()
    return greeting is not None and greeting.get("kind") == "hello"


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
                found.append(Found(plain.removesuffix(f".{SERVICE}"), hosts[0], info.port))
        return tuple(found)
    finally:
        await looking.async_close()
