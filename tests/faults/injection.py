"""Faults injected into each function of the daemon, found by walking its code.

python -m tests.faults.injection                every function and method of the rooms below
python -m tests.faults.injection --only fold    those whose name contains this
"""

import argparse
import asyncio
import contextlib
import importlib
import inspect
import json
import pkgutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

from onboard.daemon import pipeline as pipeline_module
from onboard.daemon.pipeline import Pipeline
from onboard.daemon.run_settings import Settings
from onboard.efficiency.advice.target import Aim
from onboard.feed.server import FeedServer
from onboard.profile import load_profile
from onboard.record.subscriber import STRICT
from onboard.restarts import refold_task
from onboard.telemetry.link import stamp_clock as stamp_clock_module
from onboard.telemetry.link.base import Piece
from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.craft.telemetry_log import log_frames

LOGS = Path(__file__).parents[2] / "replay_logs"
START_US = 1_750_000_000_000_000
TICK_S = 2.0
BEGIN_S, RIDDEN_S = 90, 180
AFTER_S = 60
"""Time after the end of the ride for failed parts to recover [s]: the link is silent by then."""

ROOMS = (
    "onboard.efficiency",
    "onboard.contract.codec",
    "onboard.feed.server",
    "onboard.telemetry.messages.decoder",
    "onboard.telemetry.messages.followed_craft",
    "onboard.telemetry.messages.timebase",
    "onboard.telemetry.messages.table",
    "onboard.telemetry.link.requests",
    "onboard.telemetry.mavlink.packing",
    "onboard.ride.ride",
    "onboard.daemon.own_alerts",
    "onboard.daemon.publisher",
    "onboard.crew.door",
    "onboard.restarts.session_book",
)

NOT_LIVE = ("parts", "trial", "round_trip")
"""Modules that never run on the craft, and `parts`, which catches the faults."""

FRAMES = [
    (round((frame.time_s - BEGIN_S) * 1e6), frame.data)
    for frame in log_frames(LOGS / "harbour_loop.tlog")
    if BEGIN_S <= frame.time_s < BEGIN_S + RIDDEN_S
]


class InjectedError(Exception):
    """An unforeseen fault."""


def targets() -> Iterator[tuple[str, str]]:
    """Yield module and dotted name of every function and method of the rooms.

    `SessionBook.write` is left out: if it always fails, there is no record to compare.
    """
    for room in ROOMS:
        module = importlib.import_module(room)
        names = [room]
        if hasattr(module, "__path__"):
            names += [one.name for one in pkgutil.walk_packages(module.__path__, f"{room}.")]
        for name in names:
            if not set(NOT_LIVE) & set(name.split(".")):
                yield from _of(importlib.import_module(name))


def _of(module: Any) -> Iterator[tuple[str, str]]:
    for name, thing in sorted(vars(module).items()):
        if getattr(thing, "__module__", None) != module.__name__:
            continue
        if inspect.isfunction(thing):
            yield module.__name__, name
        elif inspect.isclass(thing):
            for method, function in sorted(vars(thing).items()):
                if inspect.isfunction(function) and not method.startswith("__"):
                    yield module.__name__, f"{name}.{method}"


@dataclass
class Fault:
    """A function that raises, at a single call or from that call on."""

    module: str
    name: str
    always: bool
    calls: int = 0
    at_call: int = 3

    @contextlib.contextmanager
    def there(self) -> Iterator[None]:
        """Inject it into every module that imported the function, until the block ends."""
        owner: Any = importlib.import_module(self.module)
        *above, last = self.name.split(".")
        for part in above:
            owner = getattr(owner, part)
        original = vars(owner)[last]

        def broken(*given: Any, **named: Any) -> Any:
            self.calls += 1
            if self.calls >= self.at_call if self.always else self.calls == self.at_call:
                raise InjectedError(self.name)
            return original(*given, **named)

        places = (
            [owner] if above else [m for n, m in sys.modules.items() if n.startswith("onboard")]
        )
        with contextlib.ExitStack() as stack:
            for place in places:
                for name, thing in list(vars(place).items()):
                    if thing is original:
                        stack.enter_context(patch.object(place, name, broken))
            yield


@dataclass
class Reader:
    """A link that delivers everything sent so far, by the stream's own stamps."""

    now_us: Callable[[], int]
    sent: list[tuple[int, bytes]] = field(default_factory=list)
    problem, dropped_bytes, received_s, relief, answered = None, 0, None, None, None

    def answer(self, source: object) -> None:
        """Do nothing: there is only one other end."""

    def take(self) -> list[Piece]:
        gone_us = self.now_us() - START_US
        count = sum(at_us <= gone_us for at_us, _ in FRAMES[len(self.sent) :])
        new = FRAMES[len(self.sent) : len(self.sent) + count]
        self.sent += new
        return [Piece(START_US + at_us & ~3, data) for at_us, data in new]

    def write(self, data: bytes) -> None:
        """Discard data for the autopilot."""


@dataclass
class Outcome:
    """Result of a run."""

    record: bytes
    sent: bytes
    snapshots: list[dict[str, Any]]

    @property
    def alerts(self) -> set[str]:
        """Codes of all alerts shown."""
        return {alert["code"] for one in self.snapshots for alert in one["alerts"]}


async def ridden(folder: Path) -> Outcome:
    """Run a daemon over the first minutes of a log, then over silence, with a simulated clock."""
    now = SimpleNamespace(s=1000.0)
    clock = SimpleNamespace(
        monotonic=lambda: now.s,
        monotonic_ns=lambda: round((now.s - 1000.0) * 1e9),
        time_ns=lambda: START_US * 1000,
    )

    async def sleep(seconds: float) -> None:
        until = now.s + seconds
        while now.s < until:
            await asyncio.sleep(0)

    settings = Settings(
        load_profile(LOGS / "harbour_loop.toml"), "udpin:127.0.0.1:0", 57600, None,
        ("127.0.0.1", 0), folder, aim=Aim(distance_m=3000.0),
    )  # fmt: skip
    lines: list[bytes] = []
    with (
        patch.object(pipeline_module, "time", clock),
        patch.object(stamp_clock_module, "time", clock),
        patch.object(pipeline_module.lean_memory, "trim", lambda: None),
        # Somebody watches: otherwise no snapshot is built.
        patch.object(FeedServer, "viewers", 1),
        patch.object(refold_task, "asyncio", SimpleNamespace(**{**vars(asyncio), "sleep": sleep})),
    ):
        receipt = stamp_clock_module.StampClock()
        reader = Reader(receipt)
        pipeline = Pipeline(settings, reader, "link", receipt)
        pipeline.begin()
        book = pipeline.book
        assert book is not None

        def publish(line: bytes, now_s: float) -> None:
            FeedServer.publish(pipeline.feed, line, now_s)
            lines.append(line)

        pipeline.feed.publish = publish  # type: ignore[method-assign]
        for _ in range(round((RIDDEN_S + AFTER_S) / TICK_S)):
            now.s += TICK_S
            pipeline.tick()
            refolding = pipeline.keeper.refolding
            # While a thread reads the records, the clock waits for it.
            while refolding is not None and refolding.folding and not refolding.done:
                await asyncio.sleep(0.001)
            await asyncio.sleep(0)
            book.flush()
        book.close(pipeline.keeper.saved_state())
    messages = [json.loads(line) for part in lines for line in part.splitlines()]
    return Outcome(
        (book.folder / RECORD_NAME).read_bytes(),
        b"".join((START_US + at & ~3).to_bytes(8, "big") + data for at, data in reader.sent),
        [one for one in messages if one["kind"] == "snapshot"],
    )


def run(fault: Fault | None = None) -> Outcome:
    """Run a daemon with a fault in it."""
    with tempfile.TemporaryDirectory() as folder, contextlib.ExitStack() as stack:
        if fault is not None:
            stack.enter_context(patch.dict("os.environ", {STRICT: "0"}))
            stack.enter_context(fault.there())
        return asyncio.run(ridden(Path(folder)))


def leaves(message: Any, path: str = "") -> dict[str, Any]:
    """Return the values of a snapshot by path, without reasons and the daemon's state."""
    if isinstance(message, dict):
        found: dict[str, Any] = {}
        for key, value in message.items():
            if key not in ("why", "seq", "alerts", "link", "reason"):
                found |= leaves(value, f"{path}.{key}")
        return found
    return {path: message}


def wrong(outcome: Outcome, sound: Outcome, always: bool) -> list[str]:
    """Return descriptions of everything that is wrong."""
    problems = []
    if outcome.record != outcome.sent or outcome.sent != sound.sent:
        problems.append(f"{len(outcome.record)} of {len(sound.sent)} bytes recorded")
    if not outcome.snapshots:
        return problems
    if always and outcome.snapshots[-1]["trip"]["elapsed_s"] is None:
        # Nothing is shown, and an alert reports it.
        return problems if "figures_failed" in outcome.alerts else [*problems, "not said"]
    last, expected = leaves(outcome.snapshots[-1]), leaves(sound.snapshots[-1])
    for path, value in expected.items():
        if last.get(path) == value:
            continue
        # An object in one may be null in the other.
        parents = [path[: n + 1] for n, letter in enumerate(path + ".") if letter == "."]
        nothing = last.get(path) is None or any(last.get(one[:-1], 0) is None for one in parents)
        if always and (nothing or last.get(path) in ([], 0.0) or _contains(last, path, value)):
            continue
        problems.append(f"{path} = {last.get(path)}: expected {value}")
    return problems


def _contains(last: dict[str, Any], path: str, value: Any) -> bool:
    """Return whether a figure computed otherwise, without a part, still contains the value."""
    figure = path.rpartition(".")[0]
    low, high = last.get(f"{figure}.low"), last.get(f"{figure}.high")
    return low is not None and high is not None and abs(value - (low + high) / 2) <= high - low


def main() -> None:
    """Try every function in turn."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="")
    arguments = parser.parse_args()
    sound, tried, bad = run(), 0, 0
    for module, name in targets():
        if arguments.only not in f"{module}:{name}":
            continue
        for always in (False, True):
            fault = Fault(module, name, always)
            try:
                outcome = run(fault)
                problems = wrong(outcome, sound, always)
            except Exception as end:
                problems = [f"the daemon ended: {end!r}"]
            tried += fault.calls >= fault.at_call
            bad += bool(problems)
            if problems:
                print(f"{module}:{name} {'always' if always else 'once'}: {problems[:3]}")
    print(f"{tried} faults, {bad} not stood")
    sys.exit(bool(bad))


if __name__ == "__main__":
    main()
