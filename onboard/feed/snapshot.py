"""The snapshot: all that a viewer needs at one instant, complete in itself.

Keys, units and meaning are part of the interface that other programs rely on; see DEVELOPERS.md.
"""

import json
from dataclasses import dataclass
from typing import Any

from onboard.efficiency.alerts import Alert
from onboard.efficiency.battery import BatteryState
from onboard.efficiency.figure import Estimate, Number, Unknown
from onboard.efficiency.figures import Consumption, Reach, Trip
from onboard.efficiency.home import WayHome
from onboard.efficiency.power_curve import Curve
from onboard.efficiency.runs import Run
from onboard.efficiency.steady_now import Steady
from onboard.efficiency.target import Target
from onboard.efficiency.trip_line import TripLine
from onboard.efficiency.water import SetAndDrift
from onboard.feed.jsonable import jsonable

SCHEMA = 1


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
    best_speed_mps: Estimate
    target: Target | Unknown
    home: WayHome | Unknown
    set_and_drift: SetAndDrift | Unknown
    drive: DriveState | Unknown
    setup: str
    setups: tuple[str, ...]
    curve: Curve | Unknown
    steady: Steady
    runs: tuple[Run, ...]
    reserve_fraction: Number
    link: LinkState
    alerts: tuple[Alert, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Give the snapshot in JSON's own types."""
        return {"schema": SCHEMA, "kind": "snapshot", **jsonable(self)}


def trip_line_message(line: TripLine) -> dict[str, Any]:
    """Give the message that tells the trip so far: to a new viewer, and now and then to all."""
    return {"schema": SCHEMA, "kind": "trip_line", **line.as_dict()}


def as_line(message: dict[str, Any]) -> bytes:
    """Give a message as one line of the feed."""
    return json.dumps(message, separators=(",", ":"), allow_nan=False).encode() + b"\n"
