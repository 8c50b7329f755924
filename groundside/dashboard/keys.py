"""The keys of the dashboard, each with its action and meaning: one table for all views.

A key that the view in sight takes for one of its own buttons never gets here.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Key:
    """A key.

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
    """

    names: tuple[str, ...]
    label: str
    action: str
    meaning: str


VIEWS = (
    ("ride", "what to ride by"),
    ("curve", "power against speed"),
    ("trip", "where the energy went"),
    ("home", "the way home"),
    ("craft", "instruments and link"),
    ("runs", "runs and set-ups"),
    ("aim", "set a target"),
    ("more", "keys, signs, cautions"),
)
"""Names of the views in the order of their tabs, and what each is for."""

VIEW_KEYS = tuple(
    Key((str(number),), str(number), f"view('{name}')", meaning)
    for number, (name, meaning) in enumerate(VIEWS, 1)
)
COMMON_KEYS = (
    Key(("tab",), "tab", "next_view", "next view"),
    Key(("r",), "r", "run", "start or end a run"),
    Key(("u",), "u", "units", "next units"),
    Key(("t",), "t", "theme", "sun, night, mono"),
    Key(("h", "question_mark"), "h, ?", "view('more')", "this page"),
    Key(("enter",), "enter", "caution_read", "caution was read"),
    Key(("q",), "q", "quit", "leave"),
)
PACE_KEYS = (
    Key(("space",), "space", "pause_or_go", "pause or go on"),
    Key(("minus",), "-", "slower", "play slower"),
    Key(("plus", "equals_sign"), "+", "faster", "play faster"),
)
PLACE_KEYS = (
    Key(("left",), "left", "jump(-60)", "a minute back"),
    Key(("right",), "right", "jump(60)", "a minute on"),
    Key(("b",), "b", "event_before", "event before"),
    Key(("e",), "e", "next_event", "next event"),
)


OWN_KEYS = {
    "curve": (("p", "power"), ("c", "consumption")),
    "trip": (
        *(("p", "power"), ("s", "speed"), ("c", "consumption"), ("l", "energy left")),
        ("x", "over time or distance"),
    ),
    "home": (("o", "home is here, twice"),),
    "craft": (("n", "next page"), ("p", "a silent pack is unplugged, twice")),
    "runs": (
        *(("r", "start or end a run"), ("s", "set-up, the next one"), ("n", "a note")),
        *(("f", "charged; twice: full"), ("m", "charged so much"), ("x", "not charged")),
        ("w", "new trip, twice"),
        *(("enter", "take or send it"), ("escape", "back")),
    ),
    "aim": (
        *(("s", "speed"), ("p", "power"), ("d", "distance"), ("n", "as now, or home")),
        *(("-", "less"), ("+", "more"), (",", "much less"), (".", "much more")),
        *(("enter", "set it"), ("c", "clear it")),
    ),
    "more": (("n", "next page"),),
}
"""Keys of the views' own buttons, which count while that view is in sight."""


def keys_for(*, can_pace: bool, can_seek: bool, can_talk: bool) -> tuple[Key, ...]:
    """Return the keys that do something with such a source, the first of a name counting."""
    common = tuple(key for key in COMMON_KEYS if can_talk or key.action != "run")
    return (
        *VIEW_KEYS,
        *(PACE_KEYS if can_pace else ()),
        *(PLACE_KEYS if can_seek else ()),
        *common,
    )
