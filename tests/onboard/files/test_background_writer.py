"""What may wait is written in order, each by itself; the end waits for it no longer than due."""

import logging
import threading

import pytest

from onboard.files.background_writer import Saver


def test_a_fault_in_one_costs_none_of_the_others(caplog: pytest.LogCaptureFixture) -> None:
    saver, done = Saver(), []
    with caplog.at_level(logging.ERROR):
        first = saver.submit(done.append, 1)
        second = saver.submit(lambda: 1 / 0)
        third = saver.submit(lambda: done.append(3) or 7)
        assert third.result(10) == 7
    assert first.result(10) is None
    assert isinstance(second.exception(10), ZeroDivisionError)
    assert done == [1, 3]
    assert len(caplog.records) == 1
    assert saver.close(10)


def test_the_end_waits_for_what_was_given_and_not_for_ever() -> None:
    saver, done, answers = Saver(), [], threading.Event()
    saver.submit(lambda: answers.wait(10) and done.append(1))
    assert not saver.close(0.0)
    answers.set()
    assert saver.close(10)
    assert done == [1]
