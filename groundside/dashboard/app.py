"""The dashboard app: takes updates from a source, and redraws what changed five times a second."""

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import PurePath
from typing import Any, ClassVar

from textual import events
from textual.app import App
from textual.binding import Binding, BindingType
from textual.driver import Driver
from textual.drivers.linux_driver import LinuxDriver
from textual.worker import Worker, WorkerState

from groundside.connection.commands import mark
from groundside.connection.preferences import Preferences
from groundside.connection.source import ReplayState, SnapshotSource
from groundside.dashboard.caution_memory import CautionMemory
from groundside.dashboard.content.runs import asks_for_charge, missing
from groundside.dashboard.ears import Ears
from groundside.dashboard.end_watch import EndWatch
from groundside.dashboard.keys import Needs, usable_keys
from groundside.dashboard.live_trip_line import LiveTripLine
from groundside.dashboard.lock import ENDS, Lock
from groundside.dashboard.main_screen import MainScreen
from groundside.dashboard.replay_actions import ReplayActions
from groundside.dashboard.run_presses import RunPresses
from groundside.dashboard.sounds import MEANINGS, next_sounds, sounds_named
from groundside.dashboard.terminal_driver import PatientDriver
from groundside.dashboard.themes import MONO, SUN, THEMES, VARIABLES, next_theme
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.all import VIEW_KEYS, make_views
from groundside.dashboard.views.base import View
from groundside.dashboard.views.runs import ASKS_CHARGE, RunsView
from groundside.dashboard.widgets.button_bar import Button, ButtonBar
from groundside.dashboard.widgets.notice_bar import NoticeBar
from groundside.terminal import served_by
from groundside.words.units import Units, next_units
from onboard.contract.commands import Command
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import unknown_snapshot

TICK_S = 0.2
"""Interval between redraws [s]: the feed's own; a shorter one would show nothing new."""

DONE_S, REFUSAL_S = 5.0, 10.0
"""Time for which the result of a command is shown [s]: a refusal takes longer to read."""


class DashboardApp(ReplayActions, App[None]):
    """The terminal dashboard.

    Parameters
    ----------
    source
        Where snapshots come from.
    units
        The rider's units at the start.
    target_distance_m
        Distance to make, if the command line set one [m].
    preferences
        Preferences kept between runs.
    touch
        Whether the terminal is known to be a touch screen.
    clock
        A monotonic clock [s].
    wall_clock
        Seconds since 1970 [s].
    """

    CSS_PATH: ClassVar[str | PurePath | list[str | PurePath] | None] = "dashboard.tcss"
    TITLE = "wattwake"
    ENABLE_COMMAND_PALETTE = False
    ALLOW_SELECT = False

    # All other keys are in the tables of `keys` and the views; the visible view's come first.
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+c,ctrl+q", "quit", "quit", id="quit", priority=True, show=False),
        Binding("ctrl+l", "repaint", "repaint", id="repaint", priority=True, show=False),
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
        wall_clock: Callable[[], float] = time.time,
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
        self._trip_line = LiveTripLine()
        self._received_s = clock()
        self._problem: str | None = None
        self._done = self._refusal = ""
        self._result_until_s = clock()
        self._run_presses = RunPresses(clock)
        self._lock = Lock(clock)
        self._ears = Ears()
        self.sounds = sounds_named(self._preferences.get("sounds"))
        # A served dashboard outlives its page; other pages share this board's preferences.
        kept = self._preferences if served_by() is None else Preferences(None)
        self._caution = CautionMemory(kept, wall_clock=wall_clock)
        self.end_watch = EndWatch(self._leave)
        for theme in THEMES:
            self.register_theme(theme)
        offered: dict[Needs, object] = {
            "pace": source.controls,
            "seek": source.seek_controls,
            "commands": source.command_sender,
        }
        keys = (
            *VIEW_KEYS,
            *usable_keys(*(need for need, control in offered.items() if control is not None)),
        )
        self._actions = {name: key.action for key in keys for name in key.names}
        self._main = MainScreen(
            make_views(keys, clock),
            tuple(
                Button(key.button, key.action, key.sign or key.label, short=key.short)
                for key in keys
                if key.button
            ),
            self._lock,
            touch=touch,
        )

    def get_driver_class(self) -> type[Driver]:
        """Return the driver of the terminal: for a terminal, one that bears malformed input."""
        usual = super().get_driver_class()
        return PatientDriver if usual is LinuxDriver else usual

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Return values of the stylesheet's own variables, for the toolkit's themes."""
        return {name: SUN.variables[name] for name in VARIABLES}

    def on_mount(self) -> None:
        """Start reading and showing the source."""
        stored = self._preferences.get("theme")
        known = stored is not None and stored in {theme.name for theme in THEMES}
        self.theme = MONO.name if self.no_color else stored if stored and known else SUN.name
        self.push_screen(self._main)
        self.end_watch.start(None, served_by())
        self.run_worker(self._read(), group="source", exclusive=True, exit_on_error=False)
        self.set_interval(TICK_S, self.tick)

    def on_unmount(self) -> None:
        """Restore the signal handlers."""
        self.end_watch.release()

    def run(self, **options: Any) -> None:
        """Run the dashboard until the rider leaves it.

        Parameters
        ----------
        options
            Options of the toolkit's `App.run`.
        """
        self.end_watch.begin(None if served_by() else 0, served_by())
        try:
            super().run(**options)
        finally:
            self.end_watch.stop()

    def _leave(self, code: int) -> None:
        self.exit(return_code=code)

    async def _read(self) -> None:
        """Keep the newest update; the tick shows it."""
        async for update in self._source.stream():
            if update.trip_line is not None:
                self._trip_line.replace(update.trip_line)
            if update.snapshot is not None:
                self._snapshot, self._started = update.snapshot, True
                self._replay = update.replay
                self._received_s = self._clock()
                if self._source.seek_controls is None:  # else it sends the whole ride's line
                    self._trip_line.extend(update.snapshot)
            self._problem = update.problem

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """Report that the source ended or failed; the dashboard stays open."""
        if event.worker.group != "source":
            return
        if event.state == WorkerState.SUCCESS:
            self._problem = f"{self._source.name} has ended"
        elif event.state == WorkerState.ERROR:
            self._problem = f"{self._source.name} failed: {event.worker.error}"

    def tick(self) -> None:
        """Show the present state."""
        # During shutdown the timer may outlive the screen.
        if isinstance(self._driver, PatientDriver):
            self._driver.check_size(self.size)
        if self.screen_stack and self.screen is self._main and self._main.is_mounted:
            state = self._state()
            self._main.show(replace(state, caution=self._caution.stands(state)))
            self._ring(self._ears.bells(state, self.sounds))

    def _ring(self, bells: int) -> None:
        """Ring the terminal's bell this often, in one write: so the page can count the bells."""
        if bells and self._driver is not None:
            self._driver.write("\a" * bells)

    def _state(self) -> ViewState:
        now_s = self._clock()
        shows_result = now_s < self._result_until_s
        return ViewState(
            self._snapshot,
            self.units,
            started=self._started,
            since_received_s=now_s - self._received_s,
            problem=self._problem,
            source=self._source.name,
            target_distance_m=self._target_distance_m,
            trip_line=self._trip_line.record,
            replay=self._replay,
            can_command=self._source.command_sender is not None,
            can_seek=self._source.seek_controls is not None,
            done=self._done if shows_result else "",
            refusal=self._refusal if shows_result else "",
            asks=self._run_presses.asks,
            lock=self._lock.state,
            sounds=self.sounds,
            now_s=now_s,
        )

    async def on_key(self, event: events.Key) -> None:
        """Handle a key that the visible view did not handle."""
        action = self._actions.get(event.key)
        if action is not None:
            event.stop()
            await self.run_action(action)
            self.tick()

    async def on_button_bar_pressed(self, message: ButtonBar.Pressed) -> None:
        """Carry out an action that is not the view's own."""
        await self.run_action(message.action)
        self.tick()

    def on_view_send(self, message: View.Send) -> None:
        """Send a command to the daemon, and show its result."""
        self.run_worker(
            self._send(message.command, message.done), group="send", exit_on_error=False
        )

    async def _send(self, command: Command, done: str) -> None:
        sender = self._source.command_sender
        if sender is None:
            self.show_result("", "NOT DONE: nobody is there to hear it, this is no live ride")
            return
        answer = await sender.send(command)
        if answer.ok:
            self.show_result(done)
        else:
            why = answer.why_text(self.units)
            self.show_result("", f"{'NOT DONE' if answer.ok is False else 'UNSURE'}: {why}")

    def show_result(self, done: str, refusal: str = "") -> None:
        """Show the result of a command, or why it failed, for a few seconds."""
        self._done, self._refusal = done, refusal
        self._result_until_s = self._clock() + (REFUSAL_S if refusal else DONE_S)

    def on_notice_bar_tapped(self, _message: NoticeBar.Tapped) -> None:
        """Open the question of the charge, if the notices ask whether the pack was charged."""
        if asks_for_charge(self._snapshot) and self._source.command_sender is not None:
            self.action_view(RunsView.NAME)
            self.tick()
            self._main.view.pressed(ASKS_CHARGE)
            self.tick()

    @property
    def view_name(self) -> str:
        """Name of the visible view."""
        return self._main.view.NAME

    def action_view(self, name: str) -> None:
        """Show a view."""
        self._main.go_to(name)

    def action_next_view(self) -> None:
        """Show the next view."""
        self._main.next_view()

    def action_units(self) -> None:
        """Switch to the next units, and store the choice."""
        self.units = next_units(self.units)
        self._preferences.put("units", self.units.speed_name)

    def action_theme(self) -> None:
        """Switch to the next theme, and store the choice."""
        self.theme = next_theme(self.theme)
        self._preferences.put("theme", self.theme)

    def action_caution_read(self) -> None:
        """Remove the caution: the rider has read it."""
        self._caution.was_read()

    def action_sounds(self) -> None:
        """Switch to the next choice of sounds, and store it."""
        self.sounds = next_sounds(self.sounds)
        self._preferences.put("sounds", self.sounds)
        self.show_result(MEANINGS[self.sounds])

    def action_lock(self) -> None:
        """Lock against wet hands."""
        self._lock.lock()

    def action_unlock(self, end: str) -> None:
        """Take a press while locked: on one of the two buttons that unlock, or anywhere else."""
        self._lock.press(next((name for name in ENDS if name == end), None))

    def action_repaint(self) -> None:
        """Redraw the whole screen, for a terminal that has lost it."""
        self.refresh(layout=True)

    def action_run(self) -> None:
        """Start a run, or end the open one, on the second press."""
        act = self._run_presses.pressed(self._snapshot)
        if act == "end":
            self.on_view_send(View.Send(mark("run_end"), "run ended"))
        elif act == "start":
            lacks = missing(self._snapshot, self.units)
            done = f"run started, but {lacks}" if lacks else "run started"
            self.on_view_send(View.Send(mark("run_start"), done))


def make_app(source: SnapshotSource, **options: Any) -> DashboardApp:
    """Return the dashboard, for the command line and for tests alike.

    Parameters
    ----------
    source
        Where snapshots come from.
    options
        Options of `DashboardApp`.

    Returns
    -------
    DashboardApp
        Its `return_code` after `run` is the exit code: 143 after SIGTERM, 129 after SIGHUP.
    """
    return DashboardApp(source, **options)
