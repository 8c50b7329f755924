"""The one screen: the visible view, framed by what a rider needs in every view."""

from dataclasses import replace
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.screen import Screen
from textual.widgets import ContentSwitcher

from groundside.dashboard.content.frame import FrameContent, frame_content
from groundside.dashboard.drawing.kept import Kept
from groundside.dashboard.layout.frame_rows import FrameRows, frame_rows, tabs_in_two_rows
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import OWN, View, set_heights
from groundside.dashboard.widgets.age_line import AgeLine
from groundside.dashboard.widgets.button_bar import Button, ButtonBar, rows_of
from groundside.dashboard.widgets.caution_bar import CautionBar
from groundside.dashboard.widgets.notice_bar import NoticeBar
from groundside.dashboard.widgets.replay_bar import ReplayBar

TAB_CELLS, WIDE_TAB_CELLS = 5, 10


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
    touch
        Whether the terminal is known to be a touch screen.
    """

    BINDINGS: ClassVar[list[BindingType]] = []
    AUTO_FOCUS = ""  # the screen has the keys, except while a rider types a name or a note

    def __init__(
        self, views: tuple[View, ...], controls: tuple[Button, ...] = (), *, touch: bool = False
    ) -> None:
        super().__init__()
        self._views = {view.NAME: view for view in views}
        self._replay_buttons = controls
        self._touch = touch
        self._current = views[0].NAME
        self._caution_read = False
        self._notice_rows = 1
        self._shared: FrameRows | None = None
        # Stored, not queried: a tick may come before they are mounted or after they are removed.
        self._notices = NoticeBar(id="notices")
        self._caution = CautionBar(id="caution", touch=touch)
        self._switcher = Views(*views, initial=self._current, id="views")
        self._actions = ButtonBar(id="actions")
        self._controls = ButtonBar(id="controls")
        self._controls.least_width = TAB_CELLS
        self._age = AgeLine(id="age")
        self._replay_bar = ReplayBar(id="replay")
        self._tabs = ButtonBar(id="tabs")
        self._tabs.least_width = TAB_CELLS

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

    def caution_was_read(self) -> None:
        """Remove the caution and give its rows to the view."""
        self._caution_read = True
        self._share()

    def show(self, state: ViewState) -> None:
        """Show a state; equal content is not painted again."""
        self._show_frame(frame_content(state))
        if self.view.is_mounted:
            self.view.show(state)
        buttons = self.view.buttons()
        if buttons != (self._actions.content or ()):
            self._actions.content = buttons
            self._share()
        # a key that the view handles itself is not shown on another button
        taken = {button.key for button in buttons}
        self._controls.content = tuple(
            replace(button, key="") if button.key in taken else button
            for button in self._replay_buttons
        )

    def _show_frame(self, content: FrameContent) -> None:
        needed = NoticeBar.rows_needed(content.notices, self.size)
        if needed != self._notice_rows:
            self._notice_rows = needed
            self._share()
        self._notices.content = content.notices
        self._age.content = content.age
        self._replay_bar.content = content.replay

    def _show_tabs(self) -> None:
        self._tabs.content = tuple(
            Button(name, f"view('{name}')", str(number), on=name == self._current)
            for number, name in enumerate(self._views, 1)
        )

    def _share(self) -> None:
        """Set the heights, if they changed."""
        width, height = self.size.width, self.size.height
        if not width or not height:
            return
        buttons = self._actions.content or ()
        in_two = tabs_in_two_rows(width, height)
        self._tabs.least_width = WIDE_TAB_CELLS if in_two else TAB_CELLS
        shared = frame_rows(
            width,
            height,
            notices=self._notice_rows,
            caution=0 if self._caution_read else self._caution.rows_needed(width),
            actions=len(rows_of(buttons, width)) if buttons else 0,
            replay=bool(self._replay_buttons),
            touch=self._touch,
        )
        if shared == self._shared:
            return
        self._shared = shared
        set_heights(
            (self._notices, shared.notices),
            (self._caution, shared.caution),
            (self._switcher, shared.view),
            (self._actions, shared.actions),
            (self._controls, shared.controls),
            (self._age, shared.age),
            (self._replay_bar, shared.replay),
            (self._tabs, shared.tabs),
        )

    def on_key(self, event: events.Key) -> None:
        """Pass a key to the visible view: as text while a rider types, else to its button."""
        if event.is_printable and event.character and self.view.takes_text(event.character):
            event.stop()
            return
        key = KEY_NAMES.get(event.key, event.key)
        if key == "enter" and self._caution.display and not self.app.focused:
            event.stop()  # this key's meaning on the caution takes precedence
            self.caution_was_read()
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


KEY_NAMES = {
    "minus": "-",
    "plus": "+",
    "equals_sign": "+",
    "comma": ",",
    "full_stop": ".",
    "question_mark": "?",
}
"""The keys' names in the toolkit, and as written on buttons."""
