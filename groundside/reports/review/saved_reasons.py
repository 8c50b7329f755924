"""Reasons for what is unknown after a saved log has been read to its end: it will say no more.

While a log is replayed the reasons are those of a ride that goes on: what has not been heard yet
may come.
"""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

from onboard.contract.battery import BatteryState
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot

Stated = TypeVar("Stated")

IN_LOG: Mapping[Reason, Reason] = {
    Reason.NO_AUTOPILOT: Reason.NO_AUTOPILOT_IN_LOG,
    Reason.NOT_HEARD: Reason.NOT_IN_LOG,
    Reason.NO_POWER_MONITOR: Reason.NO_POWER_MONITOR_IN_LOG,
    Reason.NO_GPS: Reason.NO_GPS_IN_LOG,
    Reason.NO_POSITION: Reason.NO_POSITION_IN_LOG,
}
"""What was not heard yet when a log ends is not in it."""


def at_end(stated: Stated) -> Stated:
    """Return a figure, or a dataclass of figures, with the reasons of a log read to its end.

    Examples
    --------
    >>> at_end(Unknown(Reason.NO_GPS))
    Unknown(no_gps_in_log)
    """
    ended: Stated = _ended(stated)
    return ended


def _ended(stated: Any) -> Any:
    if isinstance(stated, Unknown):
        return Unknown(IN_LOG[stated.code]) if stated.code in IN_LOG else stated
    if type(stated) is tuple:
        return tuple(map(_ended, stated))
    if not is_dataclass(stated) or isinstance(stated, type):
        return stated
    changed = {field.name: _ended(getattr(stated, field.name)) for field in fields(stated)}
    return replace(stated, **changed)


def without_current(snapshot: Snapshot) -> Snapshot:
    """Return a snapshot in which all that rests on a dead current sensor is unknown."""
    why = Unknown(Reason.CURRENT_DEAD)
    trip = replace(
        snapshot.trip,
        energy_wh=why,
        charge_ah=why,
        wh_per_km=why,
        mean_power_w=why,
        bridged_energy_fraction=why,
    )
    battery = why if isinstance(snapshot.battery, BatteryState) else snapshot.battery
    range_m = replace(snapshot.range_m, now=why)
    return replace(
        snapshot,
        trip=trip,
        battery=battery,
        range_m=range_m,
        time_left_s=why,
        power_w=why,
        set_and_drift=why,
    )
