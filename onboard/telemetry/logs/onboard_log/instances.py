"""The field that numbers several devices of one kind, as stated by the log's FMTU records."""

from onboard.telemetry.logs.onboard_log.record_layouts import RecordLayout, text
from onboard.telemetry.logs.onboard_log.windows import Window

_MARK = "#"
"""Unit letter of the field that holds the instance. Source: pymavlink 2.4.50, DFReader.py."""


class InstanceFields:
    """The instance field of each record name, as far as stated so far."""

    def __init__(self) -> None:
        self._units: dict[int, str] = {}
        """Unit letters, by record type."""
        self._seen = 0
        self._types: dict[str, list[RecordLayout]] = {}

    def push(self, window: Window) -> None:
        """Read the unit letters of the next window."""
        for number, layout in enumerate(window.layouts):
            if layout is None:
                continue
            if number >= self._seen:
                self._types.setdefault(layout.name, []).append(layout)
            if (
                layout.name == "FMTU"
                and layout.whole_numbers("FmtType")
                and layout.texts("UnitIds")
            ):
                places = window.places(number)
                for row in window.rows(number, places) if len(places) else ():
                    self._units[int(row["FmtType"])] = text(bytes(row["UnitIds"]))
        self._seen = len(window.layouts)

    def field(self, name: str) -> str | None:
        """Return the instance field of records of this name, None if the log names none."""
        for layout in reversed(self._types.get(name, [])):
            at = self._units.get(layout.type, "").find(_MARK)
            if 0 <= at < len(layout.letters):
                return list(layout.letters)[at]
        return None
