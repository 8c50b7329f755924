"""The board's own addresses, from the kernel (netdevice(7))."""

import contextlib
import fcntl
import ipaddress
import socket
import struct
from typing import Final

_GET_ADDRESS: Final = 0x8915
"""SIOCGIFADDR."""
_NAME_BYTES: Final = 16


def own_addresses() -> tuple[str, ...]:
    """Return the board's IPv4 addresses without loopback, those of local networks first."""
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as control:
        for _, name in socket.if_nameindex():
            request = struct.pack("256s", name.encode()[: _NAME_BYTES - 1])
            with contextlib.suppress(OSError):
                answer = fcntl.ioctl(control.fileno(), _GET_ADDRESS, request)
                found.append(socket.inet_ntoa(answer[20:24]))
    usable = dict.fromkeys(
        address for address in found if not ipaddress.ip_address(address).is_loopback
    )
    return tuple(sorted(usable, key=lambda address: not ipaddress.ip_address(address).is_private))


def addresses_for(host: str) -> tuple[str, ...]:
    """Return the IPv4 addresses where other machines reach a listener on `host`.

    Examples
    --------
    >>> addresses_for("192.0.2.7")
    ('192.0.2.7',)
    """
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        with contextlib.suppress(OSError, UnicodeError):
            return (socket.gethostbyname(host),)
        return ()
    if address.is_unspecified:
        return own_addresses()
    return (host,) if address.version == 4 else ()


def reached_here_at(host: str) -> str:
    """Return the address where this board reaches a listener on `host`.

    Examples
    --------
    >>> reached_here_at("0.0.0.0"), reached_here_at("::"), reached_here_at("192.0.2.7")
    ('127.0.0.1', '::1', '192.0.2.7')
    """
    try:
        address = ipaddress.ip_address(host or "::")
    except ValueError:
        return host
    if not address.is_unspecified:
        return host
    return "::1" if address.version == 6 else "127.0.0.1"
