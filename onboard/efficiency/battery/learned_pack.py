"""What was learned of a pack, from one ride to the next: of which pack, and with which sensors.

A ride saves with the battery's count which battery and sensors the profile stated, and the
correction of the current that it counted with. The next one with the same statement begins with all
of it; its current sensor is corrected by what the charger's meter has shown since, so that energy,
consumption and battery are counted in one unit. With another statement the pack or its sensors are
others, or better known: then all but the charge is forgotten.
"""

import math
from dataclasses import asdict, replace
from typing import Any

from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.saved_charge import SavedCharge
from onboard.efficiency.statistics.shared_errors import GAIN, START
from onboard.profile import Profile, Sensors

NOT_OF_THE_PACK = ("start_fraction", "start_sd", "reserve_fraction", "cutoff_v")
"""Settings of `[battery]` that may change without the pack being another."""

OF_THE_CHARGE = (
    "of", "current_scale", "fraction", "contradicted", "since_anchor_fraction", "unsaid",
    "unsaid_since_utc_s",
)  # fmt: skip
"""Keys of a saved battery that hold for any statement of the pack."""

Saved = dict[str, Any]


def stated_pack(profile: Profile) -> Saved:
    """Return what the profile states of the pack and the sensors that count it, in JSON's types."""
    assert profile.battery is not None
    pack = asdict(profile.battery) | asdict(profile.sensors)
    return {key: value for key, value in pack.items() if key not in NOT_OF_THE_PACK}


def carried_over(profile: Profile, saved: Saved | None) -> tuple[Profile, Saved | None]:
    """Return the profile with the current sensor as learned, and the state in its units.

    Parameters
    ----------
    profile
        As stated.
    saved
        An earlier ride's `Ride.saved_state`; None without.

    Raises
    ------
    ValueError
        If the battery's state in it is malformed or impossible.
    """
    battery = None if saved is None else saved.get("battery")
    if saved is None or battery is None or profile.battery is None:
        return profile, saved
    if not isinstance(battery, dict):
        raise ValueError("the kept battery state is not readable")
    if battery.get("of") != stated_pack(profile):
        return profile, _recounted({**saved, "battery": forgotten(battery)}, profile.sensors)
    sensors = _corrected(profile.sensors, battery.get("current_scale"), 1.0)
    known = SavedCharge.read(battery, Pack(profile.battery, sensors).count.state, math.nan)
    sensors = _corrected(sensors, sensors.current_scale, 1.0 + known.gain)
    gain_sd = math.sqrt(known.state.covariance[GAIN, GAIN])
    sensors = replace(sensors, current_scale_sd=gain_sd)
    return replace(profile, sensors=sensors), _recounted(saved, sensors)


def _corrected(sensors: Sensors, scale: Any, times: float) -> Sensors:
    """Return the sensors with the current scaled as it was counted, times a correction."""
    if not isinstance(scale, int | float) or not 0.1 < scale * times < 10.0:
        raise ValueError("the kept current scale cannot be")
    offset_a = sensors.current_offset_a * scale * times / sensors.current_scale
    return replace(sensors, current_scale=scale * times, current_offset_a=offset_a)


def _recounted(saved: Saved, sensors: Sensors) -> Saved:
    """Return a state whose charge counter was read with these sensors."""
    clocks, scale = saved.get("clocks"), saved["battery"].get("current_scale")
    if not (isinstance(clocks, dict) and isinstance(scale, int | float) and scale > 0.0):
        return saved
    counter_ah = clocks.get("counter_ah")
    if not isinstance(counter_ah, int | float):
        return saved
    counter_ah *= sensors.current_scale / scale
    return {**saved, "clocks": {**clocks, "counter_ah": counter_ah}}


def with_origin(battery: Saved, stated: Profile, counted: Profile) -> Saved:
    """Return a battery's state to save, with what it is of.

    Parameters
    ----------
    battery
        From `Pack.as_dict`; one that was resumed and not used yet has its origin already.
    stated, counted
        The profile as stated, and with the sensors that the ride counted with.
    """
    origin = {"of": stated_pack(stated), "current_scale": counted.sensors.current_scale}
    return {**origin, **battery}


def without_learned(saved: Saved) -> Saved:
    """Return a ride's saved state with the battery's charge alone; see `forgotten`."""
    battery = saved.get("battery")
    return saved if battery is None else {**saved, "battery": forgotten(battery)}


def forgotten(battery: Saved) -> Saved:
    """Return a battery's state with the charge alone, without what was learned of the pack.

    Raises
    ------
    ValueError
        If it is malformed.
    """
    try:
        if battery["covariance"] is not None:
            start_sd = math.sqrt(float(battery["covariance"][START][START]))
        else:
            start_sd = float(battery["start_sd"])
    except (IndexError, KeyError, TypeError, ValueError):
        raise ValueError("the kept battery state is not readable") from None
    kept = {key: battery[key] for key in OF_THE_CHARGE if key in battery}
    return {**kept, "capacity_error": 0.0, "covariance": None, "start_sd": start_sd}
