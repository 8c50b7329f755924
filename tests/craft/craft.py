"""The whole craft, a ride to make with it, and the state passed from step to step."""

from dataclasses import dataclass

from tests.craft.battery import Battery
from tests.craft.hull import Hull
from tests.craft.motor import Motor
from tests.craft.propeller import Propeller
from tests.craft.rider import Leg, Rider
from tests.craft.water import Water


@dataclass(frozen=True)
class Craft:
    """A craft with its drive train and battery."""

    hull: Hull
    propeller: Propeller
    motor: Motor
    battery: Battery
    hotel_w: float
    """Power of everything except the drive."""
    drive_idle_degc: float = 17.0
    drive_degc_per_w: float = 0.45
    """Steady temperature rise of the drive per watt lost."""
    drive_warm_s: float = 180.0


@dataclass(frozen=True)
class Ride:
    """A craft, its rider, the water and a plan: everything a simulation needs except its seed."""

    craft: Craft
    water: Water
    rider: Rider
    plan: tuple[Leg, ...]
    latitude_deg: float
    longitude_deg: float


@dataclass
class State:
    """The state passed from one step to the next."""

    heading_rad: float
    charge_fraction: float
    pack_degc: float
    drive_degc: float
    turn_radps: float = 0.0
    water_mps: float = 0.0
    """Speed through the water, along the craft."""
    east_m: float = 0.0
    north_m: float = 0.0
    east_mps: float = 0.0
    north_mps: float = 0.0
    throttle_w: float = 0.0
    seen_mps: float = 0.0
    """Speed over ground as the rider perceives it, and its trend."""
    trend_mps2: float = 0.0
    turns_per_s: float = 1.0
    slow_sag_v: float = 0.0
    slower_sag_v: float = 0.0
    volts_v: float | None = None
    """Battery voltage of the previous step."""
    last_amps_a: float | None = None
    """Current of the previous step."""


@dataclass(frozen=True)
class Moment:
    """Inputs from outside the craft at one step."""

    leg: Leg
    in_leg_s: float
    leg_start_w: float
    """Throttle when the leg began: its ramp starts there."""
    swing_rad: float
    """Phase of the swing on a rope."""
    current_east_mps: float
    current_north_mps: float
    wind_east_mps: float
    wind_north_mps: float
    wave_mps2: float
