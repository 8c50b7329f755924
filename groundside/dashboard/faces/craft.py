"""What the craft view says: can the figures be trusted? Instruments and link, one by one."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from groundside.dashboard.faces.items import Block, Item
from groundside.dashboard.faces.setups import is_part, listed
from groundside.dashboard.faces.water import water_text
from groundside.dashboard.scene import Scene
from groundside.figures import (
    Reading,
    age_text,
    number,
    one_decimal,
    part,
    percent,
    reading,
    text_of,
    whole,
)
from groundside.freshness import data_age_s
from groundside.source import Snapshot
from groundside.units import Units

BRIDGED_MOST = 0.05
"""More of the trip than this bridged over gaps deserves a look. Common practice, no source."""
LOST_MOST = 0.05
"""More messages than this lost deserve a look. Common practice, no source."""

State = Literal["LOOK", "--", "ok"]
ORDER: tuple[State, ...] = ("LOOK", "--", "ok")
"""The worst first."""


@dataclass(frozen=True)
class Check:
    """An instrument: its state, what it is, and what it says."""

    state: State
    name: str
    text: str


def craft_blocks(scene: Scene) -> tuple[Block, ...]:
    """Make all that the craft view says: alerts first, then the instruments, the worst first."""
    checks = sorted(_checks(scene), key=lambda check: ORDER.index(check.state))
    instruments = tuple(
        Item(check.state, f"{check.name}: {check.text}", strong=check.state == "LOOK")
        for check in checks
    )
    return (_alerts(scene.snapshot), instruments)


def silent_source(snapshot: Snapshot | None) -> str:
    """Give the first source that an alert names as silent, empty where none is.

    Examples
    --------
    >>> silent_source({"alerts": [{"code": "source_silent", "sources": ["battery 1"]}]})
    'battery 1'
    """
    alerts = listed(snapshot.get("alerts")) if snapshot is not None else []
    silent = (one for one in alerts if is_part(one) and one.get("code") == "source_silent")
    named = (text_of(name) for one in silent for name in listed(one.get("sources")))
    return next((name for name in named if name), "")


def _alerts(snapshot: Snapshot | None) -> Block:
    said = []
    for alert in listed((snapshot or {}).get("alerts")):
        if not is_part(alert):
            continue
        since_s = number(alert.get("since_s"))
        since = f" (for {age_text(max(0.0, since_s))})" if since_s is not None else ""
        said.append(Item("alert", f"{text_of(alert.get('text'))}{since}", strong=True))
    return tuple(said) or (Item("alert", "none"),)


def _checks(scene: Scene) -> list[Check]:
    snapshot, units = scene.snapshot, scene.units
    if snapshot is None:
        return [Check("--", "link", "nothing heard yet")]
    return [
        _data(scene),
        _link(snapshot),
        _position(snapshot),
        _one(
            "speed",
            reading(snapshot, "speed_mps"),
            lambda v: f"{one_decimal(units.speed(v))} {units.speed_name}",
        ),
        _direction(snapshot),
        _pack(snapshot),
        _resistance(snapshot),
        _left(snapshot),
        *_drive(snapshot),
        _clock(snapshot),
        _bridged(snapshot),
        _water(snapshot, units),
    ]


def _one(name: str, figure: Reading, write: Callable[[float], str]) -> Check:
    if figure.value is None:
        return Check("--", name, figure.why)
    return Check("ok", name, write(figure.value))


def _data(scene: Scene) -> Check:
    age_s = data_age_s(scene.snapshot or {}, scene.since_received_s)
    if age_s is None:
        return Check("--", "data", "age not known")
    return Check("LOOK" if scene.stale else "ok", "data", f"{age_text(age_s)} old")


def _link(snapshot: Snapshot) -> Check:
    link = part(snapshot, "link")
    rate = reading(link, "messages_per_s")
    lost, heard = (number(link.get(key)) for key in ("lost", "messages"))
    bad = number(link.get("bad_bytes"))
    said = [text_of(link.get("source")) or "source not named"]
    replayed = bool(part(snapshot, "replay")) and rate.value is None
    if not replayed:
        said.append(rate.why if rate.value is None else f"{whole(rate.value)} messages/s")
    look = False
    if lost is not None and heard is not None and lost + heard > 0:
        share = lost / (lost + heard)
        look = share > LOST_MOST
        said.append(f"{percent(share)} lost" if lost else "none lost")
    if bad:
        said.append(f"{whole(bad)} bad bytes")
    state: State = "LOOK" if look else "--" if rate.value is None and not replayed else "ok"
    return Check(state, "link", ", ".join(said))


def _position(snapshot: Snapshot) -> Check:
    raw = snapshot.get("position_deg")
    known = [number(value) for value in raw] if isinstance(raw, list) else []
    if len(known) == 2 and known[0] is not None and known[1] is not None:
        north, east = known[0], known[1]
        text = f"{abs(north):.5f} {'NS'[north < 0]}, {abs(east):.5f} {'EW'[east < 0]}"
        return Check("ok", "position", text)
    return Check("--", "position", reading(snapshot, "position_deg").why)


def _direction(snapshot: Snapshot) -> Check:
    course, heading = (reading(snapshot, key) for key in ("course_deg", "heading_deg"))
    if course.value is None and heading.value is None:
        return Check("--", "course", course.why)
    said = [
        f"{name} {round(figure.value) % 360:03d} deg"
        if figure.value is not None
        else f"{name} not known ({figure.why})"
        for name, figure in (("made good", course), ("heading", heading))
    ]
    return Check("ok", "course", ", ".join(said))


def _pack(snapshot: Snapshot) -> Check:
    volts, amps, power = (reading(snapshot, key) for key in ("volts_v", "amps_a", "power_w"))
    if volts.value is None or amps.value is None:
        lacks = volts if volts.value is None else amps
        return Check("--", "battery", lacks.why)
    said = f"{one_decimal(volts.value)} V, {one_decimal(amps.value)} A"
    if power.value is not None:
        said += f", {whole(power.value)} W"
    return Check("ok", "battery", said)


def _resistance(snapshot: Snapshot) -> Check:
    figure = reading(snapshot, "battery", "resistance_ohm")
    if not part(snapshot, "battery"):
        figure = Reading(None, why=reading(snapshot, "battery").why)
    return _one("resistance", figure, lambda ohm: f"{whole(1000.0 * ohm)}{_to(figure)} mohm")


def _to(figure: Reading) -> str:
    if figure.low is None or figure.high is None:
        return ""
    return f" ({whole(1000.0 * figure.low)} to {whole(1000.0 * figure.high)})"


def _left(snapshot: Snapshot) -> Check:
    reserve = number(snapshot.get("reserve_fraction"))
    kept = f", reserve {percent(reserve)}" if reserve is not None else ""
    if not part(snapshot, "battery"):
        return Check("--", "energy left", reading(snapshot, "battery").why)
    share = reading(snapshot, "battery", "left_fraction")
    if share.value is None:
        return Check("--", "energy left", share.why + kept)
    sure = ""
    if share.low is not None and share.high is not None:
        sure = f" ({percent(share.low)} to {percent(share.high)})"
    look = reserve is not None and share.value < reserve
    return Check("LOOK" if look else "ok", "energy left", f"{percent(share.value)}{sure}{kept}")


def _drive(snapshot: Snapshot) -> list[Check]:
    drive = part(snapshot, "drive")
    if not drive:
        return [Check("--", "motor drive", reading(snapshot, "drive").why)]
    said = []
    for key, unit in (
        ("rpm", "rpm"),
        ("motor_amps_a", "A motor current"),
        ("temperature_degc", "°C"),
    ):
        figure = reading(drive, key)
        if figure.value is not None:
            said.append(f"{whole(figure.value)} {unit}")
    if not said:
        return [Check("--", "motor drive", reading(drive, "rpm").why)]
    return [Check("ok", "motor drive", ", ".join(said))]


def _clock(snapshot: Snapshot) -> Check:
    utc = text_of(snapshot.get("utc"))
    if not utc:
        return Check("--", "clock", "the receiver has not told the time; durations are right")
    return Check("ok", "clock", utc.replace("T", " ").removesuffix("Z").partition(".")[0] + " UTC")


def _bridged(snapshot: Snapshot) -> Check:
    shares = [
        reading(snapshot, "trip", key).value
        for key in ("bridged_energy_fraction", "bridged_distance_fraction")
    ]
    known = [share for share in shares if share is not None]
    if not known:
        return Check("--", "gaps", "the trip has not begun")
    said = ", ".join(
        f"{name} {percent(share)}"
        for name, share in zip(("energy", "distance"), shares, strict=True)
        if share is not None
    )
    return Check("LOOK" if max(known) > BRIDGED_MOST else "ok", "gaps", f"bridged over: {said}")


def _water(snapshot: Snapshot, units: Units) -> Check:
    text = water_text(snapshot, units)
    if not text or "not known" in text.partition(";")[0]:
        return Check("--", "water", text.removeprefix("water not known: ") or "no data yet")
    return Check("ok", "water", text.removeprefix("water "))
