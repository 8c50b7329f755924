"""The dashboard app: takes updates from a source, and five times a second shows what changed."""

import math
import os
import time
from collections.abc import Callable
from pathlib import PurePath
from typing import Any, ClassVar

from textual import events
from textual.app import App
from textual.binding import Binding, BindingType
from textual.worker import Worker, WorkerState

from groundside.connection.commands import mark
from groundside.connection.preferences import Preferences
from groundside.connection.source import ReplayState, SnapshotSource
from groundside.dashboard.drawn_line import DrawnLine
from groundside.dashboard.ending import EndWatch
from groundside.dashboard.faces.runs import missing, open_run
from groundside.dashboard.keys import PACE_KEYS, PLACE_KEYS, Key, keys_for
from groundside.dashboard.main_screen import MainScreen
from groundside.dashboard.scene import Scene
from groundside.dashboard.themes import MONO, SUN, THEMES, VARIABLES, next_theme
from groundside.dashboard.views.all import all_views
from groundside.dashboard.views.base import View
from groundside.dashboard.widgets.button_bar import Button, ButtonBar
from groundside.dashboard.widgets.caution_bar import CautionBar
from groundside.dashboard.widgets.replay_bar import ReplayBar
from groundside.terminal import served_by
from groundside.words.units import Units, next_units
from onboard.contract.commands import Command
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import unknown_snapshot

TICK_S = 0.2
"""The feed's own rate: faster shows nothing new."""

SETTLES_S = 1.0
"""What was said takes so long to be seen in a snapshot: a second press would undo it [s]."""

SAID_S, REFUSED_S = 5.0, 10.0
"""For how long it is shown what became of a command: a reason takes longer to read."""


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
    preferences
        What is remembered from one time to the next.
    touch
        Whether the terminal is known to be a touch screen.
    clock
        A monotonic clock [s].
    """

    CSS_PATH: ClassVar[list[str | PurePath]] = [
        "dashboard.tcss",
        "pages.tcss",
        "runs.tcss",
    ]
    TITLE = "wattwake"
    ENABLE_COMMAND_PALETTE = False
    ALLOW_SELECT = False

    # All other keys stand in one table of our own: the view in sight comes first there.
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+c,ctrl+q", "quit", "quit", id="quit", priority=True, show=False)
    ]

    def __init__(
        self,
        source: SnapshotSource,
        *,
        units: Units,
        target_distance_m: float | None = None,
        preferences: Preferences | None = None,
        touch: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self.units = units
        self._source = source
        self._clock = clock
        self._target_distance_m = target_distance_m
        self._preferences = preferences or Preferences(None)
        self._snapshot = unknown_snapshot(Unknown(Reason.NO_DATA), source.name)
        self._started = False
        self._replay: ReplayState | None = None
        self._trip_line = DrawnLine()
        self._received_s = clock()
        self._problem: str | None = None
        self._said = self._refused = ""
        self._said_until_s = clock()
        self._run_said_s = -math.inf
        self._end_watch = EndWatch(self._leave)
        for theme in THEMES:
            self.register_theme(theme)
        can_pace, can_seek = source.controls is not None, source.seek_controls is not None
        keys = keys_for(
            can_pace=can_pace, can_seek=can_seek, can_talk=source.command_sender is not None
        )
        self._actions = {name: key.action for key in reversed(keys) for name in key.names}
        steering = (*(PACE_KEYS if can_pace else ()), *(PLACE_KEYS if can_seek else ()))
        self._main = MainScreen(
            all_views(tuple((key.shown, key.meaning) for key in keys), clock),
            tuple(map(_control, steering)),
            touch=touch,
        )

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Return the toolkit's own themes our variables too."""
        return {name: SUN.variables[name] for name in VARIABLES}

    def on_mount(self) -> None:
        """Start reading the source and showing what it gives."""
        kept = self._preferences.get("theme")
        known = kept is not None and kept in {theme.name for theme in THEMES}
        self.theme = MONO.name if self.no_color else kept if kept and known else SUN.name
        self.push_screen(self._main)
        terminal = 0 if not self.is_headless and os.isatty(0) else None
        self._end_watch.start(terminal, served_by())
        self.run_worker(self._read(), group="source", exclusive=True, exit_on_error=False)
        self.set_interval(TICK_S, self.tick)

    def on_unmount(self) -> None:
        """Return the signals back."""
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
            if update.trip_line is not None:
                self._trip_line.take(update.trip_line)
            if update.snapshot is not None:
                self._snapshot, self._started = update.snapshot, True
                self._replay = update.replay
                self._received_s = self._clock()
                if self._source.seek_controls is None:  # else it tells the whole ride's line
                    self._trip_line.draw_on(update.snapshot)
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
        # While the app ends there may be no screen any more, and the timer still go.
        if self.screen_stack and self.screen is self._main and self._main.is_mounted:
            self._main.show(self._scene())

    def _scene(self) -> Scene:
        now_s = self._clock()
        lately = now_s < self._said_until_s
        return Scene(
            self._snapshot,
            self.units,
            started=self._started,
            since_received_s=now_s - self._received_s,
            problem=self._problem,
            source=self._source.name,
            target_distance_m=self._target_distance_m,
            trip_line=self._trip_line.record,
            replay=self._replay,
            can_talk=self._source.command_sender is not None,
            can_seek=self._source.seek_controls is not None,
            said=self._said if lately else "",
            refused=self._refused if lately else "",
            now_s=now_s,
        )

    async def on_key(self, event: events.Key) -> None:
        """Do what a key says that the view in sight did not take."""
        action = self._actions.get(event.key)
        if action is not None:
            event.stop()
            await self.run_action(action)
            self.tick()

    async def on_button_bar_pressed(self, message: ButtonBar.Pressed) -> None:
        """Do what a button says that is none of the view's own."""
        await self.run_action(message.action)
        self.tick()

    def on_view_say(self, message: View.Say) -> None:
        """Say something to the daemon, and show what became of it."""
        self.run_worker(self._say(message.command, message.done), group="say", exit_on_error=False)

    async def _say(self, command: Command, done: str) -> None:
        talk = self._source.command_sender
        if talk is None:
            self.tell("", "NOT DONE: nobody is there to hear it, this is no live ride")
            return
        said = await talk.send(command)
        if said.ok:
            self.tell(done)
        else:
            why = said.why_text(self.units)
            self.tell("", f"{'NOT DONE' if said.ok is False else 'UNSURE'}: {why}")

    def tell(self, said: str, refused: str = "") -> None:
        """Show for a few seconds what became of a command, or why nothing did."""
        self._said, self._refused = said, refused
        self._said_until_s = self._clock() + (REFUSED_S if refused else SAID_S)

    def on_view_go_to(self, message: View.GoTo) -> None:
        """Go to a place of a saved ride."""
        places = self._source.seek_controls
        if places is None:
            return
        if message.fraction is not None:
            places.go_to(message.fraction)
        elif message.distance_m is not None:
            places.go_to_distance(message.distance_m)

    def on_replay_bar_tapped(self, message: ReplayBar.Tapped) -> None:
        """Go to where the time bar was tapped."""
        if self._source.seek_controls is not None:
            self._source.seek_controls.go_to(message.fraction)

    def on_caution_bar_read(self, _message: CautionBar.Read) -> None:
        """Take a tap on the caution like its key."""
        self.action_caution_read()

    @property
    def view_name(self) -> str:
        """Name of the view in sight."""
        return self._main.view.NAME

    def action_view(self, name: str) -> None:
        """Bring a view into sight."""
        self._main.go_to(name)

    def action_next_view(self) -> None:
        """Bring the next view into sight."""
        self._main.next_view()

    def action_units(self) -> None:
        """Go on to the next units, and remember them."""
        self.units = next_units(self.units)
        self._preferences.put("units", self.units.speed_name)

    def action_theme(self) -> None:
        """Go on to the next theme, and remember it."""
        self.theme = next_theme(self.theme)
        self._preferences.put("theme", self.theme)

    def action_caution_read(self) -> None:
        """Take the caution away: the rider has read it."""
        self._main.caution_was_read()

    def action_run(self) -> None:
        """Start a run, or end the one that goes on; a thumb that bounces does so once."""
        now_s = self._clock()
        if now_s - self._run_said_s < SETTLES_S:
            return
        self._run_said_s = now_s
        if open_run(self._snapshot) is not None:
            self.on_view_say(View.Say(mark("run_end"), "the run has ended"))
            return
        lacks = missing(self._snapshot, self.units)
        done = f"a run has begun, but {lacks}" if lacks else "a run has begun"
        self.on_view_say(View.Say(mark("run_start"), done))

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

    def action_jump(self, seconds_s: float) -> None:
        """Go forward in a saved ride, or back [s]."""
        if self._source.seek_controls is not None:
            self._source.seek_controls.jump(seconds_s)

    def action_next_event(self) -> None:
        """Go to the next event of a saved ride."""
        if self._source.seek_controls is not None and not self._source.seek_controls.next_event():
            self.tell("no event after this place")

    def action_event_before(self) -> None:
        """Go to the event before."""
        if self._source.seek_controls is not None:
            self._source.seek_controls.event_before()


def _control(key: Key) -> Button:
    words = {
        "pause_or_go": ("pause", "pause"),
        "slower": ("slower", "slow"),
        "faster": ("faster", "fast"),
        "jump(-60)": ("minute back", "back"),
        "jump(60)": ("minute on", "on"),
        "event_before": ("event before", "prev"),
        "next_event": ("next event", "next"),
    }
    label, short = words[key.action]
    return Button(label, key.action, key.shown, short=short)


def make_app(source: SnapshotSource, **options: Any) -> DashboardApp:
    """Make the dashboard, for the command line and for tests alike.

    Parameters
    ----------
    source
        Where snapshots come from.
    options
        As of `DashboardApp`.

    Returns
    -------
    DashboardApp
        To be run; its `return_code` is the exit code, 143 and 129 after SIGTERM and SIGHUP.
    """
    return DashboardApp(source, **options)
