"""The one screen: the visible view, framed by what a rider needs in every view."""

from dataclasses import replace
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.geometry import Region
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import ContentSwitcher

from groundside.dashboard.content.frame import frame_content
from groundside.dashboard.drawing.kept import Kept
from groundside.dashboard.layout.button_cells import rows_of
from groundside.dashboard.layout.frame_rows import FrameRows, frame_rows, rows_of_tabs
from groundside.dashboard.lock import Lock
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import OWN, View, set_heights
from groundside.dashboard.widgets.age_line import AgeLine
from groundside.dashboard.widgets.button_bar import Button, ButtonBar
from groundside.dashboard.widgets.caution_bar import CautionBar
from groundside.dashboard.widgets.lock_bar import KEYS, LockBar, unlock_action
from groundside.dashboard.widgets.notice_bar import NoticeBar
from groundside.dashboard.widgets.replay_bar import ReplayBar


class Views(ContentSwitcher, Kept):
    """All views, of which one is visible."""


class MainScreen(Screen[None], Kept):
    """Allots the rows, passes the state to the visible view, and turns presses into actions.

    Parameters
    ----------
    views
        All views, in the order of their tabs.
    controls
        Buttons of a replay; empty for other sources.
    lock
        The lock against wet hands: while it is on, no key and no tap gets past this screen.
    touch
        Whether the terminal is known to be a touch screen.
    """

    BINDINGS: ClassVar[list[BindingType]] = []
    AUTO_FOCUS = ""  # the screen has the keys, except while a rider types a name or a note

    def __init__(
        self,
        views: tuple[View, ...],
        controls: tuple[Button, ...],
        lock: Lock,
        *,
        touch: bool = False,
    ) -> None:
        super().__init__()
        self._views = {view.NAME: view for view in views}
        self._replay_buttons = controls
        self._lock = lock
        self._touch = touch
        self._current = views[0].NAME
        self._state: ViewState | None = None
        self._typing: Widget | None = None
        self._shared: tuple[FrameRows, bool] | None = None
        # Stored, not queried: a tick may come before they are mounted or after they are removed.
        self._notices = NoticeBar(id="notices")
        self._caution = CautionBar(id="caution")
        self._switcher = Views(*views, initial=self._current, id="views")
        self._actions = ButtonBar(id="actions")
        self._controls = ButtonBar(id="controls")
        self._controls.rows = 1
        self._age = AgeLine(id="age")
        self._replay_bar = ReplayBar(id="replay")
        self._tabs = ButtonBar(id="tabs")
        self._lock_bar = LockBar(id="lock")
        for bar in (self._actions, self._controls, self._tabs, self._caution):
            bar.touch = touch

    def compose(self) -> ComposeResult:
        """Yield the parts from top to bottom."""
        yield self._notices
        yield self._caution
        yield self._switcher
        yield self._actions
        yield self._controls
        yield self._age
        yield self._replay_bar
        yield self._tabs
        yield self._lock_bar

    def on_mount(self) -> None:
        """Fill the parts that do not change by themselves."""
        self._caution.content = True
        self._controls.content = self._replay_buttons
        self._show_tabs()
        self._share()

    def on_resize(self, _event: events.Resize) -> None:
        """Allot the rows again."""
        self._share()

    @property
    def view(self) -> View:
        """The visible view."""
        return self._views[self._current]

    def go_to(self, name: str) -> None:
        """Show a view."""
        if name not in self._views or name == self._current:
            return
        self._current = name
        self._switcher.current = name
        self._show_tabs()

    def next_view(self) -> None:
        """Show the next view; the first follows the last."""
        names = list(self._views)
        self.go_to(names[(names.index(self._current) + 1) % len(names)])

    def show(self, state: ViewState) -> None:
        """Show a state; equal content is not painted again."""
        locks = state.lock.locked
        if locks != (self._state is not None and self._state.lock.locked):
            self._hold_typing(locks)
        self._state = state
        content = frame_content(state)
        self._notices.content = content.notices
        self._age.content = content.age
        self._replay_bar.content = content.replay
        self._lock_bar.content = state.lock
        if self.view.is_mounted:
            self.view.show(state)
        buttons = self.view.buttons()
        # a key that the view handles itself is not shown on another button
        taken = {button.key for button in buttons}
        self._actions.content = tuple(_asking(button, state) for button in buttons)
        self._controls.content = tuple(
            replace(button, key="") if button.key in taken else button
            for button in self._replay_buttons
        )
        self._share()

    def _hold_typing(self, locks: bool) -> None:
        """Take the keyboard from a text field while the dashboard is locked."""
        if locks:
            self._typing = self.focused
        self.set_focus(None if locks else self._typing)

    def _show_tabs(self) -> None:
        tabs = tuple(
            Button(name, f"view('{name}')", str(number), on=name == self._current)
            for number, name in enumerate(self._views, 1)
        )
        self._tabs.content = (*tabs, Button("lock", "lock", "k"))

    def _share(self) -> None:
        """Set the heights, if they changed."""
        size, state = self.size, self._state
        if not size.area:
            return
        buttons: tuple[Button, ...] = self._actions.content or ()
        caution = state is not None and state.caution
        notices = self._notices.content
        shared = frame_rows(
            size.width,
            size.height,
            notices=NoticeBar.rows_needed(notices, size) if notices else 1,
            caution=caution,
            actions=len(rows_of(buttons, size.width)) if buttons else 0,
            age=self._age.content is None or not self._age.content.fresh,
            replay=bool(self._replay_buttons),
            bar=not self.view.has_time_bar,
            touch=self._touch,
        )
        locked = state is not None and state.lock.locked
        if (shared, locked) == self._shared:
            return
        self._shared = shared, locked
        self._tabs.rows = rows_of_tabs(size.width)
        set_heights(
            (self._notices, shared.notices),
            (self._caution, shared.caution),
            (self._switcher, shared.view),
            (self._actions, shared.actions),
            (self._controls, shared.controls),
            (self._age, shared.age),
            (self._replay_bar, shared.replay),
            (self._tabs, 0 if locked else shared.tabs),
            (self._lock_bar, shared.tabs if locked else 0),
        )

    def get_widget_at(self, x: int, y: int) -> tuple[Widget, Region]:
        """Return the widget under a tap: while locked, only the lock can be hit.

        Parameters
        ----------
        x, y
            Column and row of the screen.
        """
        if not self._lock.state.locked:
            return super().get_widget_at(x, y)
        on_lock = self._lock_bar.display and self._lock_bar.region.contains(x, y)
        hit: Widget = self._lock_bar if on_lock else self
        return hit, hit.region

    def on_click(self, event: events.Click) -> None:
        """Count a tap outside the lock's buttons as a stray press."""
        if self._lock.state.locked:
            event.stop()
            self._press(unlock_action(None))

    def on_key(self, event: events.Key) -> None:
        """Pass a key to the visible view: as text while a rider types, else to its button."""
        if self._lock.state.locked:
            event.stop()
            event.prevent_default()
            self._press(unlock_action(KEYS.get(event.key)))
            return
        if event.is_printable and event.character and self.view.takes_text(event.character):
            event.stop()
            return
        key = KEY_NAMES.get(event.key, event.key)
        if key == "enter" and self._caution.display and not self.app.focused:
            event.stop()  # this key's meaning on the caution takes precedence
            self._press("caution_read")
            return
        for button in (*self.view.buttons(), *self.view.hidden_buttons()):
            if button.key and button.key == key:
                event.stop()
                self._press(button.action)
                return

    def on_button_bar_pressed(self, message: ButtonBar.Pressed) -> None:
        """Carry out the action of a tapped button."""
        message.stop()
        self._press(message.action)

    def _press(self, action: str) -> None:
        if action.startswith(OWN):
            # call it from the view's own queue: a message posted in this handler would not bubble
            # back to this screen
            self.view.call_later(self.view.pressed, action.removeprefix(OWN))
        else:
            self.app.post_message(ButtonBar.Pressed(action))


def _asking(button: Button, state: ViewState) -> Button:
    """Return a button; the run's asks, after its first press, whether that was meant."""
    if button.action == "run" and state.asks:
        return replace(button, label="sure?", short="sure?", on=True)
    return button


KEY_NAMES = {
    "minus": "-",
    "plus": "+",
    "equals_sign": "+",
    "comma": ",",
    "full_stop": ".",
    "question_mark": "?",
}
"""The keys' names in the toolkit, and as written on buttons."""
