"""The keys of the dashboard: a row for each, with its action and its meaning.

The app's own keys stand in `KEYS`; those of one view in that view's `KEYS`, and the digits that
bring a view into sight follow from the table of views. A view's keys come first while it is in
sight. The help view lists them all from these tables.
"""

from dataclasses import dataclass
from typing import Literal

Needs = Literal["", "pace", "seek", "talk"]
"""What a key needs of the source: nothing, a speed to change, places to go to, a daemon."""


@dataclass(frozen=True)
class Key:
    """A key of the app.

    Parameters
    ----------
    names
        As the toolkit names them.
    label
        As people write them.
    action
        The app's action.
    meaning
        What it does, in a few words.
    needs
        What the source must offer for it.
    button, short
        Labels of its button beside the time bar of a replay, at length and in five letters; empty
        if it has none.
    """

    names: tuple[str, ...]
    label: str
    action: str
    meaning: str
    needs: Needs = ""
    button: str = ""
    short: str = ""


@dataclass(frozen=True)
class ViewKey:
    """A key of one view.

    Parameters
    ----------
    key
        As buttons write it.
    meaning
        What it does, in a few words.
    words
        The view's own actions that it stands for; none if it is the app's.
    """

    key: str
    meaning: str
    words: tuple[str, ...] = ()


KEYS = (
    Key(("space",), "space", "pause_or_go", "pause or go on", "pace", "pause", "pause"),
    Key(("minus",), "-", "slower", "play slower", "pace", "slower", "slow"),
    Key(("plus", "equals_sign"), "+", "faster", "play faster", "pace", "faster", "fast"),
    Key(("left",), "left", "jump(-60)", "a minute back", "seek", "minute back", "back"),
    Key(("right",), "right", "jump(60)", "a minute on", "seek", "minute on", "on"),
    Key(("b",), "b", "event_before", "event before", "seek", "event before", "prev"),
    Key(("e",), "e", "next_event", "next event", "seek", "next event", "next"),
    Key(("tab",), "tab", "next_view", "next view"),
    Key(("r",), "r", "run", "start or end a run", "talk"),
    Key(("u",), "u", "units", "next units"),
    Key(("t",), "t", "theme", "sun, night, mono"),
    Key(("h", "question_mark"), "h, ?", "view('more')", "this page"),
    Key(("enter",), "enter", "caution_read", "caution was read"),
    Key(("q",), "q", "quit", "leave"),
)
"""In the order in which the help lists them."""


def usable_keys(*offers: Needs) -> tuple[Key, ...]:
    """Return the app's keys that do something with a source that offers this."""
    return tuple(key for key in KEYS if key.needs in ("", *offers))
