"""Addresses of the page."""

import contextlib
import ipaddress
import socket
from typing import Final

from groundside.connection.address import format_address
from onboard.crew.addresses import own_addresses
from onboard.profile import DEFAULT_FEED_PORT

PAGE_PORT: Final = DEFAULT_FEED_PORT + 1

ELSEWHERE = ("192.0.2.1", 9)
"""An address reserved for documentation (RFC 5737): nothing is sent there."""


def page_addresses(host: str, port: int, *, secure: bool = False) -> tuple[str, ...]:
    """Return the addresses of the page, the one for a phone first.

    Parameters
    ----------
    host
        The address listened on; all of the machine's addresses if unspecified.
    port
        The port.
    secure
        Whether the page is encrypted.

    Examples
    --------
    >>> page_addresses("127.0.0.1", 27221), page_addresses("::1", 80)
    (('http://127.0.0.1:27221/',), ('http://[::1]:80/',))
    """
    hosts = [host]
    with contextlib.suppress(ValueError):
        if ipaddress.ip_address(host).is_unspecified:
            hosts = [*_own_address(), f"{socket.gethostname()}.local"]
    scheme = "https" if secure else "http"
    return tuple(f"{scheme}://{format_address(one, port)}/" for one in hosts)


def _own_address() -> tuple[str, ...]:
    """Return this machine's address on the local network; needs no route to the internet."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(ELSEWHERE)  # a datagram socket only looks up the route
        except OSError:
            return own_addresses()[:1]
        return (str(probe.getsockname()[0]),)
