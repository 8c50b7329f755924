"""What the dashboard's tests share: a snapshot, a source that a test steers, the screen as text."""

import asyncio
import copy
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

from textual.app import App
from textual.pilot import Pilot

from groundside.answers import Ack
from groundside.dashboard.app import DashboardApp, make_app
from groundside.dashboard.block_font import SIZES, draw
from groundside.dashboard.widgets.button_bar import ButtonBar
from groundside.dashboard.widgets.button_bar import rows_of as buttons_in_rows
from groundside.source import Update
from groundside.units import CHOICES
from tests.patience import PATIENCE_S

SCREENS = [(40, 22), (80, 24), (120, 40)]
"""A phone held upright, the usual terminal, a large one: columns and rows."""


def figure(value: float, share: float = 0.05) -> dict[str, float]:
    return {"value": value, "low": value * (1 - share), "high": value * (1 + share)}


SNAPSHOT: dict[str, Any] = {
    "schema": 1,
    "kind": "snapshot",
    "seq": 12,
    "t_s": 431.2,
    "utc": None,
    "time_left_s": figure(7090.0),
    "power_w": 412.0,
    "volts_v": 51.2,
    "amps_a": 8.05,
    "speed_mps": 2.21,
    "course_deg": 83.0,
    "heading_deg": 80.0,
    "position_deg": [45.01, -30.02],
    "wh_per_km": {
        "last_20_s": figure(51.0),
        "last_300_s": figure(48.0),
        "trip": figure(48.2),
        "since_mark": None,
        "why": {"since_mark": "no mark set"},
    },
    "trip": {
        "energy_wh": figure(93.0),
        "charge_ah": 1.82,
        "distance_m": figure(1930.0),
        "moving_s": 400.0,
        "elapsed_s": 431.0,
        "wh_per_km": figure(48.2),
        "mean_power_w": 388.0,
        "mean_speed_mps": 2.2,
        "max_speed_mps": 2.9,
        "bridged_energy_fraction": 0.0,
        "bridged_distance_fraction": 0.012,
    },
    "battery": {
        "left_wh": figure(812.0),
        "left_fraction": figure(0.68),
        "resistance_ohm": None,
        "why": {"resistance_ohm": "too steady to tell"},
    },
    "range_m": {"now": figure(16_400.0), "target": None, "best": None, "why": {"best": "no curve"}},
    "best_speed_mps": None,
    "target": None,
    "home": None,
    "set_and_drift": None,
    "setup": "as is",
    "setups": ["as is"],
    "reserve_fraction": 0.2,
    "curve": None,
    "steady": {"seconds_s": 40.0, "power_w": 410.0, "speed_mps": 2.2, "scatter_fraction": 0.004},
    "runs": [],
    "drive": {"rpm": 1810.0, "motor_amps_a": 11.0, "temperature_degc": 47.0},
    "alerts": [],
    "link": {"age_s": 0.1, "messages_per_s": 31.0, "lost": 0, "source": "udpin:0.0.0.0:14550"},
    "why": {},
}

TARGET = {
    "distance_m": 5200.0,
    "wh_per_km": 46.0,
    "cue": "ease",
    "difference_fraction": 0.09,
    "confidence_fraction": None,
    "reason": "Using 9 % more than makes it.",
}


def snapshot(**changes: Any) -> dict[str, Any]:
    """Give a snapshot of our own with some of its keys changed."""
    return {**copy.deepcopy(SNAPSHOT), **changes}


class SteeredControls:
    """Notes down what was asked of it."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def pause_or_go(self) -> None:
        self.asked.append("pause_or_go")

    def faster(self) -> None:
        self.asked.append("faster")

    def slower(self) -> None:
        self.asked.append("slower")


class SteeredPlaces:
    """Notes down where it was asked to go."""

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


class SteeredTalk:
    """Notes down what was said to it, and answers as it is told."""

    def __init__(self, answer: Ack | None = None) -> None:
        self.said: list[dict[str, Any]] = []
        self.answer = answer or Ack(True)

    async def send(self, command: dict[str, Any]) -> Ack:
        self.said.append(command)
        return self.answer


class SteeredSource:
    """Gives what a test puts in; `None` ends the stream, an exception breaks it."""

    name = "a test"

    def __init__(
        self,
        controls: SteeredControls | None = None,
        places: SteeredPlaces | None = None,
        talk: SteeredTalk | None = None,
    ) -> None:
        self.controls, self.places, self.talk = controls, places, talk
        self._queue: asyncio.Queue[Update | Exception | None] = asyncio.Queue()

    def put(self, update: Update | Exception | None) -> None:
        self._queue.put_nowait(update)

    async def stream(self) -> AsyncIterator[Update]:
        while True:
            update = await self._queue.get()
            if isinstance(update, Update):
                yield update  # comes back here when the reader asks for more: it is taken then
            self._queue.task_done()
            if update is None:
                return
            if isinstance(update, Exception):
                raise update

    async def all_taken(self) -> None:
        """Wait until the reader has dealt with all that was put in."""
        await self._queue.join()


class Clock:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def rows_of(app: App[Any]) -> list[str]:
    """Give the rows of the screen as text. The toolkit has no public way to do so."""
    strips = app.screen._compositor.render_strips()
    return [strip.text for strip in strips]


def text_of_screen(app: App[Any]) -> str:
    return "\n".join(rows_of(app))


class Ride:
    """An app with its source and clock in a test's hands."""

    def __init__(
        self,
        controls: SteeredControls | None = None,
        places: SteeredPlaces | None = None,
        talk: SteeredTalk | None = None,
        **options: Any,
    ) -> None:
        self.clock = Clock()
        self.source = SteeredSource(controls, places, talk)
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
        await self.pilot.pause()
        self.app.tick()
        same = 0
        before = ""
        while same < 3:  # the pilot takes a process that is starved for one that is idle
            await self.pilot.pause()
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
        """Tap the button of a bar that says this."""
        buttons = self.app.screen.query_one(bar, ButtonBar)
        rows = buttons_in_rows(buttons.shown, buttons.size.width, buttons.least_width)
        for y, row in enumerate(rows):
            for x, button in enumerate(row):
                if button.label == label:
                    across = (2 * x + 1) * buttons.size.width // (2 * len(row))
                    down = (2 * y + 1) * buttons.size.height // (2 * len(rows))
                    await self.pilot.click(bar, offset=(across, down))
                    await self.show()
                    return
        raise AssertionError(f"{bar} has no {label}: {buttons.shown}")


def ride(size: tuple[int, int], act: Callable[[Ride], Awaitable[None]], **options: Any) -> None:
    async def main() -> None:
        here = Ride(**options)
        async with here.app.run_test(size=size) as pilot:
            here.pilot = pilot
            await pilot.pause()
            await act(here)

    asyncio.run(main())


def holds_drawn(rows: list[str], text: str) -> bool:
    """Tell whether a text stands on the screen in big type of any size."""
    for size in SIZES:
        drawn = draw(text, size)
        for top in range(len(rows) - len(drawn) + 1):
            at = rows[top].find(drawn[0])
            while at >= 0:
                if all(rows[top + y][at:].startswith(line) for y, line in enumerate(drawn)):
                    return True
                at = rows[top].find(drawn[0], at + 1)
    return False
