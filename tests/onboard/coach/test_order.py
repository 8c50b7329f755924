"""The order of the set-ups."""

from collections import Counter

import pytest

from onboard.coach.order import Order


def ridden_as_told(order: Order, times: int, drop: tuple[str, ...] = ()) -> str:
    counts: Counter[str] = Counter()
    told = ""
    for _ in range(times):
        ahead = order.ahead(counts, drop)
        if not ahead:
            break
        told += ahead[0]
        counts[ahead[0]] += 1
    return told


def test_there_and_back_through_the_list() -> None:
    assert ridden_as_told(Order(("A", "B", "C")), 9) == "ABCCBA"


def test_what_has_dropped_out_is_passed_over() -> None:
    assert ridden_as_told(Order(("A", "B", "C")), 9, drop=("B",)) == "ACCA"


@pytest.mark.parametrize("first", ["A", "B", "C"])
def test_a_rider_who_takes_another_one_first_rides_the_others_then(first: str) -> None:
    ahead = Order(("A", "B", "C")).ahead(Counter({first: 1}))
    assert Counter(ahead) == Counter("ABCCBA") - Counter(first)


def test_then_as_proposed_and_without_a_proposal_the_list_again() -> None:
    order, counts = Order(("A", "B", "C")), Counter("ABCCBA")
    assert order.ahead(counts) == ()
    order.go_on(counts, ("C", "A", "A", "C", "X"))
    assert order.ahead(counts) == ("C", "A", "A", "C")
    assert order.ahead(counts + Counter("CAA")) == ("C",)
    order.go_on(counts + Counter("CAAC"), ())
    assert "".join(order.ahead(counts + Counter("CAAC"))) == "ABCCBA"
