"""Repeated messages are limited to one a minute, and counted."""

import logging

import pytest

from onboard.daemon.quiet_log import ANSWER, QuietFilter


class Bench:
    """A separate logger with a clock moved by the test."""

    def __init__(self, **options) -> None:
        self.now_s = 1000.0
        self.logged: list[str] = []
        bench = self

        class Keeper(logging.Handler):
            def emit(self, record: logging.LogRecord) -> None:
                bench.logged.append(record.getMessage())

        self.log = logging.Logger("bench")
        self.filter = QuietFilter(lambda: self.now_s, **options)
        handler = Keeper()
        handler.addFilter(self.filter)
        self.log.addHandler(handler)


def test_the_first_message_passes_and_the_next_counts_the_suppressed() -> None:
    bench = Bench()
    for n in range(18):
        bench.log.warning("frame %d was late", n)
        bench.now_s += 1.0
    assert bench.logged == ["frame 0 was late"]
    assert bench.filter.suppressed() == 17
    bench.now_s = 1060.0
    bench.log.warning("frame %d was late", 99)
    assert bench.logged[1:] == ["frame 99 was late (17 more like this in the last minute)"]
    assert bench.filter.suppressed() == 0


def test_a_message_once_a_minute_is_unchanged() -> None:
    bench = Bench()
    for _ in range(5):
        bench.log.warning("the card is slow")
        bench.now_s += 60.0
    assert bench.logged == ["the card is slow"] * 5


def test_the_time_span_is_stated() -> None:
    bench = Bench()
    bench.log.warning("the link is down")
    bench.log.warning("the link is down")
    bench.now_s += 12 * 60.0
    bench.log.warning("the link is down")
    assert bench.logged[-1] == "the link is down (1 more like this in the last 12 minutes)"


def test_formats_levels_and_texts_make_a_kind() -> None:
    bench = Bench()
    bench.log.warning("%s", "the link is down")
    bench.log.warning("%s", "the link is back")
    bench.log.warning("%s: %5.1f%%", "card", 99.5)
    bench.log.warning("%s: %5.1f%%", "card", 99.7)
    bench.log.error("the link is down")
    bench.log.warning("the link is down")
    bench.log.warning("%s", "the link is down")
    assert bench.logged == [
        "the link is down",
        "the link is back",
        "card:  99.5%",
        "card:  99.7%",
        "the link is down",
    ]


def test_memory_is_bounded_and_the_longest_silent_kind_is_forgotten_first() -> None:
    bench = Bench(kinds_most=3)
    for kind in ("one", "two", "three"):
        bench.log.warning(kind)
    bench.log.warning("one")  # logged again: now "two" has been silent for longest
    bench.log.warning("four")
    assert len(bench.filter.kinds) == 3
    bench.log.warning("one")
    bench.log.warning("two")
    assert bench.logged == ["one", "two", "three", "four", "two"]
    for n in range(1000):
        bench.log.warning("%s", "x" * 10_000 + str(n))
    assert len(bench.filter.kinds) == 3
    assert max(len(text) for _, text in bench.filter.kinds) <= 200


@pytest.mark.parametrize("arguments", [("one", "too many"), ()])
def test_wrong_arguments_do_not_stop_the_filter(arguments) -> None:
    quiet = QuietFilter(lambda: 0.0)
    record = logging.LogRecord("x", logging.WARNING, "x.py", 1, "%d", arguments, None)
    assert quiet.filter(record) is True
    assert quiet.filter(record) is False


def test_answers_to_the_owner_always_pass() -> None:
    bench = Bench()
    for _ in range(3):
        bench.log.error("%s: keeping the profile in use", "craft.toml", extra=ANSWER)
        bench.log.error("%s: of another kind", "craft.toml")
    assert len(bench.logged) == 3 + 1
    assert bench.filter.suppressed() == 2
