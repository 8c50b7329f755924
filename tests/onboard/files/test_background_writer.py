"""Jobs run in order, independently; the end waits for them no longer than allowed."""

import logging
import threading

import pytest

from onboard.files.background_writer import BackgroundWriter


def test_a_job_that_fails_costs_none_of_the_others(caplog: pytest.LogCaptureFixture) -> None:
    writer, done = BackgroundWriter(), []
    with caplog.at_level(logging.ERROR):
        first = writer.submit(done.append, 1)
        second = writer.submit(lambda: 1 / 0)
        third = writer.submit(lambda: done.append(3) or 7)
        assert third.result(10) == 7
    assert first.result(10) is None
    assert isinstance(second.exception(10), ZeroDivisionError)
    assert done == [1, 3]
    assert len(caplog.records) == 1
    assert writer.close(10)


def test_the_end_waits_for_the_jobs_but_not_for_ever() -> None:
    writer, done, answers = BackgroundWriter(), [], threading.Event()
    writer.submit(lambda: answers.wait(10) and done.append(1))
    assert not writer.close(0.0)
    answers.set()
    assert writer.close(10)
    assert done == [1]
