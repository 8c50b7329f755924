"""Shared by the dashboard's tests: a snapshot, a source steered by a test, the screen as text."""

import asyncio
import itertools
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import replace
from typing import Any

from textual.app import App
from textual.pilot import Pilot
from textual.strip import Strip

from groundside.connection.commands import CommandResult
from groundside.connection.source import ReplayState, Update
from groundside.dashboard.app import DashboardApp, make_app
from groundside.dashboard.drawing.block_font import SIZES, draw
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.widgets.button_bar import ButtonBar
from groundside.words.units import CHOICES
from onboard.contract.commands import Command, command_from
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot, unknown_snapshot
from tests.made_snapshot import TARGET, changed, made_snapshot
from tests.patience import PATIENCE_S

SCREENS = [(40, 22), (80, 24), (120, 40)]
"""A phone held upright, the usual terminal, a large one: columns and rows."""


NOT_STATED = Unknown(Reason.NOT_STATED)
BARE = made_snapshot(
    utc=Unknown(Reason.CLOCK_NOT_SET),
    wh_per_km__since_mark=Unknown(Reason.NO_MARK),
    battery__resistance_ohm=Unknown(Reason.NO_RESISTANCE),
    range_m__target=Unknown(Reason.NO_TARGET),
    range_m__best=Unknown(Reason.NO_CURVE),
    best_speed_mps=Unknown(Reason.NO_CURVE),
    target=Unknown(Reason.NO_TARGET),
    home=NOT_STATED,
    set_and_drift=NOT_STATED,
    setup="as is",
    setups=("as is",),
    curve=NOT_STATED,
    runs=(),
    alerts=(),
    coach=Unknown(Reason.NO_TRIAL),
)
"""A snapshot early in a ride: sums are known, but nothing has been learned yet."""

TO_GO = changed(
    TARGET,
    speed_mps=Unknown(Reason.NO_CURVE),
    power_w=Unknown(Reason.NO_CURVE),
    confidence_fraction=Unknown(Reason.NO_CURVE),
)
"""A target for a distance to go, before the curve is learned."""


def snapshot(**changes: Any) -> Snapshot:
    """Return the early snapshot with some fields changed, as for `made_snapshot`."""
    return changed(BARE, **changes)


def state(shown: Snapshot | None = None, **more: Any) -> ViewState:
    """Return a state in km/h."""
    return ViewState(shown or snapshot(), **{"units": CHOICES["km/h"], **more})


def waiting(**more: Any) -> ViewState:
    """Return the state before the first snapshot."""
    nothing = unknown_snapshot(Unknown(Reason.NO_DATA), "a test")
    return state(nothing, started=False, source="a test", **more)


def replayed(t_s: float = 431.2, **changes: Any) -> ReplayState:
    """Return the state of a replay."""
    return replace(ReplayState(4.0, False, t_s, 720.0, 1.0), **changes)


class SteeredControls:
    """Replay controls that record the calls."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def pause_or_go(self) -> None:
        self.asked.append("pause_or_go")

    def faster(self) -> None:
        self.asked.append("faster")

    def slower(self) -> None:
        self.asked.append("slower")


class SteeredSeekControls:
    """Seek controls that record the calls."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, float | None]] = []

    def jump(self, seconds_s: float) -> None:
        self.asked.append(("jump", seconds_s))

    def go_to(self, fraction: float) -> None:
        self.asked.append(("go_to", fraction))

    def go_to_distance(self, distance_m: float) -> None:
        self.asked.append(("go_to_distance", distance_m))

    def next_event(self) -> bool:
        self.asked.append(("next_event", None))
        return len(self.asked) < 5

    def event_before(self) -> None:
        self.asked.append(("event_before", None))


class SteeredSender:
    """A command sender that records the commands, and returns a fixed answer."""

    def __init__(self, answer: CommandResult | None = None) -> None:
        self.sent: list[Command] = []
        self.answer = answer or CommandResult(True)

    async def send(self, command: Command) -> CommandResult:
        self.sent.append(command)
        return self.answer


class SteeredSource:
    """A source of the updates that a test puts in; `None` ends it, an exception breaks it."""

    name = "a test"

    def __init__(
        self,
        controls: SteeredControls | None = None,
        places: SteeredSeekControls | None = None,
        sender: SteeredSender | None = None,
    ) -> None:
        self.controls, self.seek_controls, self.command_sender = controls, places, sender
        self._queue: asyncio.Queue[Update | Exception | None] = asyncio.Queue()

    def put(self, update: Update | Exception | None) -> None:
        self._queue.put_nowait(update)

    async def stream(self) -> AsyncIterator[Update]:
        while True:
            update = await self._queue.get()
            if isinstance(update, Update):
                yield update  # resumes when the reader asks for more: the update is processed then
            self._queue.task_done()
            if update is None:
                return
            if isinstance(update, Exception):
                raise update

    async def all_taken(self) -> None:
        """Wait until the reader has processed all updates."""
        await self._queue.join()


class Clock:
    """A clock set by a test."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def strips_of(app: App[Any]) -> list[Strip]:
    """Return the rows of the screen. The toolkit has no public way to do so."""
    return app.screen._compositor.render_strips()


def rows_of(app: App[Any]) -> list[str]:
    """Return the rows of the screen as text."""
    return [strip.text for strip in strips_of(app)]


def text_of_screen(app: App[Any]) -> str:
    return "\n".join(rows_of(app))


class SteeredApp:
    """An app with source and clock controlled by a test."""

    def __init__(
        self,
        controls: SteeredControls | None = None,
        places: SteeredSeekControls | None = None,
        sender: SteeredSender | None = None,
        **options: Any,
    ) -> None:
        self.clock = Clock()
        self.source = SteeredSource(controls, places, sender)
        self.app: DashboardApp = make_app(
            self.source, units=CHOICES["km/h"], clock=self.clock, **options
        )
        self.pilot: Pilot[None]

    async def give(self, *updates: Update | Exception | None) -> None:
        for update in updates:
            self.source.put(update)
        await asyncio.wait_for(self.source.all_taken(), PATIENCE_S)
        await self.show()

    async def show(self) -> None:
        """Show the present state, and wait until every widget has processed it.

        With a pause of zero, the pilot waits for the message queues alone, whatever the machine's
        speed; a message may cause others, so repeat until nothing changes any more.
        """
        await self.pilot.pause(0)
        self.app.tick()
        same = 0
        before = ""
        while same < 3:
            await self.pilot.pause(0)
            now = self.text
            same = same + 1 if now == before else 0
            before = now

    @property
    def text(self) -> str:
        return text_of_screen(self.app)

    @property
    def rows(self) -> list[str]:
        return rows_of(self.app)

    async def tap(self, bar: str, label: str) -> None:
        """Tap the button of a bar with this label."""
        buttons = self.app.screen.query_one(bar, ButtonBar)
        for button, region, _cell in buttons.placed():
            if button.label == label:
                await self.pilot.click(bar, offset=region.center)
                await self.show()
                return
        raise AssertionError(f"{bar} has no {label}: {buttons.content}")


def run_app(
    size: tuple[int, int], act: Callable[[SteeredApp], Awaitable[None]], **options: Any
) -> None:
    async def main() -> None:
        here = SteeredApp(**options)
        async with here.app.run_test(size=size) as pilot:
            here.pilot = pilot
            await pilot.pause()
            await act(here)

    asyncio.run(main())


def holds_drawn(rows: list[str], text: str) -> bool:
    """Return whether a text is on the screen in big type of any size."""
    for size, above in itertools.product(SIZES, (0, 1)):
        drawn = [row for row in draw(text, size, above=above) if row.strip()]
        for top in range(len(rows) - len(drawn) + 1):
            at = rows[top].find(drawn[0])
            while at >= 0:
                if all(rows[top + y][at:].startswith(line) for y, line in enumerate(drawn)):
                    return True
                at = rows[top].find(drawn[0], at + 1)
    return False


def commands_sent(sender: SteeredSender) -> list[Command]:
    """Return the commands sent, after checking that the daemon's reader accepts each."""
    for command in sender.sent:
        assert command_from(command.as_dict()) == command
    return sender.sent
