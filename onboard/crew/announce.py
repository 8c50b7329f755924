"""Has the paired craft announce itself on the local network (RFC 6762 and 6763).

What it says is the begin of its key's fingerprint and where it is: no name, no position. Who paired
with it knows it by that.
"""

import asyncio
import contextlib
import logging
import socket
from pathlib import Path
from typing import Any, Final

from onboard.crew.addresses import addresses_for
from onboard.crew.keys import EXTRA, own_fingerprint, short_id
from onboard.errors import UsageError
from onboard.feed.server import is_local

SERVICE: Final = "_wattwake._tcp.local."
ANEW_S: Final = 10.0
"""How often addresses are looked at: the craft's network may come up later than the daemon."""

log = logging.getLogger("wattwake")


class Announcing:
    """Announces a door for as long as it is open, and says once where it cannot.

    The library has a thread of its own: what others send it does not come before the feed's turn.

    Parameters
    ----------
    folder
        The pairing's folder.
    host, port
        What the door listens on.
    """

    def __init__(self, folder: Path, host: str, port: int) -> None:
        self._folder, self._host, self._port = folder, host, port
        self._told: tuple[Any, ...] | None = None
        self._zeroconf: Any = None

    async def run(self) -> None:
        """Announce what is so, until this is cancelled."""
        if is_local(self._host):
            return
        try:
            while True:
                await asyncio.to_thread(self.tell)
                await asyncio.sleep(ANEW_S)
        except ImportError:
            log.warning("the craft does not announce itself on the network: that needs %s", EXTRA)
        except (OSError, UsageError) as problem:
            log.warning("the craft does not announce itself on the network (%s)", problem)
        except Exception:
            # A library that fails at it must cost nobody the feed.
            log.exception("the craft does not announce itself on the network")
        finally:
            self._take_back()

    def tell(self) -> None:
        """Announce where the craft is, if that is news.

        Raises
        ------
        ImportError
            Where the library for it is not installed.
        OSError
            Where there is no network for it.
        """
        from zeroconf import IPVersion, ServiceInfo, Zeroconf

        said = addresses_for(self._host), self._port, short_id(own_fingerprint(self._folder))
        if said == self._told:
            return
        self._take_back()
        self._told = said
        addresses, port, name = said
        if not addresses:
            return
        info = ServiceInfo(
            SERVICE,
            f"wattwake-{name}.{SERVICE}",
            addresses=[socket.inet_aton(one) for one in addresses],
            port=port,
            properties={"id": name},
            server=f"wattwake-{name}.local.",
        )
        self._zeroconf = Zeroconf(ip_version=IPVersion.V4Only)
        self._zeroconf.register_service(info, allow_name_change=True)

    def _take_back(self) -> None:
        zeroconf, self._zeroconf, self._told = self._zeroconf, None, None
        if zeroconf is not None:
            with contextlib.suppress(OSError, TimeoutError):
                zeroconf.close()
