"""The keys of the dashboard: a row for each, with its action and its meaning.

The app's own keys are in `KEYS`, those of a view in that view's `KEYS`; the digits that select a
view follow from the table of views. The visible view's keys take precedence. The help view lists
them all from these tables.
"""

from typing import Literal

from onboard.dataclass import dataclass

Needs = Literal["", "pace", "seek", "commands"]
"""What a key needs of the source: nothing, replay controls, seeking, or a daemon to command."""


@dataclass(frozen=True)
class Key:
    """A key of the app.

    Parameters
    ----------
    names
        The toolkit's names of the key.
    label
        The key as shown to people.
    action
        The app's action.
    meaning
        What it does, in a few words.
    needs
        What the source must offer for it.
    button, short
        Labels of its button beside a replay's time bar, in full and in at most five letters; empty
        if it has none.
    sign
        The key as written on that button, if it differs from `label`.
    """

    names: tuple[str, ...]
    label: str
    action: str
    meaning: str
    needs: Needs = ""
    button: str = ""
    short: str = ""
    sign: str = ""


@dataclass(frozen=True)
class ViewKey:
    """A key of one view.

    Parameters
    ----------
    key
        The key as written on buttons.
    meaning
        What it does, in a few words.
    words
        The view's own actions that it triggers; none if the action is the app's.
    """

    key: str
    meaning: str
    words: tuple[str, ...] = ()


KEYS = (
    Key(("space",), "space", "pause_or_go", "pause or resume", "pace", "pause", "pause"),
    Key(("minus",), "-", "slower", "play slower", "pace", "slower", "slow"),
    Key(("plus", "equals_sign"), "+", "faster", "play faster", "pace", "faster", "fast"),
    Key(("left",), "left", "jump(-60)", "a minute back", "seek", "minute back", "-1min", "←"),
    Key(("right",), "right", "jump(60)", "a minute on", "seek", "minute on", "+1min", "→"),
    Key(("b",), "b", "event_before", "previous event", "seek", "prev event", "prev"),
    Key(("e",), "e", "next_event", "next event", "seek", "next event", "next"),
    Key(("tab",), "tab", "next_view", "next view"),
    Key(("r",), "r", "run", "start, end a run: press twice", "commands"),
    Key(("u",), "u", "units", "next units"),
    Key(("t",), "t", "theme", "sun, night, mono"),
    Key(("a",), "a", "sounds", "sounds: off, danger, all"),
    Key(("k",), "k", "lock", "lock: taps and keys do nothing"),
    Key(("ctrl+l",), "ctrl+l", "repaint", "redraw the screen"),
    Key(("h", "question_mark"), "h, ?", "view('more')", "this page"),
    Key(("enter",), "enter", "caution_read", "dismiss the caution"),
    Key(("q",), "q", "quit", "leave"),
)
"""The app's keys, in the order of the help view."""


def usable_keys(*offers: Needs) -> tuple[Key, ...]:
    """Return the app's keys that work with a source that offers these."""
    return tuple(key for key in KEYS if key.needs in ("", *offers))
