"""The review of one log: what it holds, and the trip's sums, as other programs read them."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from onboard.efficiency.figure import Unknown
from onboard.errors import LogError
from onboard.feed.jsonable import jsonable
from onboard.profile import Profile
from onboard.ride import Ride, utc_text
from onboard.telemetry.logs import read_log, stamps_s
from onboard.telemetry.stamps import steps_s

SCHEMA = 1

PLAUSIBLE_FROM_S = 1e9
"""September 2001: an earlier stamp is from a clock that was never set."""


@dataclass(frozen=True)
class LogFacts:
    """What a log holds, whatever craft is in it."""

    format: str
    messages: int
    bad_bytes: int
    start_utc: str | None
    duration_s: float


def review(path: Path, profile: Profile, system_id: int | None = None) -> dict[str, Any]:
    """Read a whole log and sum up the trip.

    Parameters
    ----------
    path
        The log, or a session's folder.
    profile
        The craft.
    system_id
        The MAVLink system to follow; None follows the profile's, else the one that sends most.

    Returns
    -------
    dict
        JSON's own types, as described in DEVELOPERS.md.

    Raises
    ------
    LogError
        If the log cannot be read, or does not hold the system asked for.
    """
    ride = Ride(profile, system_id)
    first_s: float | None = None
    last_s, length_s = 0.0, 0.0
    for frames in read_log(path):
        ride.take(frames)
        if len(frames):
            stamps = stamps_s(frames)
            if first_s is None:
                first_s = last_s = float(stamps[0])
            length_s += float(steps_s(stamps, last_s).sum())
            last_s = float(stamps[-1])
    ride.finish()
    snapshot = ride.snapshot(str(path), age_s=0.0)
    facts = LogFacts(
        format="telemetry",
        messages=ride.messages,
        bad_bytes=ride.bad_bytes,
        start_utc=_start_utc(ride, first_s or 0.0),
        duration_s=max(length_s, 0.0),
    )
    followed = ride.decoder.craft.system_id
    others = ", ".join(str(number) for number in sorted(ride.decoder.craft.others))
    events: list[dict[str, Any]] = []
    if followed is None and others:
        raise LogError(f"{path}: no autopilot of the system asked for: it holds system {others}")
    if followed is None:
        text = "No autopilot is in this log: there is no craft to sum up."
        events.append({"t_s": 0.0, "code": "no_autopilot", "text": text})
    elif others:
        text = f"Another craft is in this log (system {others}); system {followed} is followed."
        events.append({"t_s": 0.0, "code": "other_craft", "text": text})
    packs = ride.engine.packs
    if len(packs) > 1:
        named = ", ".join(str(pack) for pack in packs)
        text = f"Energy is the sum of the batteries that measure current: {named}."
        events.append({"t_s": 0.0, "code": "packs_summed", "text": text})
    events += jsonable(ride.engine.events)
    for figure, counted in (
        (snapshot.power_w, snapshot.trip.energy_wh),
        (snapshot.speed_mps, snapshot.trip.distance_m),
    ):
        if isinstance(figure, Unknown) and not isinstance(counted, Unknown):
            text = f"At the end of this log: {figure.why}. What happened then is in no sum."
            events.append({"t_s": ride.t_s, "code": "silent_at_end", "text": text})
    body = {
        "trip": snapshot.trip,
        "bands": ride.engine.bands(),
        "curve": ride.engine.curve(),
        "set_and_drift": snapshot.set_and_drift,
        "battery": snapshot.battery,
        "range_m": snapshot.range_m.now,
        "time_left_s": snapshot.time_left_s,
    }
    why = {key: value.why for key, value in body.items() if isinstance(value, Unknown)}
    return {
        "schema": SCHEMA,
        "log": jsonable(facts),
        **{key: jsonable(value) for key, value in body.items()},
        "events": events,
        "why": why,
    }


def _start_utc(ride: Ride, first_s: float) -> str | None:
    """Give UTC at the log's start: by the autopilot's clock, else by the stamps if they can be."""
    stated = ride.engine.latest.at("clock", "utc_s")
    if stated is not None and stated[1] > 0:
        return utc_text(stated[1] - stated[0])
    return utc_text(first_s) if first_s >= PLAUSIBLE_FROM_S else None
