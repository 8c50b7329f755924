"""Announce the paired craft on the local network by multicast DNS (RFC 6762 and 6763).

The announcement holds the first digits of its key's fingerprint and its address: no name, no
position. Paired viewers know the craft by that.
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
REFRESH_S: Final = 10.0
"""Interval between checks of the board's addresses: its network may come up after the daemon."""

log = logging.getLogger("wattwake")


class Announcing:
    """Announce a door while it is open; if that fails, log it once.

    The library has its own thread, so network input to it cannot delay the feed.

    Parameters
    ----------
    folder
        The pairing's folder.
    host, port
        Address that the door listens on.
    """

    def __init__(self, folder: Path, host: str, port: int) -> None:
        self._folder, self._host, self._port = folder, host, port
        self.announced: tuple[Any, ...] | None = None
        """Addresses, port and id as announced now; None before."""
        self._zeroconf: Any = None

    async def run(self) -> None:
        """Keep the announcement up to date until cancelled."""
        if is_local(self._host):
            return
        try:
            while True:
                await asyncio.to_thread(self.announce)
                await asyncio.sleep(REFRESH_S)
        except ImportError:
            log.warning("the craft does not announce itself on the network: that needs %s", EXTRA)
        except (OSError, UsageError) as problem:
            log.warning("the craft does not announce itself on the network (%s)", problem)
        except Exception:
            # A fault of the library must not affect the feed.
            log.exception("the craft does not announce itself on the network")
        finally:
            self.withdraw()

    def announce(self) -> None:
        """Announce the craft's addresses, if they have changed.

        Raises
        ------
        ImportError
            If the library is not installed.
        OSError
            If no network is available.
        """
        from zeroconf import IPVersion, ServiceInfo, Zeroconf

        present = addresses_for(self._host), self._port, short_id(own_fingerprint(self._folder))
        if present == self.announced:
            return
        self.withdraw()
        self.announced = present
        addresses, port, name = present
        if not addresses:
            return
        info = ServiceInfo(
            SERVICE,
            f"wattwake-{name}.{SERVICE}",
            addresses=[socket.inet_aton(address) for address in addresses],
            port=port,
            properties={"id": name},
            server=f"wattwake-{name}.local.",
        )
        self._zeroconf = Zeroconf(ip_version=IPVersion.V4Only)
        self._zeroconf.register_service(info, allow_name_change=True)

    def withdraw(self) -> None:
        """Withdraw the announcement."""
        zeroconf, self._zeroconf, self.announced = self._zeroconf, None, None
        if zeroconf is not None:
            with contextlib.suppress(OSError, TimeoutError):
                zeroconf.close()
