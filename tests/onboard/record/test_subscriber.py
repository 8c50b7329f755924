"""A subscriber that fails is counted, pauses for longer each time, and is logged once in full."""

import itertools
import logging

import pytest

from onboard.record.subscriber import PAUSE_FIRST_S, PAUSE_MOST_S, SOUND_AFTER_S, STRICT, Subscriber


@pytest.fixture(autouse=True)
def not_strict(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(STRICT, "0")


def fails() -> None:
    raise RuntimeError("unforeseen")


def test_the_result_is_passed_on() -> None:
    one = Subscriber("feed_failed", "the feed")
    assert one.run(0.0, lambda: 7) == 7
    assert not one.failing


def test_the_pauses_grow_and_end() -> None:
    one, tried_s, now_s = Subscriber("feed_failed", "the feed"), [], 0.0

    def act() -> None:
        tried_s.append(now_s)
        fails()

    while now_s < 400.0:
        one.run(now_s, act)
        now_s = round(now_s + 0.1, 1)
    pauses = [round(later - earlier, 1) for earlier, later in itertools.pairwise(tried_s)]
    assert pauses[0] == pytest.approx(PAUSE_FIRST_S, abs=0.11)
    assert all(later >= earlier - 0.11 for earlier, later in itertools.pairwise(pauses))
    assert pauses[-1] == pytest.approx(PAUSE_MOST_S, abs=0.11)
    assert one.faults == len(tried_s)
    assert one.failing


def test_after_a_while_without_a_fault_it_counts_as_sound_again() -> None:
    one = Subscriber("feed_failed", "the feed")
    one.run(0.0, fails)
    assert one.run(PAUSE_FIRST_S + 0.1, lambda: 1) == 1
    assert one.failing
    assert one.run(PAUSE_FIRST_S + SOUND_AFTER_S + 0.1, lambda: 1) == 1
    assert not one.failing
    assert one.faults == 1


def test_each_fault_is_logged_once_with_its_traceback(caplog: pytest.LogCaptureFixture) -> None:
    one = Subscriber("feed_failed", "the feed")
    with caplog.at_level(logging.ERROR):
        for n in range(5):
            one.run(100.0 * n, fails)
    (record,) = caplog.records
    assert record.exc_info is not None
    assert "fault in the feed" in record.getMessage()


def test_the_strict_switch_raises(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(STRICT, "1")
    with pytest.raises(RuntimeError, match="unforeseen"):
        Subscriber("feed_failed", "the feed").run(0.0, fails)
