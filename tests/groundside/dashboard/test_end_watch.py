"""The dashboard ends cleanly: on signals, and if its terminal is gone or blocked."""

import asyncio
import os
import pty
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from groundside.dashboard.app import make_app
from groundside.dashboard.end_watch import GRACE_S, SIGNALS, EndWatch
from groundside.terminal import usable_terminal
from groundside.words.units import CHOICES
from tests.groundside.dashboard.steered_app import Clock, SteeredSource
from tests.patience import PATIENCE_S

TREE = Path(__file__).parents[3]


class Asked:
    """Records the codes it is called with, in the loop's thread or another."""

    def __init__(self) -> None:
        self.codes: list[int] = []
        self._loop = asyncio.get_running_loop()
        self._event = asyncio.Event()

    def __call__(self, code: int) -> None:
        self.codes.append(code)
        self._loop.call_soon_threadsafe(self._event.set)

    async def wait(self) -> list[int]:
        await asyncio.wait_for(self._event.wait(), PATIENCE_S)
        return self.codes


async def ended(watch: EndWatch) -> None:
    """Wait until the watch's thread has ended."""
    assert watch.thread is not None
    await asyncio.to_thread(watch.thread.join, PATIENCE_S)
    assert not watch.thread.is_alive()


@pytest.mark.parametrize("number", SIGNALS)
def test_a_signal_requests_the_end_and_its_handler_is_restored(number: signal.Signals) -> None:
    before = signal.getsignal(number)

    async def main() -> None:
        leave, force = Asked(), Asked()
        watch = EndWatch(leave, force=force, check_every_s=0.001, clock=Clock())
        watch.start(None)
        os.kill(os.getpid(), number)
        assert await leave.wait() == [128 + number]
        watch.release()
        watch.stop()
        await ended(watch)
        assert force.codes == []  # it ended cleanly

    asyncio.run(main())
    assert signal.getsignal(number) == before


def test_a_lost_terminal_requests_the_end_and_then_forces_it() -> None:
    async def main() -> None:
        clock, leave, force = Clock(), Asked(), Asked()
        master, slave = pty.openpty()
        watch = EndWatch(leave, force=force, check_every_s=0.001, clock=clock)
        watch.start(slave)
        assert leave.codes == []
        os.close(master)
        assert await leave.wait() == [128 + signal.SIGHUP]
        clock.now_s += GRACE_S
        assert force.codes == []  # not before the grace period
        clock.now_s += 0.01
        assert await force.wait() == [128 + signal.SIGHUP]
        watch.release()
        await ended(watch)
        os.close(slave)
        assert leave.codes == [128 + signal.SIGHUP]

    asyncio.run(main())


def test_a_terminal_lost_before_the_loop_forces_the_end() -> None:
    # Such a dashboard once span on the end of its input for ever, at a whole core.
    master, slave = pty.openpty()
    os.close(master)
    codes: list[int] = []
    watch = EndWatch(codes.append, force=codes.append, check_every_s=0.001, grace_s=0.01)
    watch.begin(slave)
    assert watch.thread is not None
    watch.thread.join(PATIENCE_S)
    os.close(slave)
    assert codes == [128 + signal.SIGHUP]


def test_a_watch_that_has_begun_goes_on_after_the_app_has_let_go() -> None:
    async def main() -> None:
        clock, leave, force = Clock(), Asked(), Asked()
        master, slave = pty.openpty()
        watch = EndWatch(leave, force=force, check_every_s=0.001, clock=clock)
        watch.begin(slave)
        watch.start(None)
        watch.release()
        os.close(master)
        assert await leave.wait() == [128 + signal.SIGHUP]
        clock.now_s += GRACE_S + 1.0
        assert await force.wait() == [128 + signal.SIGHUP]
        os.close(slave)

    asyncio.run(main())


@pytest.mark.slow
@pytest.mark.parametrize("delay_s", [0.0, 0.2, 0.4, 0.8])
def test_a_dashboard_whose_terminal_goes_while_it_starts_ends(delay_s: float) -> None:
    master, slave = pty.openpty()
    program = subprocess.Popen(
        [sys.executable, "-c", PROGRAM], stdin=slave, stdout=slave, stderr=slave, cwd=TREE
    )
    os.close(slave)
    select.select([master], [], [], delay_s)
    os.close(master)
    try:
        assert program.wait(PATIENCE_S) != 0
    finally:
        program.kill()
        program.wait()


def test_a_lost_parent_requests_the_end() -> None:
    async def main() -> None:
        leave = Asked()
        watch = EndWatch(leave, force=Asked(), check_every_s=0.001, clock=Clock())
        watch.start(None, parent=os.getppid() + 1)
        assert await leave.wait() == [128 + signal.SIGHUP]
        watch.stop()
        watch.release()
        await ended(watch)

    asyncio.run(main())


def test_released_without_an_end_it_stops_watching() -> None:
    async def main() -> None:
        leave = Asked()
        watch = EndWatch(leave, force=Asked(), check_every_s=0.001, clock=Clock())
        watch.start(None)
        watch.release()
        await ended(watch)
        assert leave.codes == []

    asyncio.run(main())


@pytest.mark.slow
def test_the_app_ends_by_a_signal_with_its_code() -> None:
    async def main() -> int | None:
        app = make_app(SteeredSource(), units=CHOICES["km/h"])
        async with app.run_test() as pilot:
            await pilot.pause()
            left = asyncio.Event()
            leave = app.end_watch.leave

            def leave_and_signal(code: int) -> None:
                leave(code)
                left.set()

            app.end_watch.leave = leave_and_signal
            os.kill(os.getpid(), signal.SIGTERM)
            await asyncio.wait_for(left.wait(), PATIENCE_S)
        app.end_watch.stop()
        return app.return_code

    assert asyncio.run(main()) == 143


def test_a_late_tick_after_the_last_screen_is_ignored() -> None:
    async def main() -> None:
        app = make_app(SteeredSource(), units=CHOICES["km/h"])
        async with app.run_test() as pilot:
            await pilot.pause()
        assert app.screen_stack == []
        app.tick()
        app.end_watch.stop()

    asyncio.run(main())


PROGRAM = """
import sys
from groundside.dashboard.app import make_app
from groundside.words.units import CHOICES
from tests.groundside.dashboard.steered_app import SteeredSource
app = make_app(SteeredSource(), units=CHOICES["km/h"])
app.run()
sys.exit(app.return_code or 0)
"""


def _read_until(master: int, wanted: bytes, bound_s: float = PATIENCE_S) -> bytes:
    seen = b""
    end_s = time.monotonic() + bound_s
    while wanted not in seen and time.monotonic() < end_s:
        if select.select([master], [], [], 0.1)[0]:
            try:
                seen += os.read(master, 65536)
            except OSError:  # the other end is closed
                break
    return seen


@pytest.mark.slow
def test_a_real_terminal_is_restored() -> None:
    master, slave = pty.openpty()
    program = subprocess.Popen(
        [sys.executable, "-c", PROGRAM],
        stdin=slave,
        stdout=slave,
        stderr=slave,
        cwd=TREE,
        env={**os.environ, "TERM": "xterm-256color"},
    )
    os.close(slave)
    try:
        begun = _read_until(master, b"waiting for the first data")
        assert b"\x1b[?1049h" in begun  # the alternate screen
        program.send_signal(signal.SIGTERM)
        ended = _read_until(master, b"\x1b[?25h")
        assert b"\x1b[?1049l" in ended
        assert b"\x1b[?25h" in ended  # the cursor is back
        assert b"\x1b[?1000l" in ended  # the mouse is released
        assert program.wait(PATIENCE_S) == 143
    finally:
        program.kill()
        program.wait()
        os.close(master)


class _Stream:
    def __init__(self, terminal: bool) -> None:
        self.terminal = terminal

    def isatty(self) -> bool:
        return self.terminal


@pytest.mark.parametrize("missing", ["stdin", "stdout", "stderr", None])
@pytest.mark.parametrize("term", ["xterm-256color", "dumb", ""])
def test_which_terminals_are_usable(
    monkeypatch: pytest.MonkeyPatch, missing: str | None, term: str
) -> None:
    monkeypatch.setenv("TERM", term)
    for name in ("stdin", "stdout", "stderr"):
        monkeypatch.setattr(sys, name, _Stream(name != missing))
    usable = usable_terminal()
    monkeypatch.undo()
    assert usable == (missing is None and term == "xterm-256color")


def test_a_missing_stream_is_not_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stdin", None)
    usable = usable_terminal()
    monkeypatch.undo()
    assert not usable
