"""The dashboard ends in good order: by signals, and where its terminal is gone or blocked."""

import asyncio
import os
import pty
import select
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from groundside.dashboard import ending
from groundside.dashboard.app import make_app
from groundside.dashboard.ending import SIGNALS, EndWatch
from groundside.terminal import usable_terminal
from groundside.units import CHOICES
from tests.groundside.dashboard_help import SteeredSource
from tests.patience import PATIENCE_S

TREE = Path(__file__).parents[2]


async def _until(happened: list[int], bound_s: float = PATIENCE_S) -> None:
    end_s = time.monotonic() + bound_s
    while not happened and time.monotonic() < end_s:
        await asyncio.sleep(0.005)


@pytest.mark.parametrize("number", SIGNALS)
def test_a_signal_asks_for_the_end_and_is_given_back(number: signal.Signals) -> None:
    asked: list[int] = []
    before = signal.getsignal(number)

    async def main() -> None:
        watch = EndWatch(asked.append, look_every_s=0.01)
        watch.start(None)
        try:
            os.kill(os.getpid(), number)
            await _until(asked)
        finally:
            watch.release()
            watch.stop()

    asyncio.run(main())
    assert asked == [128 + number]
    assert signal.getsignal(number) == before


def test_a_terminal_that_is_gone_asks_for_the_end_and_then_forces_it() -> None:
    asked: list[int] = []
    forced: list[int] = []

    async def main() -> None:
        master, slave = pty.openpty()
        watch = EndWatch(asked.append, force=forced.append, look_every_s=0.01, grace_s=0.05)
        watch.start(slave)
        await asyncio.sleep(0.03)
        assert asked == []
        os.close(master)
        await _until(forced)
        await _until(asked)
        watch.release()
        os.close(slave)

    asyncio.run(main())
    assert asked == [128 + signal.SIGHUP]
    assert forced == [128 + signal.SIGHUP]


def test_an_end_in_good_order_is_not_forced(monkeypatch: pytest.MonkeyPatch) -> None:
    forced: list[int] = []
    now_s = [0.0]
    monkeypatch.setattr(ending, "time", SimpleNamespace(monotonic=lambda: now_s[0]))

    async def main() -> None:
        done = asyncio.Event()
        watch = EndWatch(
            lambda _: done.set(), force=forced.append, look_every_s=0.005, grace_s=0.02
        )
        watch.start(None)
        os.kill(os.getpid(), signal.SIGTERM)
        await done.wait()
        watch.release()
        watch.stop()
        now_s[0] += 1.0
        await asyncio.sleep(0.06)

    asyncio.run(main())
    assert forced == []


def test_the_app_ends_by_a_signal_with_its_code() -> None:
    async def main() -> int | None:
        app = make_app(SteeredSource(), units=CHOICES["km/h"])
        async with app.run_test() as pilot:
            await pilot.pause()
            os.kill(os.getpid(), signal.SIGTERM)
            end_s = time.monotonic() + PATIENCE_S
            while not app.return_code and time.monotonic() < end_s:
                await asyncio.sleep(0.01)
        app._end_watch.stop()
        return app.return_code

    assert asyncio.run(main()) == 143


def test_a_late_tick_after_the_last_screen_is_nothing() -> None:
    async def main() -> None:
        app = make_app(SteeredSource(), units=CHOICES["km/h"])
        async with app.run_test() as pilot:
            await pilot.pause()
        assert app.screen_stack == []
        app.tick()
        app._end_watch.stop()

    asyncio.run(main())


PROGRAM = """
import sys
from groundside.dashboard.app import make_app
from groundside.units import CHOICES
from tests.groundside.dashboard_help import SteeredSource
app = make_app(SteeredSource(), units=CHOICES["km/h"])
app._end_watch._grace_s = 120.0
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
def test_a_real_terminal_is_given_back_as_it_was() -> None:
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
        assert b"\x1b[?1049h" in begun  # the screen of its own
        program.send_signal(signal.SIGTERM)
        ended = _read_until(master, b"\x1b[?25h")
        assert b"\x1b[?1049l" in ended
        assert b"\x1b[?25h" in ended  # the cursor is back
        assert b"\x1b[?1000l" in ended  # the mouse is let go
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
def test_what_terminal_is_usable(
    monkeypatch: pytest.MonkeyPatch, missing: str | None, term: str
) -> None:
    monkeypatch.setenv("TERM", term)
    for name in ("stdin", "stdout", "stderr"):
        monkeypatch.setattr(sys, name, _Stream(name != missing))
    usable = usable_terminal()
    monkeypatch.undo()
    assert usable == (missing is None and term == "xterm-256color")


def test_no_stream_at_all_is_no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stdin", None)
    usable = usable_terminal()
    monkeypatch.undo()
    assert not usable
