"""The dashboard app: takes updates from a source, and five times a second shows what changed."""

import os
import time
from collections.abc import Callable
from typing import Any, ClassVar

from textual.app import App
from textual.binding import Binding, BindingType
from textual.worker import Worker, WorkerState

from groundside.dashboard.ending import EndWatch
from groundside.dashboard.face import ride_face
from groundside.dashboard.screens.help import HelpScreen
from groundside.dashboard.screens.ride import RideScreen
from groundside.dashboard.themes import MONO, SUN, THEMES, VARIABLES, next_theme
from groundside.dashboard.widgets.caution_bar import CautionBar
from groundside.dashboard.widgets.key_bar import KeyBar, KeyHint
from groundside.source import Snapshot, SnapshotSource
from groundside.units import Units, next_units

TICK_S = 0.2
"""The feed's own rate: faster shows nothing new."""


class DashboardApp(App[None]):
    """The terminal dashboard.

    Parameters
    ----------
    source
        Where snapshots come from.
    units
        The rider's units at the start.
    target_distance_m
        Distance the rider wants to make, where one was set [m].
    clock
        A monotonic clock [s].
    """

    CSS_PATH = "dashboard.tcss"
    TITLE = "wattwake"
    ENABLE_COMMAND_PALETTE = False
    ALLOW_SELECT = False

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("u", "units", "units", id="units", tooltip="next units"),
        Binding("t", "theme", "theme", id="theme", tooltip="sun, night, mono"),
        Binding("h,question_mark", "help", "help", id="help", tooltip="this page"),
        Binding("q,ctrl+c,ctrl+q", "quit", "quit", id="quit", tooltip="leave", priority=True),
        Binding("enter", "caution_read", "understood", id="caution", tooltip="caution was read"),
    ]
    REPLAY_BINDINGS: ClassVar[tuple[Binding, ...]] = (
        Binding("space", "pause_or_go", "pause", id="pause", tooltip="pause or go on"),
        Binding("minus", "slower", "slower", id="slower", tooltip="play slower"),
        Binding("plus,equals_sign", "faster", "faster", id="faster", tooltip="play faster"),
    )

    def __init__(
        self,
        source: SnapshotSource,
        *,
        units: Units,
        target_distance_m: float | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self.units = units
        self._source = source
        self._clock = clock
        self._target_distance_m = target_distance_m
        self._snapshot: Snapshot | None = None
        self._received_s = clock()
        self._problem: str | None = None
        self._end_watch = EndWatch(self._leave)
        for theme in THEMES:
            self.register_theme(theme)
        bindings = [b for b in self.BINDINGS if isinstance(b, Binding)]
        if source.controls is not None:
            bindings = [*self.REPLAY_BINDINGS, *bindings]
            for binding in self.REPLAY_BINDINGS:
                self.bind(binding.key, binding.action, description=binding.description)
        hints = tuple(_hint(b) for b in bindings if b.action != "caution_read")
        self._ride = RideScreen(hints, replay=source.controls is not None)
        self._help = HelpScreen(
            tuple((_key_names(b.key), b.tooltip) for b in bindings),
            tuple(
                KeyHint("h", "back", "help") if b.action == "help" else _hint(b)
                for b in bindings
                if b.action in ("help", "quit")
            ),
        )

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Give the toolkit's own themes our variables too."""
        return {name: SUN.variables[name] for name in VARIABLES}

    def on_mount(self) -> None:
        """Start reading the source and showing what it gives."""
        self.theme = MONO.name if self.no_color else SUN.name
        self.install_screen(self._help, "help")
        self.push_screen(self._ride)
        self._end_watch.start(0 if not self.is_headless and os.isatty(0) else None)
        self.run_worker(self._read(), group="source", exclusive=True, exit_on_error=False)
        self.set_interval(TICK_S, self.tick)

    def on_unmount(self) -> None:
        """Give the signals back."""
        self._end_watch.release()

    def run(self, **options: Any) -> None:
        """Run the dashboard until it is left.

        Parameters
        ----------
        options
            As of the toolkit's `App.run`.
        """
        try:
            super().run(**options)
        finally:
            self._end_watch.stop()

    def _leave(self, code: int) -> None:
        self.exit(return_code=code)

    async def _read(self) -> None:
        """Keep the newest update; showing it is the tick's affair."""
        async for update in self._source.stream():
            if update.snapshot is not None:
                self._snapshot = update.snapshot
                self._received_s = self._clock()
            self._problem = update.problem

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """Say so where the source ended or failed; the dashboard stays."""
        if event.worker.group != "source":
            return
        if event.state == WorkerState.SUCCESS:
            self._problem = f"{self._source.name} has ended"
        elif event.state == WorkerState.ERROR:
            self._problem = f"{self._source.name} failed: {event.worker.error}"

    def tick(self) -> None:
        """Show what is so now."""
        screen = self.screen
        if not isinstance(screen, RideScreen | HelpScreen) or not screen.is_mounted:
            return
        screen.show(
            ride_face(
                self._snapshot,
                self.units,
                since_received_s=self._clock() - self._received_s,
                problem=self._problem,
                source=self._source.name,
                target_distance_m=self._target_distance_m,
            )
        )

    def action_units(self) -> None:
        """Go on to the next units."""
        self.units = next_units(self.units)
        self.tick()

    def action_theme(self) -> None:
        """Go on to the next theme."""
        self.theme = next_theme(self.theme)

    def action_help(self) -> None:
        """Open the help view, or go back from it."""
        if self.screen is self._help:
            self.pop_screen()
        else:
            self.push_screen("help")

    def action_caution_read(self) -> None:
        """Take the caution away: the rider has read it."""
        self._ride.caution_was_read()

    def action_pause_or_go(self) -> None:
        """Pause the replay or let it go on."""
        if self._source.controls is not None:
            self._source.controls.pause_or_go()

    def action_faster(self) -> None:
        """Play the replay faster."""
        if self._source.controls is not None:
            self._source.controls.faster()

    def action_slower(self) -> None:
        """Play the replay slower."""
        if self._source.controls is not None:
            self._source.controls.slower()

    def on_caution_bar_read(self, _message: CautionBar.Read) -> None:
        """Take a click on the caution like its key."""
        self.action_caution_read()

    async def on_key_bar_chosen(self, message: KeyBar.Chosen) -> None:
        """Do what the clicked hint's key does."""
        await self.run_action(message.action)


KEY_NAMES = {
    "question_mark": "?",
    "minus": "-",
    "plus": "+",
    "equals_sign": "=",
    "ctrl+c": "ctrl c",
    "ctrl+q": "ctrl q",
}


def _key_names(keys: str) -> str:
    return ", ".join(KEY_NAMES.get(key, key) for key in keys.split(","))


def _hint(binding: Binding) -> KeyHint:
    first = binding.key.split(",")[0]
    return KeyHint(KEY_NAMES.get(first, first), binding.description, binding.action)


def make_app(
    source: SnapshotSource,
    *,
    units: Units,
    target_distance_m: float | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> DashboardApp:
    """Make the dashboard, for the command line and for tests alike.

    Parameters
    ----------
    source
        Where snapshots come from.
    units
        The rider's units at the start.
    target_distance_m
        Distance the rider wants to make, where one was set [m].
    clock
        A monotonic clock [s].

    Returns
    -------
    DashboardApp
        To be run; its `return_code` is the exit code, 143 and 129 after SIGTERM and SIGHUP.
    """
    return DashboardApp(source, units=units, target_distance_m=target_distance_m, clock=clock)
