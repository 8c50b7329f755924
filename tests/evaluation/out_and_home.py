"""A trip out until the pilot turns back, and home: how much energy is left at home?"""

from dataclasses import replace
from typing import Any

from tests.craft.battery import OverloadError, rest_energy_wh
from tests.craft.rider import Leg, Steer
from tests.craft.step import COLUMNS
from tests.craft.voyage import Voyage
from tests.evaluation.pilots import Pilot
from tests.evaluation.rides import start
from tests.evaluation.truth import VOLTS
from tests.evaluation.world import World

EVERY_OUT_S = 15.0
EVERY_HOME_S = 30.0
LONGEST_OUT_S, LONGEST_S = 2.4 * 3600.0, 6.0 * 3600.0
FOLLOW = 0.02
"""Relative change of the advised speed from which the rider follows it."""

EASED_POWER, EASED_SPEED = 0.85, 0.94
"""Shares of power and speed held when told to ease; power is about the third power of speed."""

CHARGE = COLUMNS.index("charge_fraction")


class StrandedError(Exception):
    """The pack gave out."""


def trip(world: World, leg: Leg, pilot: Pilot) -> dict[str, Any]:
    """Ride a leg out until the pilot turns back, then home at the pilot's speed."""
    voyage, telemetry = start(world, LONGEST_S)
    voyage.begin(leg)
    arrival_m = world.ride.rider.arrival_m
    result: dict[str, Any] = {"craft": world.name, "stranded": False}
    asked = False
    try:
        while voyage.time_s < LONGEST_OUT_S:
            ride_on(voyage, EVERY_OUT_S, world)
            pilot.observe(telemetry.block())
            turn = pilot.turn_back(voyage.home_m)
            asked = asked or turn is not None
            if pilot.ease():
                leg = _eased(leg)
                voyage.begin(leg)
            if turn and voyage.home_m > 2.0 * arrival_m:
                break
            if not asked and voyage.time_s > 900.0:
                break
        if not asked:
            return {"craft": world.name, "why": "no advice in the first 15 minutes"}
        result["out_m"], result["turned_s"] = voyage.home_m, voyage.time_s
        homeward = replace(leg, name="home", steer=Steer.HOME)
        homeward = _at_speed(homeward, pilot.home_speed_mps())
        voyage.begin(homeward)
        while voyage.home_m > arrival_m and voyage.index < voyage.count:
            ride_on(voyage, EVERY_HOME_S, world, arrival_m)
            pilot.observe(telemetry.block())
            advised_mps = pilot.home_speed_mps()
            if pilot.ease():
                homeward = _eased(homeward)
                voyage.begin(homeward)
            elif advised_mps and abs(advised_mps / (homeward.speed_mps or 1e9) - 1.0) > FOLLOW:
                homeward = _at_speed(homeward, advised_mps)
                voyage.begin(homeward)
    except (StrandedError, OverloadError):
        result["stranded"] = True
    if not asked:
        return {"craft": world.name, "why": "no advice on the way out"}
    pack = world.craft.battery
    left = rest_energy_wh(pack, voyage.state.charge_fraction) / rest_energy_wh(pack, 1.0)
    return {
        **result,
        "home_m": voyage.home_m,
        "late": not result["stranded"] and voyage.home_m > arrival_m,
        "took_s": voyage.time_s,
        "home_speed_mps": pilot.home_speed_mps(),
        "surplus": left - world.stated.reserve_fraction,
    }


def _at_speed(leg: Leg, speed_mps: float | None) -> Leg:
    return leg if speed_mps is None else replace(leg, power_w=None, speed_mps=speed_mps)


def _eased(leg: Leg) -> Leg:
    """Return a leg ridden more gently, as long as the voltage is near its cut-off."""
    if leg.speed_mps is not None:
        return replace(leg, speed_mps=EASED_SPEED * leg.speed_mps)
    return replace(leg, power_w=EASED_POWER * (leg.power_w or 0.0))


def ride_on(voyage: Voyage, seconds_s: float, world: World, arrival_m: float = 0.0) -> None:
    """Ride on for a time, or until home; raise `StrandedError` when the pack gives out."""
    for _ in range(round(seconds_s / voyage.step_s)):
        if voyage.index >= voyage.count or voyage.home_m < arrival_m:
            return
        row = voyage.one_step()
        # Charge can run out before the voltage falls below the cut-off under a small load.
        if row[VOLTS] < world.stated.cutoff_v or row[CHARGE] <= 0.0:
            raise StrandedError
