"""Limits of one address, which do not affect others."""

from onboard.crew import limits
from onboard.crew.limits import Limits


def comes(book: Limits, address: str, now_s: float, wrong: bool = True) -> bool:
    if not book.come(address, now_s):
        return False
    if wrong:
        book.left(address, now_s)
    else:
        book.known(address)
    return True


def test_an_address_that_always_fails_is_refused_and_others_are_not() -> None:
    book = Limits()
    admitted = sum(comes(book, "192.0.2.1", 0.01 * n) for n in range(100))
    assert admitted == limits.WRONG_BURST
    assert comes(book, "192.0.2.2", 1.0, wrong=False)
    assert comes(book, "192.0.2.1", 1.0 + 1.0 / limits.WRONG_PER_S)


def test_pending_connections_of_one_address_are_bounded() -> None:
    book = Limits()
    assert sum(book.come("192.0.2.1", 0.0) for _ in range(50)) == limits.WAITING_MOST_EACH
    assert book.come("192.0.2.2", 0.0)
    book.left("192.0.2.1", 0.0)
    assert book.come("192.0.2.1", 0.0)


def test_pending_connections_of_all_addresses_are_bounded() -> None:
    book = Limits()
    assert sum(book.come(f"10.0.0.{n}", 0.0) for n in range(200)) == limits.WAITING_MOST
    for n in range(limits.WAITING_MOST):
        book.left(f"10.0.0.{n}", 0.0)
    assert book.waiting == 0


def test_authenticated_connections_may_reconnect_at_once() -> None:
    book = Limits()
    assert all(comes(book, "192.0.2.1", 0.2 * n, wrong=False) for n in range(200))


def test_codes_from_all_addresses_are_rate_limited() -> None:
    book = Limits()
    tried = sum(book.code(0.001 * n) for n in range(600_000))
    assert tried <= limits.CODES_BURST + limits.CODES_PER_S * 600


def test_idle_addresses_are_forgotten_and_pending_ones_are_not() -> None:
    book = Limits()
    assert book.come("192.0.2.1", 0.0)
    for n in range(2000):
        comes(book, f"10.0.{n // 250}.{n % 250}", float(n))
    assert len(book.accounts) <= limits.ADDRESSES_MOST
    assert book.accounts["192.0.2.1"].waiting == 1


def test_the_burst_admits_a_full_crew_from_one_address() -> None:
    book = Limits(viewers_most=100)
    assert all(comes(book, "192.0.2.1", 0.0, wrong=False) for _ in range(100))
    assert not comes(book, "192.0.2.1", 0.0)
    assert comes(book, "192.0.2.2", 0.0), "the others have room beside"
    assert sum(comes(book, "192.0.2.3", 0.0) for _ in range(100)) == limits.WRONG_BURST


def test_the_burst_has_a_minimum() -> None:
    book = Limits(viewers_most=1)
    admitted = sum(comes(book, "192.0.2.1", 0.0, wrong=False) for _ in range(100))
    assert admitted == limits.COME_BURST


def test_connections_from_many_addresses_are_rate_limited() -> None:
    book = Limits()
    admitted = sum(comes(book, f"10.{n // 250}.0.{n % 250}", 0.0, wrong=False) for n in range(500))
    assert admitted == limits.ALL_BURST
    later = sum(comes(book, f"10.9.0.{n}", 1.0, wrong=False) for n in range(250))
    assert later == limits.ALL_PER_S


def test_an_ipv6_network_counts_as_one_address() -> None:
    assert limits.counted_as(("2001:db8::1", 1)) == limits.counted_as(("2001:db8::2", 1))
    assert limits.counted_as(("2001:db8::1", 1)) != limits.counted_as(("2001:db8:0:1::1", 1))
