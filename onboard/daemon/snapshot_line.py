"""Snapshots as lines of the feed: encoded in full after a fold, and with newer readings between.

Most of a snapshot is that of the last fold. It is encoded once, and each line until the next fold
is put together from it and the few fields that are new. Every line is complete in itself.
"""

from typing import Any, Final

from onboard.contract.codec import WHY, json_line, plain
from onboard.contract.figure import Number, Unknown
from onboard.contract.snapshot import SCHEMA, LinkState, Snapshot
from onboard.ride.newest import READINGS, Reading

CHANGING: Final = ("seq", "newest_t_s", "link", *READINGS)
"""Fields that are new in each line."""


class SnapshotLine:
    """The lines of a fold.

    Parameters
    ----------
    snapshot
        The snapshot at the fold.
    """

    def __init__(self, snapshot: Snapshot) -> None:
        self.snapshot = snapshot
        whole = {"schema": SCHEMA, "kind": "snapshot", **plain(snapshot)}
        self._why: dict[str, Any] = whole.pop(WHY, {})
        self._changing = {name: whole.pop(name) for name in ("schema", "kind", *CHANGING)}
        self._lasting = json_line(whole)
        self.line = self._line(self._changing, self._why)
        """The snapshot at the fold, as a line."""

    def newer(
        self, seq: int, newest_t_s: Number, link: LinkState, readings: dict[str, Reading]
    ) -> bytes:
        """Return a line with the newest readings.

        Parameters
        ----------
        seq
            Its number.
        newest_t_s
            Stream time of the readings [s].
        link
            State of the link.
        readings
            The readings by name; one that is missing stays as it was at the fold.
        """
        changing = dict(self._changing)
        why = dict(self._why)
        changing["seq"] = seq
        for name, value in (("newest_t_s", newest_t_s), ("link", link), *readings.items()):
            if isinstance(value, Unknown):
                changing[name], why[name] = None, plain(value)
            else:
                changing[name] = plain(value)
                why.pop(name, None)
        return self._line(changing, why)

    def _line(self, changing: dict[str, Any], why: dict[str, Any]) -> bytes:
        first = json_line({**changing, WHY: why} if why else changing)
        return first[: -len(b"}\n")] + b"," + self._lasting[len(b"{") :]
