"""The rider: a plan of legs, and control of throttle and helm."""

import math
from dataclasses import dataclass
from enum import Enum


class Steer(Enum):
    """How a leg is steered."""

    COURSE = "course"
    HOME = "home"
    """Towards the start of the ride; the leg ends on arrival."""
    MADE_FAST = "made fast"
    """At a mooring or an anchor."""


@dataclass(frozen=True)
class Leg:
    """A part of the plan: at a power, a speed over ground, or a throttle; or none (drifting).

    A throttle sets the drive's duty or the motor's current, whichever the drive controls.
    """

    name: str
    duration_s: float
    course_deg: float = 0.0
    power_w: float | None = None
    """Power into the drive, without the hotel load."""
    speed_mps: float | None = None
    ramp_s: float = 4.0
    """Time from the previous throttle setting to the new one."""
    steer: Steer = Steer.COURSE
    duty: float | None = None
    """Motor voltage over battery voltage: power falls as the pack sags."""
    motor_amps_a: float | None = None
    """Current of the motor, not of the battery."""


@dataclass(frozen=True)
class Rider:
    """How the rider controls the craft."""

    max_power_w: float
    power_gain: float = 60.0
    """Speed control: watts per second for each m/s of error and each m/s of target speed."""
    perception_s: float = 2.5
    """Time constant with which the rider perceives the speed ..."""
    lead_s: float = 6.0
    """... and how far ahead the rider extrapolates its trend, without which it would oscillate."""
    turn_degps: float = 12.0
    """Fastest rate of turn."""
    helm_per_s: float = 0.5
    arrival_m: float = 12.0


def throttle_w(
    rider: Rider,
    leg: Leg,
    *,
    in_leg_s: float,
    start_w: float,
    now_w: float,
    soon_mps: float,
    step_s: float,
    held_w: float | None = None,
) -> float:
    """Return the drive's power for this step.

    A leg at a power ramps there from `start_w` and stays; a leg at a throttle does the same to
    `held_w`, the power that this throttle takes at present. A leg at a speed moves the throttle
    from `now_w` while the predicted speed, `soon_mps`, is off.
    """
    if leg.speed_mps is None:
        goal_w = min(leg.power_w or 0.0 if held_w is None else held_w, rider.max_power_w)
        share = 1.0 if leg.ramp_s <= 0.0 else min(in_leg_s / leg.ramp_s, 1.0)
        return start_w + share * (goal_w - start_w)
    rate_wps = rider.power_gain * leg.speed_mps * (leg.speed_mps - soon_mps)
    # The throttle is never faster than the ramp, whatever the error.
    limit_wps = rider.max_power_w / max(leg.ramp_s, 0.5) / 3.0
    rate_wps = min(max(rate_wps, -limit_wps), limit_wps)
    return min(max(now_w + rate_wps * step_s, 0.0), rider.max_power_w)


def turn_wish_radps(rider: Rider, course_rad: float, made_good_rad: float) -> float:
    """Return the rate of turn that brings the course made good to the desired course."""
    off = (course_rad - made_good_rad + math.pi) % (2.0 * math.pi) - math.pi
    fastest = math.radians(rider.turn_degps)
    return min(max(rider.helm_per_s * off, -fastest), fastest)
