"""The end, on a simulated clock: its waits, exit codes and signals."""

import os
import signal
from types import SimpleNamespace

import pytest

from onboard.daemon import ending as module
from onboard.daemon.ending import END_WITHIN_S, LEAST_S, WRITE_WITHIN_S, Ending


class ExitedError(Exception):
    """Stands for the end of the process."""


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    now = SimpleNamespace(s=100.0)

    def sleep(seconds: float) -> None:
        now.s += seconds

    monkeypatch.setattr(module, "time", SimpleNamespace(monotonic=lambda: now.s, sleep=sleep))

    def leave(code: int) -> None:
        raise ExitedError(code)

    monkeypatch.setattr(os, "_exit", leave)
    return now


@pytest.fixture
def handlers(monkeypatch: pytest.MonkeyPatch) -> dict[int, object]:
    """Return the signal handlers of a simulated process."""
    held: dict[int, object] = {}
    monkeypatch.setattr(
        module,
        "signal",
        SimpleNamespace(
            signal=held.__setitem__,
            getsignal=lambda number: held.get(number, signal.SIG_DFL),
            SIGINT=signal.SIGINT,
            SIGTERM=signal.SIGTERM,
            SIG_IGN=signal.SIG_IGN,
            SIG_DFL=signal.SIG_DFL,
        ),
    )
    return held


LOOP = SimpleNamespace(call_soon_threadsafe=lambda act: act())


def test_time_left_for_writing_runs_down_to_a_minimum(clock: SimpleNamespace) -> None:
    ending = Ending()
    assert ending.left_s() == WRITE_WITHIN_S
    ending.begin()
    clock.s += 0.5
    assert ending.left_s() == pytest.approx(WRITE_WITHIN_S - 0.5)
    ending.begin()  # the end had already begun
    clock.s += 60.0
    assert ending.left_s() == LEAST_S


@pytest.mark.parametrize(
    ("requested", "is_over", "code"),
    [(True, True, 0), (True, False, 1), (False, True, 1), (False, False, 1)],
)
def test_the_process_exits_in_time_with_the_right_code(
    clock: SimpleNamespace, handlers: dict, requested: bool, is_over: bool, code: int
) -> None:
    ending, begun_s = Ending(), clock.s
    if requested:
        ending.on_signal(signal.SIGTERM, None)
    else:
        ending.begin()
    ending.is_over = is_over
    with pytest.raises(ExitedError, match=f"^{code}$"):
        ending.enforce()
    assert clock.s - begun_s == pytest.approx(END_WITHIN_S)


def test_the_first_signal_stops_and_the_second_has_its_default_action(
    clock: SimpleNamespace, handlers: dict
) -> None:
    stopped: list[bool] = []
    handlers[signal.SIGINT] = signal.SIG_IGN  # as nohup has it
    ending = Ending()
    ending.listen(LOOP, SimpleNamespace(set=lambda: stopped.append(True)))  # type: ignore[arg-type]
    assert handlers == {signal.SIGINT: signal.SIG_IGN, signal.SIGTERM: ending.on_signal}
    assert not stopped
    ending.on_signal(signal.SIGTERM, None)
    assert stopped == [True]
    assert handlers == {signal.SIGINT: signal.SIG_IGN, signal.SIGTERM: signal.SIG_DFL}
