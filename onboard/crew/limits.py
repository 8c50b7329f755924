"""Limits on unauthenticated connections, per address and in total.

Rates are far above what an honest viewer needs. Common practice, no source.
"""

import ipaddress
from collections import OrderedDict
from typing import Any, Final

from onboard.feed.token_bucket import TokenBucket

WAITING_MOST: Final = 64
"""Pending connections, not authenticated yet, of all addresses together."""
WAITING_MOST_EACH: Final = 8
"""Pending connections of one address."""

COME_BURST, COME_PER_S = 20.0, 5.0
"""New connections from one address."""
ALL_BURST, ALL_PER_S = 100.0, 50.0
"""New connections from all addresses: a handshake takes about 3 ms on a small board."""
WRONG_BURST, WRONG_PER_S = 10.0, 0.5
"""Failed connections from one address; beyond that it is refused."""
CODES_BURST, CODES_PER_S = 20.0, 2.0
"""Codes tried from all addresses; viewers with a token are not affected."""

ADDRESSES_MOST: Final = 256
"""Addresses stored at most; the one idle for longest is discarded first."""


class _Account:
    """Counts of one address."""

    def __init__(self, come_burst: float) -> None:
        self.waiting = 0
        self.comes = TokenBucket(come_burst, COME_PER_S)
        self.wrong = TokenBucket(WRONG_BURST, WRONG_PER_S)


class Limits:
    """Count connections and refuse those beyond the limits.

    Parameters
    ----------
    viewers_most
        Viewers admitted at a time: all of them may share one address, such as that of a tunnel or a
        router, and reconnect at once when the daemon restarts.
    """

    def __init__(self, viewers_most: int = 0) -> None:
        self.accounts: OrderedDict[str, _Account] = OrderedDict()
        self._come_burst = max(COME_BURST, float(viewers_most))
        self._all = TokenBucket(max(ALL_BURST, 2 * self._come_burst), ALL_PER_S)
        self._codes = TokenBucket(CODES_BURST, CODES_PER_S)
        self.waiting = 0

    def come(self, address: str, now_s: float) -> bool:
        """Return whether to accept a connection; it is then pending until `known` or `left`."""
        account = self._account(address)
        if account.waiting >= WAITING_MOST_EACH or not account.wrong.has_room(now_s):
            return False
        if not account.comes.take(now_s) or self.waiting >= WAITING_MOST:
            return False
        if not self._all.take(now_s):
            return False
        account.waiting += 1
        self.waiting += 1
        return True

    def is_crowded(self, address: str, now_s: float) -> bool:
        """Return True if refused only because its address has too many pending connections."""
        account = self._account(address)
        within_rates = account.wrong.has_room(now_s) and account.comes.has_room(now_s)
        return within_rates and account.waiting >= WAITING_MOST_EACH

    def code(self, now_s: float) -> bool:
        """Return whether a code may be tried now."""
        return self._codes.take(now_s)

    def may_try(self, address: str, now_s: float) -> bool:
        """Return whether an address may try a code now."""
        return self._account(address).wrong.has_room(now_s) and self.code(now_s)

    def wrong(self, address: str, now_s: float) -> None:
        """Count a wrong code on a connection that stays open."""
        self._account(address).wrong.take(now_s)

    def known(self, address: str) -> None:
        """Count a pending connection as authenticated."""
        self._account(address).waiting -= 1
        self.waiting -= 1

    def left(self, address: str, now_s: float) -> None:
        """Count a pending connection as failed."""
        self.known(address)
        self._account(address).wrong.take(now_s)

    def _account(self, address: str) -> _Account:
        account = self.accounts.get(address)
        if account is None:
            account = self.accounts[address] = _Account(self._come_burst)
            while len(self.accounts) > ADDRESSES_MOST:
                idle = next(
                    (name for name, account in self.accounts.items() if not account.waiting), None
                )
                if idle is None or idle == address:
                    break
                del self.accounts[idle]
        self.accounts.move_to_end(address)
        return account


def counted_as(peer: Any) -> str:
    """Return the key an address is counted under: its network for IPv6, where a host has many.

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
