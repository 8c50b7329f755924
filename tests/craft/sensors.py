"""The craft's sensors and their errors: power monitor, GPS and heading."""

import math
from dataclasses import dataclass, replace

import numpy as np

from tests.craft.chance import Array, gauss_markov, generator
from tests.craft.earth import radii_m
from tests.craft.truth import SECONDS_PER_HOUR, Truth, running_integral

FUSED_MEMORY_S = 0.8
"""Time constant with which the autopilot's own velocity smooths the GPS's error [s]."""


@dataclass(frozen=True)
class Sensors:
    """The errors of one set of sensors. Truth = scale x reported value + offset."""

    current_scale: float = 1.0
    current_offset_a: float = 0.0
    current_noise_a: float = 0.03
    voltage_scale: float = 1.0
    voltage_noise_v: float = 0.01
    position_sd_m: float = 1.2
    """Of each axis; correlated over `position_memory_s`."""
    position_memory_s: float = 90.0
    position_noise_m: float = 0.03
    velocity_sd_mps: float = 0.04
    """Of each axis of the GPS's Doppler velocity; correlated over `velocity_memory_s`."""
    velocity_memory_s: float = 2.0
    velocity_noise_mps: float = 0.02
    heading_offset_deg: float = 0.0
    heading_sd_deg: float = 1.0
    heading_memory_s: float = 20.0
    gps_latency_s: float = 0.1
    """Age of a fix when its message is sent."""


@dataclass(frozen=True)
class Readings:
    """Readings at each step, before any message rounds them."""

    volts_v: Array
    amps_a: Array
    used_ah: Array
    used_wh: Array
    latitude_deg: Array
    longitude_deg: Array
    east_mps: Array
    north_mps: Array
    """Of the GPS."""
    fused_east_mps: Array
    fused_north_mps: Array
    """Of the autopilot, from GPS and inertial sensors."""
    heading_deg: Array


def drawn(
    seed: int,
    like: Sensors | None = None,
    current_scale_sd: float = 0.02,
    voltage_scale_sd: float = 0.005,
    current_offset_sd_a: float = 0.0,
) -> Sensors:
    """Draw a set of sensors from the stated uncertainties: scales about 1, offset about 0."""
    rng = generator(seed, "sensor scales")
    return replace(
        like or Sensors(),
        current_scale=1.0 + current_scale_sd * float(rng.standard_normal()),
        voltage_scale=1.0 + voltage_scale_sd * float(rng.standard_normal()),
        current_offset_a=current_offset_sd_a * float(rng.standard_normal()),
    )


def read(truth: Truth, sensors: Sensors, seed: int) -> Readings:
    """Return the readings of a truth."""
    count, step_s = len(truth.time_s), truth.step_s
    power, gps = generator(seed, "power monitor"), generator(seed, "gps")
    amps = (truth.amps_a - sensors.current_offset_a) / sensors.current_scale
    amps = amps + sensors.current_noise_a * power.standard_normal(count)
    amps = np.maximum(amps, 0.0)  # the sensor cannot read below zero
    volts = truth.volts_v / sensors.voltage_scale
    volts = volts + sensors.voltage_noise_v * power.standard_normal(count)

    def wander(sd: float, memory_s: float) -> Array:
        return gauss_markov(count, step_s, sd, memory_s, gps)

    along, across = radii_m(truth.latitude_deg)
    off_north = wander(sensors.position_sd_m, sensors.position_memory_s)
    off_east = wander(sensors.position_sd_m, sensors.position_memory_s)
    off_north = off_north + sensors.position_noise_m * gps.standard_normal(count)
    off_east = off_east + sensors.position_noise_m * gps.standard_normal(count)
    error_east = wander(sensors.velocity_sd_mps, sensors.velocity_memory_s)
    error_north = wander(sensors.velocity_sd_mps, sensors.velocity_memory_s)
    error_east = error_east + sensors.velocity_noise_mps * gps.standard_normal(count)
    error_north = error_north + sensors.velocity_noise_mps * gps.standard_normal(count)
    compass = gauss_markov(
        count, step_s, sensors.heading_sd_deg, sensors.heading_memory_s, generator(seed, "compass")
    )
    return Readings(
        volts,
        amps,
        running_integral(amps, step_s) / SECONDS_PER_HOUR,
        running_integral(amps * volts, step_s) / SECONDS_PER_HOUR,
        truth.latitude_deg + np.degrees(off_north / along),
        truth.longitude_deg
        + np.degrees(off_east / (across * np.cos(np.radians(truth.latitude_deg)))),
        truth.east_mps + error_east,
        truth.north_mps + error_north,
        truth.east_mps + _smooth(error_east, step_s),
        truth.north_mps + _smooth(error_north, step_s),
        (np.degrees(truth.heading_rad) + sensors.heading_offset_deg + compass) % 360.0,
    )


def reported_energy_wh(truth: Truth, sensors: Sensors) -> float:
    """Return the energy by an ideal, fast sensor with these scales and offset, without noise."""
    amps = (truth.amps_a - sensors.current_offset_a) / sensors.current_scale
    power = amps * truth.volts_v / sensors.voltage_scale
    return float(running_integral(power, truth.step_s)[-1]) / SECONDS_PER_HOUR


def _smooth(series: Array, step_s: float) -> Array:
    keep = math.exp(-step_s / FUSED_MEMORY_S)
    value, smooth = float(series[0]), []
    for new in series.tolist():
        value = keep * value + (1.0 - keep) * new
        smooth.append(value)
    return np.array(smooth)
