"""The runs of a trial: found in the record, or seen by the coach."""

from collections import Counter

from onboard.coach.practice import LATE_S
from onboard.coach.ridden import Ridden, RunBook


def leg(setup: str, start_s: float, course_deg: float = 30.0) -> Ridden:
    return Ridden(setup, start_s, start_s + 60.0, course_deg)


def test_double_runs_and_laps_are_counted_and_a_way_out_waits() -> None:
    book = RunBook()
    for run in (leg("A", 0.0), leg("A", 90.0, 212.0), leg("B", 200.0)):
        book.see(run)
    assert book.counts() == Counter(A=1)
    assert book.way_out("B") == leg("B", 200.0)
    assert book.way_out("A") is None
    book.see(Ridden("C", 300.0, 400.0, 0.0, is_lap=True))
    assert book.counts() == Counter(A=1, C=1)
    assert book.way_out("B") is None


def test_what_is_no_way_back_is_another_way_out() -> None:
    for later in (leg("A", 90.0, 60.0), leg("B", 90.0, 210.0), leg("A", 3000.0, 210.0)):
        book = RunBook()
        book.see(leg("A", 0.0))
        book.see(later)
        assert book.counts() == Counter()
        assert book.way_out(later.setup) == later


def test_the_record_has_the_last_word() -> None:
    book = RunBook()
    book.see(leg("A", 0.0))
    book.see(leg("A", 90.0, 210.0))
    assert book.unsure
    # Not read far enough yet: both still count, the found one once.
    book.find([leg("A", 2.0)], 150.0 + LATE_S - 1.0)
    assert book.counts() == Counter(A=1)
    # Read past it and not found: it was none.
    book.find([leg("A", 2.0)], 150.0 + LATE_S)
    assert book.counts() == Counter()
    assert not book.unsure
    # What was marked by hand is found where the coach saw nothing.
    book.find([leg("A", 2.0), leg("A", 90.0, 210.0), leg("B", 300.0)], 900.0)
    assert book.counts() == Counter(A=1)
    assert book.way_out("B") is not None


def test_without_a_record_what_was_seen_counts() -> None:
    book = RunBook()
    book.trust()
    book.see(leg("A", 0.0))
    assert not book.unsure
