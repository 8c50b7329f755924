"""The trip view's line: sent by the source now and then, extended by snapshots in between."""

from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot
from onboard.contract.trip_line import TripLine
from onboard.efficiency.trip.trip_line import GrowingLine


class LiveTripLine:
    """A growing trip line; its immutable record is rebuilt only after it has grown.

    Examples
    --------
    >>> line = LiveTripLine()
    >>> line.replace(TripLine((1.0, 2.0), (2.0, 4.0), (0.1, 0.2)))
    >>> line.record.t_s
    (1.0, 2.0)
    """

    def __init__(self) -> None:
        self._growing = GrowingLine()
        self._record: TripLine | None = TripLine()

    def replace(self, line: TripLine) -> None:
        """Continue from a line sent by the source."""
        self._growing, self._record = GrowingLine.of(line), line

    def extend(self, snapshot: Snapshot) -> None:
        """Add the sums of a snapshot, if they are known, with its position."""
        distance, energy = snapshot.trip.distance_m, snapshot.trip.energy_wh
        if isinstance(distance, Unknown) or isinstance(energy, Unknown):
            return
        last_s = self._growing.t_s[-1:]
        position = snapshot.position_deg
        known = None if isinstance(position, Unknown) else position
        self._growing.add(snapshot.t_s, distance.value, energy.value, known)
        if self._growing.t_s[-1:] != last_s:
            self._record = None

    @property
    def record(self) -> TripLine:
        """The line so far."""
        if self._record is None:
            self._record = self._growing.record()
        return self._record
