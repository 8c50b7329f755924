"""The snapshot: all that a viewer needs at one instant, complete in itself.

Keys, units and meaning are part of the interface that other programs rely on; see DEVELOPERS.md.
"""

import json
from dataclasses import dataclass, field
from typing import Any

from onboard.efficiency.battery import BatteryState
from onboard.efficiency.figure import Estimate, Number, Unknown
from onboard.efficiency.figures import Consumption, Reach, Trip
from onboard.feed.jsonable import jsonable

SCHEMA = 1

NOT_YET = Unknown("not in this version")


@dataclass(frozen=True)
class LinkState:
    """How the link does.

    Parameters
    ----------
    age_s
        Since the last message of the followed craft came [s].
    messages_per_s
        Its messages over the last seconds.
    lost
        Its messages that did not arrive, by their sequence numbers.
    source
        Where they come from, in the words of `--link`.
    """

    age_s: Number
    messages_per_s: Number
    messages: int
    lost: int
    bad_bytes: int
    system_id: int | Unknown
    source: str


@dataclass(frozen=True)
class Alert:
    """One thing that the rider should know.

    Parameters
    ----------
    code
        A name that programs can tell it by.
    level
        "note", "warning" or "danger".
    text
        A plain sentence.
    since_s
        For how long it has been so [s].
    """

    code: str
    level: str
    text: str
    since_s: float


@dataclass(frozen=True)
class DriveState:
    """What the motor drive reports."""

    rpm: Number
    motor_amps_a: Number
    temperature_degc: Number


@dataclass(frozen=True)
class Snapshot:
    """Figures, instruments and link at stream time `t_s`."""

    seq: int
    t_s: float
    utc: str | Unknown
    time_left_s: Estimate
    power_w: Number
    volts_v: Number
    amps_a: Number
    speed_mps: Number
    course_deg: Number
    heading_deg: Number
    position_deg: tuple[float, float] | Unknown
    wh_per_km: Consumption
    trip: Trip
    battery: BatteryState | Unknown
    range_m: Reach
    drive: DriveState | Unknown
    link: LinkState
    alerts: tuple[Alert, ...] = ()
    best_speed_mps: Estimate = NOT_YET
    target: Unknown = field(default=Unknown("no target set"))
    home: Unknown = NOT_YET
    set_and_drift: Unknown = NOT_YET

    def as_dict(self) -> dict[str, Any]:
        """Give the snapshot in JSON's own types."""
        return {"schema": SCHEMA, "kind": "snapshot", **jsonable(self)}


def as_line(message: dict[str, Any]) -> bytes:
    """Give a message as one line of the feed."""
    return json.dumps(message, separators=(",", ":"), allow_nan=False).encode() + b"\n"
