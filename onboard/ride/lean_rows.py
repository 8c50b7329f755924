"""Single messages read in plain Python: the few values that are shown between two folds.

An array operation costs the same for one row as for many, so the table of messages is too dear for
a frame at a time. Here are the same conversions for single values; a property test holds each of
them equal to the table's.
"""

import math
from collections.abc import Callable, Mapping
from struct import Struct
from typing import Any, Final, NamedTuple

from onboard.telemetry.mavlink.layouts import layout
from onboard.telemetry.messages.table import MESSAGES, UINT16_UNKNOWN, Message

NAN = math.nan

BOOT_CLOCK: Final = "time_boot_ms"

_CODES: Final = {
    ("u", 1): "B", ("u", 2): "H", ("u", 4): "I", ("u", 8): "Q",
    ("i", 1): "b", ("i", 2): "h", ("i", 4): "i", ("i", 8): "q", ("f", 4): "f", ("f", 8): "d",
}  # fmt: skip
"""Codes of `struct` by a field's kind and size."""

Values = tuple[float, ...]


class LeanMessage(NamedTuple):
    """How a message is read in plain Python.

    Parameters
    ----------
    channel
        The channel that its values belong to; empty if it has none that are shown.
    fields
        Its fields in use, as they lie in the payload; the boot clock first.
    stamped
        Whether it carries the boot clock.
    convert
        Turns the other fields into values of `COLUMNS[channel]`.
    """

    channel: str
    fields: Struct
    stamped: bool
    convert: Callable[..., Values]

    def read(self, payload: bytes) -> tuple[int, Values]:
        """Return the boot clock [ms], 0 without, and the values; cut-off bytes read as zero."""
        size = self.fields.size
        fields = self.fields.unpack(payload[:size].ljust(size, b"\0"))
        return (
            (fields[0], self.convert(*fields[1:])) if self.stamped else (0, self.convert(*fields))
        )


def _power(millivolts: int, centiamps: int) -> Values:
    return (
        NAN if millivolts == UINT16_UNKNOWN else millivolts / 1e3,
        NAN if centiamps == -1 else centiamps / 1e2,
    )


def _battery(*fields: int) -> Values:
    cells, (centiamps, pack), further = fields[:10], fields[10:12], fields[12:]
    stated = [one / 1e3 for one in cells if one != UINT16_UNKNOWN]
    stated += [one / 1e3 for one in further if one not in (0, UINT16_UNKNOWN)]
    amps_a = NAN if centiamps == -1 else centiamps / 1e2
    return pack, math.fsum(stated) if stated else NAN, amps_a


def _gps(*fields: int) -> Values:
    latitude, longitude, speed, course, fix, sd = fields
    sd_mps = sd / 1e3 if sd else NAN
    if fix < 2:
        return fix, NAN, NAN, NAN, NAN, sd_mps
    nowhere = latitude == longitude == 0
    return (
        fix,
        NAN if nowhere else latitude / 1e7,
        NAN if nowhere else longitude / 1e7,
        NAN if speed == UINT16_UNKNOWN else speed / 1e2,
        NAN if course == UINT16_UNKNOWN else course / 1e2,
        sd_mps,
    )


def _fused(latitude: int, longitude: int, north: int, east: int, heading: int) -> Values:
    heading_deg = NAN if heading == UINT16_UNKNOWN else heading / 1e2
    if latitude == longitude == 0:
        return NAN, NAN, NAN, NAN, heading_deg
    return latitude / 1e7, longitude / 1e7, north / 1e2, east / 1e2, heading_deg


def _hud(speed_mps: float, heading: int) -> Values:
    return speed_mps, float(heading)


def _attitude(yaw_rad: float) -> Values:
    return (math.degrees(yaw_rad) % 360.0 if math.isfinite(yaw_rad) else NAN,)


def _nothing() -> Values:
    return ()


COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "power": ("volts_v", "amps_a"),
    "battery": ("pack", "volts_v", "amps_a"),
    "gps": ("fix", "latitude_deg", "longitude_deg", "speed_mps", "course_deg", "speed_sd_mps"),
    "fused": ("latitude_deg", "longitude_deg", "north_mps", "east_mps", "heading_deg"),
    "hud": ("speed_mps", "heading_deg"),
    "attitude": ("heading_deg",),
}
"""Columns of each channel that are read, in the order of the values."""

_FIELDS: Final[Mapping[str, tuple[Callable[..., Values], tuple[str, ...]]]] = {
    "SYS_STATUS": (_power, ("voltage_battery", "current_battery")),
    "BATTERY_STATUS": (_battery, ("voltages", "current_battery", "id", "voltages_ext")),
    "GPS_RAW_INT": (_gps, ("lat", "lon", "vel", "cog", "fix_type", "vel_acc")),
    "GLOBAL_POSITION_INT": (_fused, ("lat", "lon", "vx", "vy", "hdg")),
    "VFR_HUD": (_hud, ("groundspeed", "heading")),
    "ATTITUDE": (_attitude, ("yaw",)),
}
"""Fields of each message with values to show, in the order of the payload."""


def _struct(message: Message, names: tuple[str, ...]) -> Struct:
    """Return how the named fields, in the order of the payload, are read from it."""
    places: Mapping[str, Any] = layout(message.id).fields.fields or {}
    text, at = "<", 0
    for name in names:
        kind, offset = places[name][:2]
        base = kind.base
        text += f"{offset - at}x{math.prod(kind.shape)}{_CODES[base.kind, base.itemsize]}"
        at = offset + kind.itemsize
    return Struct(text)


def _lean(message: Message) -> LeanMessage:
    convert, names = _FIELDS.get(message.name, (_nothing, ()))
    stamp = (BOOT_CLOCK,) if message.boot_clock else ()
    return LeanMessage(
        message.channel if names else "",
        _struct(message, (*stamp, *names)),
        message.boot_clock,
        convert,
    )


LEAN: Final[Mapping[int, LeanMessage]] = {
    number: _lean(message)
    for number, message in MESSAGES.items()
    if message.name in _FIELDS or message.boot_clock
}
"""The messages that are read here, by id."""
