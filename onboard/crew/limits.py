"""How much one address, and all together, may ask of the door before it is known who they are.

Rates are far above what a viewer that means well needs. Common practice, no source.
"""

import ipaddress
from collections import OrderedDict
from typing import Any, Final

WAITING_MOST: Final = 64
"""Connections of all addresses that have not said who they are."""
WAITING_MOST_EACH: Final = 8

COME_BURST, COME_PER_S = 20.0, 5.0
"""New connections of one address."""
ALL_BURST, ALL_PER_S = 100.0, 50.0
"""New connections of all: each costs a handshake, about 3 ms on a small board."""
WRONG_BURST, WRONG_PER_S = 10.0, 0.5
"""Connections of one address that came to nothing; beyond that it is not heard."""
CODES_BURST, CODES_PER_S = 20.0, 2.0
"""Codes tried by all; those who have a token come in all the same."""

ADDRESSES_MOST: Final = 256
"""Addresses kept account of; the one that was quiet for longest is forgotten first."""


class Allowance:
    """Lets things through: some at once, then at a rate.

    Parameters
    ----------
    burst
        How many at once.
    per_s
        The rate [1/s].

    Examples
    --------
    >>> allowance = Allowance(2.0, 1.0)
    >>> [allowance.take(0.0), allowance.take(0.0), allowance.take(0.5), allowance.take(1.0)]
    [True, True, False, True]
    """

    def __init__(self, burst: float, per_s: float) -> None:
        self._burst, self._per_s, self._left = burst, per_s, burst
        self._at_s: float | None = None

    def has(self, now_s: float) -> bool:
        """Return whether there is room for one."""
        gone_s = 0.0 if self._at_s is None else max(now_s - self._at_s, 0.0)
        self._at_s = now_s
        self._left = min(self._left + gone_s * self._per_s, self._burst)
        return self._left >= 1.0

    def take(self, now_s: float) -> bool:
        """Return whether there is room for one; it is then taken."""
        if not self.has(now_s):
            return False
        self._left -= 1.0
        return True


class _Account:
    """One address."""

    def __init__(self, come_burst: float) -> None:
        self.waiting = 0
        self.comes = Allowance(come_burst, COME_PER_S)
        self.wrong = Allowance(WRONG_BURST, WRONG_PER_S)


class Limits:
    """Keeps account of all addresses.

    Parameters
    ----------
    viewers_most
        How many may be in: all of them may be behind one address, such as that of a tunnel or a
        router, and come back at once where the daemon was started anew.
    """

    def __init__(self, viewers_most: int = 0) -> None:
        self._accounts: OrderedDict[str, _Account] = OrderedDict()
        self._come_burst = max(COME_BURST, float(viewers_most))
        self._all = Allowance(max(ALL_BURST, 2 * self._come_burst), ALL_PER_S)
        self._codes = Allowance(CODES_BURST, CODES_PER_S)
        self.waiting = 0

    def come(self, address: str, now_s: float) -> bool:
        """Return whether a new connection is heard; it then waits until `known` or `left`."""
        account = self._account(address)
        if account.waiting >= WAITING_MOST_EACH or not account.wrong.has(now_s):
            return False
        if not account.comes.take(now_s) or self.waiting >= WAITING_MOST:
            return False
        if not self._all.take(now_s):
            return False
        account.waiting += 1
        self.waiting += 1
        return True

    def is_crowded(self, address: str, now_s: float) -> bool:
        """Return whether a new connection lacks nothing but that others of its address wait."""
        account = self._account(address)
        is_right = account.wrong.has(now_s) and account.comes.has(now_s)
        return is_right and account.waiting >= WAITING_MOST_EACH

    def code(self, now_s: float) -> bool:
        """Return whether a code is looked at now."""
        return self._codes.take(now_s)

    def may_try(self, address: str, now_s: float) -> bool:
        """Return whether a code from an address is looked at now."""
        return self._account(address).wrong.has(now_s) and self.code(now_s)

    def wrong(self, address: str, now_s: float) -> None:
        """Take note that a code was wrong, on a connection that stays."""
        self._account(address).wrong.take(now_s)

    def known(self, address: str) -> None:
        """Take note that a connection said who it is, and rightly."""
        self._account(address).waiting -= 1
        self.waiting -= 1

    def left(self, address: str, now_s: float) -> None:
        """Take note that a connection came to nothing."""
        self.known(address)
        self._account(address).wrong.take(now_s)

    def _account(self, address: str) -> _Account:
        account = self._accounts.get(address)
        if account is None:
            account = self._accounts[address] = _Account(self._come_burst)
            while len(self._accounts) > ADDRESSES_MOST:
                idle = next((name for name, one in self._accounts.items() if not one.waiting), None)
                if idle is None or idle == address:
                    break
                del self._accounts[idle]
        self._accounts.move_to_end(address)
        return account


def counted_as(peer: Any) -> str:
    """Return the key an address is counted under: the network for IPv6, of which one has many.

    Examples
    --------
    >>> counted_as(("192.0.2.7", 4000)), counted_as(("2001:db8::1:2:3:4", 4000, 0, 0))
    ('192.0.2.7', '2001:db8::/64')
    """
    try:
        address = ipaddress.ip_address(str(peer[0]).partition("%")[0])
    except (ValueError, TypeError, IndexError):
        return ""
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return str(address.ipv4_mapped)
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address)
