"""What viewers get between folds, and what goes on while nobody watches, tick by tick."""

import asyncio
import json
from collections.abc import Callable, Coroutine
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from onboard.contract.commands import Mark
from onboard.daemon import pipeline as pipeline_module
from onboard.daemon.pipeline import Pipeline
from onboard.daemon.rhythm import ALONE_FOLD_EVERY_S
from onboard.daemon.run_settings import Settings
from onboard.efficiency.engine import Engine
from onboard.errors import LinkError
from onboard.feed.server import FeedServer
from onboard.profile import Profile
from onboard.ride.ride import Ride
from onboard.telemetry.link.base import Piece
from onboard.telemetry.link.link_scanner import LinkScanner
from tests.onboard.small_rides import PROFILE, START_US
from tests.small_streams import Sender

TICK_S = 0.2


class Watching:
    """A daemon's pipeline on a simulated clock, a fifth of a second a tick."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now_s, self.viewers, self.sender = 1000.0, 1, Sender()
        self.problem: LinkError | None = None
        self.dropped_bytes, self.received_s, self.answered = 0, None, None
        self.batch_s, self.relief = 0.0, None
        self.silent = False
        self.volts_v, self.sent = 50.0, []
        clock = SimpleNamespace(monotonic=lambda: self.now_s)
        monkeypatch.setattr(pipeline_module, "time", clock)
        monkeypatch.setattr(FeedServer, "viewers", property(lambda _: self.viewers))
        monkeypatch.setattr(FeedServer, "publish", lambda _, line, __: self.got(line))
        self.lines: list[dict[str, Any]] = []
        settings = Settings(PROFILE, "udpin:127.0.0.1:0", 57600, None, ("127.0.0.1", 0), folder)
        stamp: Any = lambda: START_US + round((self.now_s - 1000.0) * 1e6) & ~3  # noqa: E731
        stamp.start_us = START_US
        self.pipeline = Pipeline(settings, self, "link", stamp)  # type: ignore[arg-type]
        self.pipeline.begin()
        assert self.pipeline.book is not None
        self.pipeline.book.past.result(10)
        self.stamp = stamp

    def got(self, line: bytes) -> None:
        self.lines += [json.loads(one) for one in line.splitlines()]

    def take(self) -> list[Piece]:
        """Return what came in the last fifth of a second; the link's reader does this."""
        if self.silent:
            return []
        at_s = self.now_s - 700.0
        # The current tells the time: 3 A and a hundredth for each second.
        data = [
            self.sender.sys_status(self.volts_v, 3.0 + (self.now_s - 1000.0) / 100),
            self.sender.gps(1.8),
            self.sender.heartbeat(),
            self.sender.attitude(at_s),
            self.sender.time_of_day(1.75e9 + at_s, at_s),
        ]
        self.sent += data
        return [Piece(self.stamp(), b"".join(data))]

    def answer(self, _: object) -> None: ...

    def write(self, _: bytes) -> None: ...

    def turn(self, seconds: float) -> list[dict[str, Any]]:
        """Tick for some time; return the snapshots."""
        self.lines = []
        for _ in range(round(seconds / TICK_S)):
            self.now_s += TICK_S
            self.pipeline.tick()
        return [one for one in self.lines if one["kind"] == "snapshot"]

    @property
    def t_s(self) -> float:
        """Stream time now [s]."""
        return self.now_s - 1000.0 - TICK_S


Scene = Callable[[Watching], Coroutine[Any, Any, None]]


@pytest.fixture
def play(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[Scene], None]:
    def run(scene: Scene) -> None:
        async def whole() -> None:
            there = Watching(tmp_path, monkeypatch)
            try:
                await scene(there)
            finally:
                assert there.pipeline.book is not None
                there.pipeline.book.close(None)

        asyncio.run(whole())

    return run


def test_newest_values_at_every_tick_and_sums_at_most_a_second_old(play) -> None:
    async def scene(there: Watching) -> None:
        there.turn(20.0)
        folds = set()
        for _ in range(30):
            (shown,) = there.turn(TICK_S)
            assert shown["newest_t_s"] == pytest.approx(there.t_s, abs=0.01)
            assert shown["amps_a"] == pytest.approx(3.0 + (there.t_s + TICK_S) / 100, abs=0.006)
            assert 0.0 <= there.t_s - shown["t_s"] < 0.81
            # Sums are those of their own time.
            assert shown["trip"]["elapsed_s"] == pytest.approx(shown["t_s"], abs=0.01)
            folds.add(shown["t_s"])
        assert len(folds) == pytest.approx(6, abs=1)

    play(scene)


@pytest.mark.parametrize("ticks_before", range(5))
def test_an_alert_is_shown_within_a_second(play, ticks_before: int) -> None:
    async def scene(there: Watching) -> None:
        always, scanner = Ride(PROFILE), LinkScanner()

        def turned() -> tuple[set[str], set[str]]:
            """Return the alerts shown, and those that a fold at each tick shows."""
            (one,) = there.turn(TICK_S)
            always.take(scanner.push([Piece(there.stamp(), b"".join(there.sent))]))
            there.sent.clear()
            alerts = always.engine.figures().alerts
            return {one["code"] for one in one["alerts"]}, {one.code.code for one in alerts}

        for _ in range(200 + ticks_before):
            before, _ = turned()
        there.volts_v = 36.0  # far below what 14 cells may be at
        due: dict[str, int] = {}
        shown: dict[str, int] = {}
        for n in range(200):
            live, at_once = turned()
            due |= dict.fromkeys(at_once - before - set(due), n)
            shown |= dict.fromkeys(live - before - set(shown), n)
        assert due
        for code, n in due.items():
            assert 0 <= shown[code] - n <= 5, code

    play(scene)


def test_a_viewer_that_comes_gets_a_full_snapshot_at_once(play) -> None:
    async def scene(there: Watching) -> None:
        there.viewers = 0
        there.turn(20.0)
        assert there.turn(3.0) == []
        there.lines = []
        there.now_s += 0.1
        woken: list[bool] = []
        there.pipeline.wake = lambda: woken.append(True)
        greeting = json.loads(there.pipeline.greeting())
        assert greeting["kind"] == "trip_line"
        shown = [one for one in there.lines if one["kind"] == "snapshot"][-1]
        assert shown["t_s"] == shown["newest_t_s"] == pytest.approx(there.t_s, abs=0.01)
        assert shown["trip"]["elapsed_s"] == pytest.approx(shown["t_s"], abs=0.01)
        # The long pause of a daemon without viewers ends.
        assert woken == [True]
        # Another one has the same, at most a tick old.
        there.viewers, there.lines = 1, []
        there.pipeline.greeting()
        assert (there.lines, woken) == ([], [True])

    play(scene)


def test_without_viewers_figures_are_rarely_folded_and_snapshots_not_built(
    play, monkeypatch
) -> None:
    folds, built = [], []
    fold, figures = Engine.fold, Engine.figures
    monkeypatch.setattr(Engine, "fold", lambda *a: (folds.append(a), fold(*a))[1])
    monkeypatch.setattr(Engine, "figures", lambda *a, **k: (built.append(a), figures(*a, **k))[1])

    async def scene(there: Watching) -> None:
        there.turn(20.0)
        there.viewers = 0
        there.turn(4.0)
        folds.clear(), built.clear()
        there.turn(20.0)
        assert len(folds) == 5
        assert built == []
        # Yet no frame is lost, and alerts and sums are those of a replay.
        there.pipeline.close(lambda: 1.0)
        assert there.pipeline.ride.messages == len(there.sent)

    play(scene)


def test_a_link_that_is_lost_is_told_while_watched_and_its_time_kept_while_not(play) -> None:
    async def scene(there: Watching) -> None:
        there.turn(20.0)
        there.silent, there.problem = True, LinkError("gone", "link", "broke")
        shown = there.turn(8.0)
        down = [[a for a in one["alerts"] if a["code"] == "link_down"] for one in shown]
        assert next(n for n, one in enumerate(down) if one) <= 5
        # A silent instrument is unknown once its reading is stale, at the very tick.
        known = [one["power_w"] is not None for one in shown]
        assert known.index(False) == pytest.approx(25, abs=1)
        assert not any(known[known.index(False) :])
        ages = [one["link"]["age_s"] for one in shown]
        assert ages == pytest.approx([TICK_S * (n + 1) for n in range(len(shown))], abs=0.01)
        there.viewers, there.problem = 0, None
        there.turn(4.0)
        there.problem = LinkError("gone again", "link", "broke")
        there.turn(12.0)
        there.lines = []
        there.pipeline.greeting()
        (again,) = [one for one in there.lines if one["kind"] == "snapshot"]
        (alert,) = [one for one in again["alerts"] if one["code"] == "link_down"]
        assert 12.0 - ALONE_FOLD_EVERY_S <= alert["since_s"] <= 12.1

    play(scene)


def test_a_command_counts_from_all_that_has_come_in_and_shows_at_the_next_tick(play) -> None:
    async def scene(there: Watching) -> None:
        there.turn(20.0)
        while there.turn(TICK_S)[0]["t_s"] > there.t_s - 0.5:
            pass  # half way between two folds
        answers: list[object] = []
        there.pipeline.on_command(Mark(1, "run_start"), lambda why, _: answers.append(why))
        assert answers == [None]
        (shown,) = there.turn(TICK_S)
        (run,) = shown["runs"]
        assert run["start_s"] == pytest.approx(there.t_s - TICK_S, abs=0.02)
        assert shown["t_s"] == shown["newest_t_s"]

    play(scene)


@pytest.mark.parametrize("viewers", [0, 1])
def test_live_figures_are_those_of_a_review(play, viewers: int) -> None:
    async def scene(there: Watching) -> None:
        there.viewers = viewers
        there.turn(60.0)
        there.pipeline.close(lambda: 1.0)
        live = there.pipeline.ride
        review = Ride(Profile(battery=PROFILE.battery))
        book = there.pipeline.book
        assert book is not None
        review.take(LinkScanner().push([Piece(START_US, b"".join(there.sent))]))
        live.finish(), review.finish()
        assert live.engine.figures() == review.engine.figures()

    play(scene)
