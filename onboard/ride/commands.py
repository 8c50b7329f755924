"""Viewers' commands applied to a ride, live and when a record is refolded."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from onboard.contract.commands import HERE, TARGETS, Command, Mark, Refused, Set, TrialPlan
from onboard.contract.figure import Unknown
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.profile import Profile
from onboard.ride.ride import Ride

NewTrip = Callable[[], Refusal | None]
"""Begins a new trip; returns a refusal, None when done."""


def apply_command(command: Command, ride: Ride, new_trip: NewTrip) -> Refusal | None:
    """Apply a command to a ride, all of it or nothing.

    Parameters
    ----------
    command
        The viewer's command.
    ride
        The ride.
    new_trip
        Called for the mark `new_trip`, which no ride can do by itself.

    Returns
    -------
    Refusal or None
        Why it is refused; None when done.
    """
    placed = with_place(command, ride)
    if isinstance(placed, Refused):
        return placed.why
    if isinstance(placed, Mark):
        return _mark(placed, ride, new_trip)
    return _set(placed, ride)


def with_place(command: Command, ride: Ride) -> Command | Refused:
    """Return a command with "here" replaced by the craft's position, which fixes its meaning."""
    if not (isinstance(command, Set) and command.key == "home" and command.value == HERE):
        return command
    position = ride.engine.instruments.position_deg()
    if isinstance(position, Unknown):
        return Refused(command.id, _not_known("position_deg", position))
    latitude, longitude = position
    return replace(command, value=(latitude, longitude))


def settings_in_force(ride: Ride, profile: Profile) -> list[Set]:
    """Return the settings that stay in force on the next trip, as commands.

    Set-up, reserve, and a trial with its power stay; other targets and the home point belong to one
    trip.
    """
    found: list[Set] = []
    engine = ride.engine
    if engine.learner.setup != PLAIN_SETUP:
        found.append(Set(0, "setup", engine.learner.setup))
    reserve = engine.reserve_fraction
    if profile.battery and reserve != profile.battery.reserve_fraction:
        assert isinstance(reserve, float)
        found.append(Set(0, "reserve_fraction", reserve))
    if ride.trial is not None:
        found.append(Set(0, "trial", ride.trial))
        if (power_w := engine.adviser.aim.power_w) is not None:
            found.append(Set(0, "target_power_w", power_w))
    return found


def _mark(command: Mark, ride: Ride, new_trip: NewTrip) -> Refusal | None:
    engine = ride.engine
    if command.mark == "new_trip":
        return new_trip()
    if command.mark in {"charged_full", "charged"}:
        if isinstance(engine.reserve_fraction, Unknown):
            return _not_known("battery", engine.reserve_fraction)
        if command.amount is None:
            engine.charged_full()
        else:
            engine.charged(command.amount)
    elif command.mark == "run_start":
        engine.start_run()
    elif command.mark == "run_end":
        engine.end_run()
    elif command.mark == "unplugged":
        return engine.unplug(command.source)
    # A note changes no figure: it is recorded for the review.
    return None


def _set(command: Set, ride: Ride) -> Refusal | None:
    engine, value = ride.engine, command.value
    if command.key in TARGETS:
        engine.set_aim(_aim(command, engine.adviser.aim))
    elif command.key == "home":
        assert isinstance(value, tuple)
        engine.set_home(*value)
    elif command.key == "trial":
        assert value is None or isinstance(value, TrialPlan)
        ride.trial = value
    elif command.key == "setup":
        assert isinstance(value, str)
        try:
            engine.select_setup(value)
        except np.linalg.LinAlgError:
            return Refusal(RefusalCode.CURVE_NOT_READY)
    else:
        assert isinstance(value, float)
        if isinstance(engine.reserve_fraction, Unknown):
            return _not_known("battery", engine.reserve_fraction)
        engine.set_reserve(value)
    return None


def _not_known(key: str, unknown: Unknown) -> Refusal:
    return Refusal(RefusalCode.NOT_KNOWN, key=key, reason=unknown.code.code)


def _aim(command: Set, before: Aim) -> Aim:
    """Return the aim after setting a target: it replaces any other, and null clears its kind."""
    value = command.value
    assert value is None or isinstance(value, float)
    return replace(
        before if value is None else Aim(), **{command.key.removeprefix("target_"): value}
    )
