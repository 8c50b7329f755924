"""A leg: one run of a trial, straight or a lap, with its means and their standard errors."""

from dataclasses import replace
from typing import Any

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.curve.steady import standard_error
from onboard.efficiency.trial.path import Path
from onboard.efficiency.trial.seconds import Seconds

PIECE_S = 10


@dataclass(frozen=True)
class Leg:
    """One run.

    Parameters
    ----------
    setup
        The set-up's label.
    outing
        Number of its outing; water and weather belong to an outing.
    start_s, seconds_s
        Start on the clock of the outing, and duration [s].
    power_w, power_sd_w
        Battery power, mean and standard error.
    speed_mps, speed_sd_mps
        Speed over ground along its course, mean and standard error.
    east_mps, north_mps
        Velocity over ground.
    power_drift_fraction
        Relative change of power from start to end, by a straight line.
    power_swing_fraction
        Relative standard deviation of power over pieces of ten seconds.
    amps_a, volts_v, pack_degc, drive_degc, rpm, motor_amps_a, reported_amps_a
        Means, see `Seconds`; NaN if unknown.
    place
        Where it comes from, as text for people.
    lap_m
        Length of the closed course of a lap; 0 for a straight run. A lap has no course: its
        velocity is 0 east and north, and its speed is length over time.
    lap_area_m2
        Area that a lap encloses, positive clockwise: its way round and, with its length, its shape.
    """

    setup: str
    outing: int
    start_s: float
    seconds_s: float
    power_w: float
    power_sd_w: float
    speed_mps: float
    speed_sd_mps: float
    east_mps: float
    north_mps: float
    power_drift_fraction: float
    power_swing_fraction: float
    amps_a: float
    volts_v: float
    pack_degc: float = np.nan
    drive_degc: float = np.nan
    rpm: float = np.nan
    motor_amps_a: float = np.nan
    reported_amps_a: float = np.nan
    place: str = ""
    lap_m: float = 0.0
    lap_area_m2: float = 0.0

    @property
    def middle_s(self) -> float:
        """Time at its middle [s]."""
        return self.start_s + self.seconds_s / 2.0

    @property
    def course_deg(self) -> float:
        """Course made good, 0 to 360."""
        return float(np.degrees(np.arctan2(self.east_mps, self.north_mps)) % 360.0)

    def at(self, outing: int, shift_s: float) -> "Leg":
        """Return the leg as part of an outing, its clock shifted."""
        return replace(self, outing=outing, start_s=self.start_s + shift_s)


def leg(seconds: Seconds, setup: str, place: str = "") -> Leg:
    """Return the leg of some seconds on one course.

    Standard errors allow for the correlation from one second to the next (`standard_error`).

    Parameters
    ----------
    seconds
        At least one with known power and velocity.
    setup, place
        See `Leg`.
    """
    known = seconds.where(np.isfinite(seconds.power_w) & np.isfinite(seconds.east_mps))
    east, north = float(known.east_mps.mean()), float(known.north_mps.mean())
    speed = float(np.hypot(east, north))
    along = (known.east_mps * east + known.north_mps * north) / max(speed, 1e-9)
    return Leg(
        **_means(seconds, known),
        setup=setup,
        place=place,
        speed_mps=speed,
        speed_sd_mps=_standard_error(along),
        east_mps=east,
        north_mps=north,
    )


def lap_leg(seconds: Seconds, setup: str, place: str = "") -> Leg:
    """Return the leg of the seconds of one lap.

    Its speed is length over time: energy over distance is then power over speed. In a steady water
    current the speed over ground changes with the course, as the water's part along it; that is no
    noise, and so the standard error is of what is left of the speed (for the correlation, see
    `leg`).

    Parameters
    ----------
    seconds
        With known power and velocity, but for a few.
    setup, place
        See `Leg`.
    """
    known = seconds.where(np.isfinite(seconds.power_w) & np.isfinite(seconds.east_mps))
    path = Path(known)
    ends = np.array([0]), np.array([len(known)])
    lap_m, lasts_s = float(path.length_m(*ends)[0]), float(path.lasts_s(*ends)[0])
    speed = np.hypot(known.east_mps, known.north_mps)
    size = np.maximum(speed, 1e-9)
    east, north = known.east_mps / size, known.north_mps / size
    by_course = np.column_stack([np.ones(len(known)), east, north])
    left = speed - by_course @ np.linalg.lstsq(by_course, speed)[0]
    return Leg(
        **_means(seconds, known),
        setup=setup,
        place=place,
        speed_mps=lap_m / lasts_s,
        speed_sd_mps=_standard_error(left),
        east_mps=0.0,
        north_mps=0.0,
        lap_m=lap_m,
        lap_area_m2=float(path.area_m2(*ends)[0]),
    )


def _means(seconds: Seconds, known: Seconds) -> dict[str, Any]:
    """Return the means that a straight run and a lap have in common, by field of `Leg`."""
    power = known.power_w
    mean_w = float(power.mean())
    return {
        "outing": 0,
        "start_s": float(seconds.t_s[0]) - 1.0,
        "seconds_s": float(seconds.t_s[-1] - seconds.t_s[0]) + 1.0,
        "power_w": mean_w,
        "power_sd_w": _standard_error(power),
        "power_drift_fraction": _drift(known.t_s, power) / mean_w,
        "power_swing_fraction": _swing(power) / mean_w,
        "amps_a": _mean(seconds.amps_a),
        "volts_v": _mean(seconds.volts_v),
        "pack_degc": _mean(seconds.pack_degc),
        "drive_degc": _mean(seconds.drive_degc),
        "rpm": _mean(seconds.rpm),
        "motor_amps_a": _mean(seconds.motor_amps_a),
        "reported_amps_a": _mean(seconds.reported_amps_a),
    }


def _standard_error(values: FloatArray) -> float:
    return standard_error(values) if len(values) > 2 else 0.0


def _mean(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else float("nan")


def _drift(t_s: FloatArray, values: FloatArray) -> float:
    off = t_s - t_s.mean()
    square = float(off @ off)
    return float(off @ values) / square * (t_s[-1] - t_s[0]) if square > 0 else 0.0


def _swing(values: FloatArray) -> float:
    pieces = len(values) // PIECE_S
    if pieces < 2:
        return 0.0
    means = values[: pieces * PIECE_S].reshape(pieces, PIECE_S).mean(axis=1)
    return float(means.std(ddof=1))
