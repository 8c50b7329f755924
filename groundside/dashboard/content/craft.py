"""Content of the craft view: instruments and link, to show which figures can be trusted."""

from collections.abc import Callable
from typing import Literal

from groundside.dashboard.content.items import Block, Item
from groundside.dashboard.view_state import ViewState
from groundside.words.alerts import alert_text
from groundside.words.figures import (
    Reading,
    age_text,
    in_brackets,
    one_decimal,
    percent,
    speed_text,
    whole,
)
from groundside.words.readings import reading
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from groundside.words.water import known_water, sets_text
from onboard.contract.alerts import AlertCode
from onboard.contract.codes import Value
from onboard.contract.figure import Unknown, within
from onboard.contract.snapshot import Snapshot, Trip
from onboard.dataclass import dataclass

BRIDGED_MOST = 0.05
"""Share of a trip bridged over gaps above which it is flagged. Common practice, no source."""
LOST_MOST = 0.05
"""Share of lost messages above which a link is flagged. Common practice, no source."""

Status = Literal["LOOK", "--", "ok"]
ORDER: tuple[Status, ...] = ("LOOK", "--", "ok")
"""Worst first."""


@dataclass(frozen=True)
class Check:
    """An instrument: its status, its name, and its reading."""

    status: Status
    name: str
    text: str


def craft_blocks(state: ViewState) -> tuple[Block, ...]:
    """Return the content of the craft view: alerts, then the instruments, worst first."""
    checks = sorted(_checks(state), key=lambda check: ORDER.index(check.status))
    instruments = tuple(
        Item(check.status, f"{check.name}: {check.text}", strong=check.status == "LOOK")
        for check in checks
    )
    return (_alerts(state), instruments)


def silent_source(snapshot: Snapshot) -> str:
    """Return the first source that an alert reports as silent; empty if none is.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from onboard.contract.alerts import Alert
    >>> from onboard.contract.reasons import Reason
    >>> from onboard.contract.snapshot import unknown_snapshot
    >>> nothing = unknown_snapshot(Unknown(Reason.NO_DATA), "a test")
    >>> silent = Alert(AlertCode.SOURCE_SILENT, 3.0, sources=("battery 1",))
    >>> silent_source(replace(nothing, alerts=(silent,))), silent_source(nothing)
    ('battery 1', '')
    """
    silent = (one for one in snapshot.alerts if one.code is AlertCode.SOURCE_SILENT)
    return next((str(name) for one in silent for name in names_of(one.values["sources"])), "")


def names_of(value: Value) -> tuple[str | float, ...]:
    """Return the names in an alert's value; none if it is unknown."""
    return value if isinstance(value, tuple) else ()


def _alerts(state: ViewState) -> Block:
    alerts = tuple(
        Item(
            "alert",
            f"{alert_text(alert, state.units)} (for {age_text(max(0.0, alert.since_s))})",
            strong=True,
        )
        for alert in state.snapshot.alerts
    )
    return alerts or (Item("alert", "none"),)


def _checks(state: ViewState) -> list[Check]:
    snapshot, units = state.snapshot, state.units
    if not state.started:
        return [Check("--", "link", "nothing heard yet")]
    return [
        _data(state),
        _link(state),
        _position(snapshot, units),
        _one(
            "speed",
            reading(snapshot.speed_mps, units),
            lambda v: speed_text(v, units),
        ),
        _direction(snapshot, units),
        _pack(snapshot, units),
        _resistance(snapshot, units),
        _capacity(snapshot, units),
        _left(snapshot, units),
        _drive(snapshot, units),
        _clock(snapshot),
        _bridged(snapshot.trip),
        _water(snapshot, units),
    ]


def _one(name: str, figure: Reading, write: Callable[[float], str]) -> Check:
    if figure.value is None:
        return Check("--", name, figure.why)
    return Check("ok", name, write(figure.value))


def _data(state: ViewState) -> Check:
    if state.age_s is None:
        return Check("--", "data", "age not known")
    return Check("LOOK" if state.stale else "ok", "data", f"{age_text(state.age_s)} old")


def _link(state: ViewState) -> Check:
    link = state.snapshot.link
    rate = reading(link.messages_per_s, state.units)
    parts = [link.source or "source not named"]
    replayed = state.replay is not None and rate.value is None
    if not replayed:
        parts.append(rate.why if rate.value is None else f"{whole(rate.value)} messages/s")
    suspicious = False
    if link.lost + link.messages > 0:
        share = link.lost / (link.lost + link.messages)
        suspicious = share > LOST_MOST
        parts.append(f"{percent(share)} lost" if link.lost else "none lost")
    if link.bad_bytes:
        parts.append(f"{link.bad_bytes} bad bytes")
    suspicious = suspicious or (rate.value == 0.0 and not replayed)
    status: Status = "LOOK" if suspicious else "--" if rate.value is None and not replayed else "ok"
    return Check(status, "link", ", ".join(parts))


def _position(snapshot: Snapshot, units: Units) -> Check:
    position = snapshot.position_deg
    if isinstance(position, Unknown):
        return Check("--", "position", reason_text(position, units))
    north, east = position
    text = f"{abs(north):.5f} {'NS'[north < 0]}, {abs(east):.5f} {'EW'[east < 0]}"
    return Check("ok", "position", text)


def _direction(snapshot: Snapshot, units: Units) -> Check:
    course, heading = (reading(it, units) for it in (snapshot.course_deg, snapshot.heading_deg))
    if course.value is None and heading.value is None:
        return Check("--", "course", course.why)
    parts = [
        f"{name} {round(figure.value) % 360:03d} deg"
        if figure.value is not None
        else f"{name} not known ({figure.why})"
        for name, figure in (("made good", course), ("heading", heading))
    ]
    return Check("ok", "course", ", ".join(parts))


def _pack(snapshot: Snapshot, units: Units) -> Check:
    volts, amps, power = (
        reading(it, units) for it in (snapshot.volts_v, snapshot.amps_a, snapshot.power_w)
    )
    if volts.value is None or amps.value is None:
        lacks = volts if volts.value is None else amps
        return Check("--", "battery", lacks.why)
    parts = [f"{one_decimal(volts.value)} V", f"{one_decimal(amps.value)} A"]
    if power.value is not None:
        parts.append(f"{whole(power.value)} W")
    return Check("ok", "battery", ", ".join(parts))


def _resistance(snapshot: Snapshot, units: Units) -> Check:
    figure = reading(within(snapshot.battery, lambda battery: battery.resistance_ohm), units)
    return _one(
        "resistance", figure, lambda ohm: f"{_milliohm(ohm)}{in_brackets(figure, _milliohm)} mohm"
    )


def _capacity(snapshot: Snapshot, units: Units) -> Check:
    learned = within(snapshot.battery, lambda battery: battery.learned)
    figure = reading(within(learned, lambda pack: pack.capacity_ah), units)
    rests = 0 if isinstance(learned, Unknown) else learned.rests
    by = f", by {rests} rests" if rests > 1 else ", by 1 rest" if rests else ", by the profile"
    return _one(
        "capacity",
        figure,
        lambda ah: f"{one_decimal(ah)}{in_brackets(figure, one_decimal)} Ah{by}",
    )


def _milliohm(ohm: float) -> str:
    return whole(1000.0 * ohm)


def _left(snapshot: Snapshot, units: Units) -> Check:
    reserve = snapshot.reserve_fraction
    reserve_text = "" if isinstance(reserve, Unknown) else f", reserve {percent(reserve)}"
    if isinstance(snapshot.battery, Unknown):
        return Check("--", "energy left", reason_text(snapshot.battery, units))
    share = reading(snapshot.battery.left_fraction, units)
    charge = reading(snapshot.battery.charge_fraction, units)
    if share.value is None:
        return Check("--", "energy left", share.why + reserve_text)
    usable = f"{percent(share.value)}{in_brackets(share, percent)}"
    text = f"usable {usable} of a full pack's energy{reserve_text}"
    if charge.value is not None:
        text += f", charge {percent(charge.value)}"
    suspicious = not isinstance(reserve, Unknown) and share.value < reserve
    return Check("LOOK" if suspicious else "ok", "energy left", text)


def _drive(snapshot: Snapshot, units: Units) -> Check:
    drive = snapshot.drive
    if isinstance(drive, Unknown):
        return Check("--", "motor drive", reason_text(drive, units))
    parts = [
        f"{whole(figure)} {unit}"
        for figure, unit in (
            (drive.rpm, "rpm"),
            (drive.motor_amps_a, "A motor current"),
            (drive.temperature_degc, "°C"),
        )
        if not isinstance(figure, Unknown)
    ]
    if not parts:
        return Check("--", "motor drive", reading(drive.rpm, units).why)
    return Check("ok", "motor drive", ", ".join(parts))


def _clock(snapshot: Snapshot) -> Check:
    utc = snapshot.utc
    if isinstance(utc, Unknown):
        return Check("--", "clock", "the receiver has not told the time; durations are right")
    return Check("ok", "clock", utc.replace("T", " ").removesuffix("Z").partition(".")[0] + " UTC")


def _bridged(trip: Trip) -> Check:
    known = [
        (name, share)
        for name, share in (
            ("energy", trip.bridged_energy_fraction),
            ("distance", trip.bridged_distance_fraction),
        )
        if not isinstance(share, Unknown)
    ]
    if not known:
        return Check("--", "gaps", "the trip has not begun")
    shares = ", ".join(f"{name} {percent(share)}" for name, share in known)
    suspicious = any(share > BRIDGED_MOST for _, share in known)
    return Check("LOOK" if suspicious else "ok", "gaps", f"bridged over: {shares}")


def _water(snapshot: Snapshot, units: Units) -> Check:
    water = known_water(snapshot.set_and_drift)
    if isinstance(water, Unknown):
        return Check("--", "water", reason_text(water, units))
    return Check("ok", "water", sets_text(water, units))
