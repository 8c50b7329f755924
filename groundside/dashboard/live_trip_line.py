"""The trip's line as it is drawn: told by the source now and then, gone on with in between."""

from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot
from onboard.contract.trip_line import TripLine
from onboard.efficiency.trip.trip_line import GrowingLine


class LiveTripLine:
    """Keeps the line; a record of it is made once it has grown, and no more often.

    Examples
    --------
    >>> line = LiveTripLine()
    >>> line.take(TripLine((1.0, 2.0), (2.0, 4.0), (0.1, 0.2)))
    >>> line.record.t_s
    (1.0, 2.0)
    """

    def __init__(self) -> None:
        self._growing = GrowingLine()
        self._record: TripLine | None = TripLine()

    def take(self, line: TripLine) -> None:
        """Go on from the line that the source tells."""
        self._growing, self._record = GrowingLine.of(line), line

    def extend(self, snapshot: Snapshot) -> None:
        """Go on by what a snapshot counts; what is unknown adds nothing."""
        distance, energy = snapshot.trip.distance_m, snapshot.trip.energy_wh
        if isinstance(distance, Unknown) or isinstance(energy, Unknown):
            return
        last_s = self._growing.t_s[-1:]
        self._growing.add(snapshot.t_s, distance.value, energy.value)
        if self._growing.t_s[-1:] != last_s:
            self._record = None

    @property
    def record(self) -> TripLine:
        """The line as it stands."""
        if self._record is None:
            self._record = self._growing.record()
        return self._record
