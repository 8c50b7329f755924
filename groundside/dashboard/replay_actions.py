"""The app's actions on a replay: its pace and its place."""

from groundside.connection.source import SnapshotSource
from groundside.dashboard.views.base import View
from groundside.dashboard.widgets.replay_bar import ReplayBar


class ReplayActions:
    """Mix-in of the app: passes presses on to the source, if it can be controlled."""

    _source: SnapshotSource

    def show_result(self, done: str, refusal: str = "") -> None:
        """Show the result of a command, or why it failed."""
        raise NotImplementedError

    def action_pause_or_go(self) -> None:
        """Pause the replay, or resume it."""
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
        """Skip forward in a saved ride, or back if negative [s]."""
        if self._source.seek_controls is not None:
            self._source.seek_controls.jump(seconds_s)

    def action_next_event(self) -> None:
        """Go to the next event of a saved ride."""
        if self._source.seek_controls is not None and not self._source.seek_controls.next_event():
            self.show_result("no later event")

    def action_event_before(self) -> None:
        """Go to the previous event."""
        if self._source.seek_controls is not None:
            self._source.seek_controls.event_before()

    def on_view_seek(self, message: View.Seek) -> None:
        """Go to a place in a saved ride."""
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
