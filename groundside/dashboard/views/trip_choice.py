"""What the trip's plot shows, and against what: chosen by the same keys wherever it stands."""

from collections.abc import Callable

from groundside.dashboard.content.trip import PANELS
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.widgets.button_bar import Button
from groundside.words.units import Units

KEYS = (
    ViewKey("p", "power", ("power",)),
    ViewKey("s", "speed", ("speed",)),
    ViewKey("c", "consumption", ("cost",)),
    ViewKey("l", "usable energy", ("left",)),
    ViewKey("x", "by time or distance", ("axis",)),
)


class TripChoice:
    """The chosen panel and axis.

    Parameters
    ----------
    panel
        The first panel.
    """

    def __init__(self, panel: str = PANELS[0]) -> None:
        self.panel = panel
        self.over_distance = False

    def pressed(self, word: str) -> None:
        """Choose a panel or the other axis."""
        if word in PANELS:
            self.panel = word
        elif word == "axis":
            self.over_distance = not self.over_distance

    def buttons(
        self, own_button: Callable[..., Button], units: Units | None, shown: tuple[str, ...]
    ) -> tuple[Button, ...]:
        """Return buttons for the panels, unless all are shown, and for the axis.

        Parameters
        ----------
        own_button
            Makes a button of the view: see `View.own_button`.
        units
            The rider's units.
        shown
            The visible panels.
        """
        axis = own_button("by time" if self.over_distance else "by distance", "axis", short="axis")
        if len(shown) == len(PANELS):
            return (axis,)
        names = {"cost": units.consumption_name if units else "Wh/km", "left": "usable"}
        return (
            *(
                own_button(names.get(panel, panel), panel, on=panel in shown, short=panel)
                for panel in PANELS
            ),
            axis,
        )
