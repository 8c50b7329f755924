"""What one address may ask of the door, and that it takes nothing from the others."""

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


def test_one_that_is_always_wrong_is_no_longer_heard_and_others_are() -> None:
    book = Limits()
    heard = sum(comes(book, "192.0.2.1", 0.01 * n) for n in range(100))
    assert heard == limits.WRONG_BURST
    assert comes(book, "192.0.2.2", 1.0, wrong=False)
    assert comes(book, "192.0.2.1", 1.0 + 1.0 / limits.WRONG_PER_S)


def test_one_that_waits_for_nothing_holds_few_places() -> None:
    book = Limits()
    assert sum(book.come("192.0.2.1", 0.0) for _ in range(50)) == limits.WAITING_MOST_EACH
    assert book.come("192.0.2.2", 0.0)
    book.left("192.0.2.1", 0.0)
    assert book.come("192.0.2.1", 0.0)


def test_all_together_hold_a_bounded_number() -> None:
    book = Limits()
    assert sum(book.come(f"10.0.0.{n}", 0.0) for n in range(200)) == limits.WAITING_MOST
    for n in range(limits.WAITING_MOST):
        book.left(f"10.0.0.{n}", 0.0)
    assert book.waiting == 0


def test_right_ones_may_come_again_at_once() -> None:
    book = Limits()
    assert all(comes(book, "192.0.2.1", 0.2 * n, wrong=False) for n in range(200))


def test_codes_are_tried_at_a_bounded_rate_by_all() -> None:
    book = Limits()
    tried = sum(book.code(0.001 * n) for n in range(600_000))
    assert tried <= limits.CODES_BURST + limits.CODES_PER_S * 600


def test_addresses_are_not_kept_for_ever_and_those_that_wait_are() -> None:
    book = Limits()
    assert book.come("192.0.2.1", 0.0)
    for n in range(2000):
        comes(book, f"10.0.{n // 250}.{n % 250}", float(n))
    assert len(book.accounts) <= limits.ADDRESSES_MOST
    assert book.accounts["192.0.2.1"].waiting == 1


def test_all_who_may_be_in_may_come_back_at_once_from_one_address() -> None:
    book = Limits(viewers_most=100)
    assert all(comes(book, "192.0.2.1", 0.0, wrong=False) for _ in range(100))
    assert not comes(book, "192.0.2.1", 0.0)
    assert comes(book, "192.0.2.2", 0.0), "the others have room beside"
    assert sum(comes(book, "192.0.2.3", 0.0) for _ in range(100)) == limits.WRONG_BURST


def test_a_few_more_than_usual_may_come_where_few_may_be_in() -> None:
    book = Limits(viewers_most=1)
    heard = sum(comes(book, "192.0.2.1", 0.0, wrong=False) for _ in range(100))
    assert heard == limits.COME_BURST


def test_connections_of_many_addresses_are_heard_at_a_bounded_rate() -> None:
    book = Limits()
    heard = sum(comes(book, f"10.{n // 250}.0.{n % 250}", 0.0, wrong=False) for n in range(500))
    assert heard == limits.ALL_BURST
    later = sum(comes(book, f"10.9.0.{n}", 1.0, wrong=False) for n in range(250))
    assert later == limits.ALL_PER_S


def test_of_the_newer_kind_a_network_is_one_address() -> None:
    assert limits.counted_as(("2001:db8::1", 1)) == limits.counted_as(("2001:db8::2", 1))
    assert limits.counted_as(("2001:db8::1", 1)) != limits.counted_as(("2001:db8:0:1::1", 1))
