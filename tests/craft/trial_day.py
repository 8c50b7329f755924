"""A day of trials: legs to and fro with several set-ups, as the frames of one log.

Cheaper than a ride of the simulated craft, so that a thousand days can be simulated: the craft
follows its power within a second. It has everything that can mislead a comparison: a changing water
current, gusts, noise from run to run, a sagging pack, inaccurate sensors, a drive that keeps the
motor's current constant, a run that went wrong.
"""

import math
import struct
from dataclasses import dataclass, field

import numpy as np
import pymavlink.dialects.v20.all as dialect

from tests.craft.chance import Array, generator
from tests.craft.drive_messages import EscStatus
from tests.craft.mavlink_stream import Frame, Sender

STEP_S = 0.2
TURN_S, FREE_S = 24.0, 10.0
BOOT_S = 60.0
KV_RPM_PER_V, WINDING_OHM, NO_LOAD_A, POLE_PAIRS = 100.0, 0.05, 1.0, 7
DRIVE_EFFICIENCY_FRACTION = 0.97
LATITUDE_DEG, LONGITUDE_DEG = 45.02, -30.03
METRES_PER_DEGREE = 111_200.0


@dataclass(frozen=True)
class Setup:
    """A propeller: its effect on consumption and on the motor.

    `cost` is the extra Wh/km at equal battery power, as a fraction; torque is `torque_nm` x (rpm /
    1000)^2.
    """

    cost: float = 0.0
    torque_nm: float = 2.5


@dataclass(frozen=True)
class Day:
    """Course of the day. Times in seconds of the day, velocities along the first course."""

    setups: dict[str, Setup]
    order: tuple[str, ...]
    """Set-up of each double run."""
    power_w: float = 400.0
    setup_power_w: dict[str, float] = field(default_factory=dict)
    """Power of the set-ups run at another power."""
    held_motor_a: float | None = None
    """Motor current that the drive held constant instead of the power."""
    leg_s: float = 100.0
    legs_each: int = 2
    course_deg: float = 40.0
    current_mps: float = 0.25
    current_change_mps: float = 0.0
    """Change by the end of the day."""
    gust_sd_mps: float = 0.0
    double_run_sd: float = 0.012
    leg_sd: float = 0.004
    power_sd: float = 0.01
    """Relative deviation from leg to leg, as power is set by hand."""
    trend: float = 0.0
    """Fraction by which everything is slower by the end of the day."""
    outlier_leg: int | None = None
    outlier: float = 0.88
    start_cell_v: float = 3.95
    second_pack: tuple[str, float] | None = None
    """A set-up run on another pack, and the cell voltage of that pack."""
    warm: tuple[str, float] | None = None
    """A set-up run with the pack at another temperature [degC]."""
    drive_telemetry: str = "none"
    """`motor` (rpm and motor current), `input` (magnetic rpm and input current) or `none`."""
    current_scale: float = 1.01
    voltage_scale: float = 0.998


@dataclass(frozen=True)
class Made:
    """A day's frames and its truth."""

    frames: list[Frame]
    legs: list[tuple[str, float, float]]
    """Set-up, start and end [s] of each leg, as noted by the rider."""
    speed_mps: dict[str, float]
    """True speed through the water of each set-up at the day's power."""

    def wh_per_km(self, name: str, power_w: float) -> float:
        """Return a set-up's true consumption at the power of comparison (near the day's power)."""
        return power_w / 3.6 / self.speed_mps[name]


def speed_at(power_w: float, cost: float) -> float:
    """Return the speed through the water, by hotel load, friction and steeply rising wave drag."""
    speeds = np.linspace(0.3, 4.0, 400)
    powers = 12.0 + 26.0 * speeds**2.82 + 3.0 * speeds**4.5
    return float(np.interp(power_w, powers, speeds)) / (1.0 + cost)


def power_at_motor(motor_a: float, torque_nm: float) -> float:
    """Return the battery power at a motor current with a propeller."""
    return (
        (motor_a * WINDING_OHM + _rpm_at(motor_a, torque_nm) / KV_RPM_PER_V)
        * motor_a
        / (DRIVE_EFFICIENCY_FRACTION)
    )


def motor_at(power_w: float, torque_nm: float) -> tuple[float, float]:
    """Return rpm and motor current at a battery power."""
    low, high = NO_LOAD_A + 1e-6, 400.0
    for _ in range(60):
        middle = (low + high) / 2.0
        if power_at_motor(middle, torque_nm) < power_w:
            low = middle
        else:
            high = middle
    return _rpm_at(low, torque_nm), low


def _rpm_at(motor_a: float, torque_nm: float) -> float:
    newton_metres = (motor_a - NO_LOAD_A) * 60.0 / (2.0 * math.pi * KV_RPM_PER_V)
    return 1000.0 * math.sqrt(newton_metres / torque_nm)


def make(day: Day, seed: int) -> Made:
    """Return the frames and truth of a day."""
    rng = generator(seed, "trial day")
    truth = {name: speed_at(day.power_w, one.cost) for name, one in day.setups.items()}
    rows: list[Array] = []
    legs: list[tuple[str, float, float]] = []
    t_s, length_s = FREE_S, len(day.order) * day.legs_each * (day.leg_s + TURN_S)
    for number, name in enumerate(day.order):
        run = day.double_run_sd * rng.standard_normal() - day.trend * number / len(day.order)
        for leg in range(day.legs_each):
            back = (number * day.legs_each + leg) % 2
            power, speed = _leg(day, name, run, len(legs), rng)
            course = day.course_deg + 180.0 * back
            sign = -1.0 if back else 1.0
            count = round((day.leg_s + TURN_S) / STEP_S)
            when = t_s + np.arange(count) * STEP_S
            rows.append(_rows(day, name, when, (power, speed, course, sign, length_s), rng))
            legs.append((name, t_s + TURN_S, t_s + TURN_S + day.leg_s))
            t_s += count * STEP_S
    columns = np.concatenate(rows)
    return Made(frames_of(day, columns), legs, truth)


def _leg(
    day: Day, name: str, run: float, number: int, rng: np.random.Generator
) -> tuple[float, float]:
    setup = day.setups[name]
    power = day.setup_power_w.get(name, day.power_w) * math.exp(
        day.power_sd * rng.standard_normal()
    )
    if day.held_motor_a is not None:
        power = power_at_motor(day.held_motor_a, setup.torque_nm)
    noise = run + day.leg_sd * rng.standard_normal()
    if number == day.outlier_leg:
        noise += math.log(day.outlier)
    return power, speed_at(power, setup.cost) * math.exp(noise)


def _rows(
    day: Day,
    name: str,
    when: Array,
    leg: tuple[float, float, float, float, float],
    rng: np.random.Generator,
) -> Array:
    """Return time, power, velocity, volts, pack temperature, rpm and motor current of one leg.

    The turn comes first: the craft turns at half its power and settles within a few seconds.
    """
    power_w, speed_mps, course_deg, sign, length_s = leg
    count, turn = len(when), round(TURN_S / STEP_S)
    into = np.clip((np.arange(count) * STEP_S - (TURN_S - 9.0)) / 3.0, 0.0, 1.0)
    ripple = 0.04 * np.sin(2.0 * np.pi * when / 2.7 + rng.uniform(0.0, 6.0))
    power = power_w * (0.5 + 0.5 * into) * (1.0 + ripple)
    lag = np.clip((np.arange(count) * STEP_S - (TURN_S - 8.0)) / 7.0, 0.0, 1.0)
    through = speed_mps * (0.75 + 0.25 * lag) * (1.0 + 0.02 * np.roll(ripple / 0.04, 3))
    gust = day.gust_sd_mps * rng.standard_normal()
    water = day.current_mps + day.current_change_mps * when / length_s + gust
    swing = 180.0 * np.clip((turn - 60 - np.arange(count)) / 40.0, 0.0, 1.0)
    heading = np.radians(course_deg - swing + 2.0 * np.sin(2.0 * np.pi * when / 6.1))
    line = math.radians(course_deg if sign > 0 else course_deg - 180.0)
    noise = 0.03 * _remembering(rng, count, 0.9)
    east = through * np.sin(heading) + water * math.sin(line) + noise
    north = (
        through * np.cos(heading) + water * math.cos(line) + 0.03 * _remembering(rng, count, 0.9)
    )
    cell_v = day.start_cell_v - 0.12 * when / length_s
    if day.second_pack and name == day.second_pack[0]:
        cell_v = day.second_pack[1] - 0.12 * when / length_s
    volts = 7.0 * cell_v - 0.06 * power / 25.0
    warm = day.warm[1] if day.warm and name == day.warm[0] else 24.0
    rpm, amps = motor_at(power_w, day.setups[name].torque_nm)
    return np.column_stack(
        [
            when, power, east, north, volts, np.full(count, warm) + when / length_s,
            rpm * (0.7 + 0.3 * into) * (1.0 + 0.003 * rng.standard_normal(count)),
            amps * (0.55 + 0.45 * into) * (1.0 + 0.006 * rng.standard_normal(count)),
        ]
    )  # fmt: skip


def _remembering(rng: np.random.Generator, count: int, memory: float) -> Array:
    """Return correlated noise of unit variance, like that of a receiver's velocity."""
    white = rng.standard_normal(count) * math.sqrt(1.0 - memory**2)
    values = np.empty(count)
    last = float(rng.standard_normal())
    for n, step in enumerate(white.tolist()):
        last = memory * last + step
        values[n] = last
    return values


def frames_of(day: Day, columns: Array) -> list[Frame]:
    """Return the frames of samples, whose columns are those of `_rows`."""
    sender = Sender(1, 1, 2)
    east = (
        np.cumsum(columns[:, 2]) * STEP_S / METRES_PER_DEGREE / math.cos(math.radians(LATITUDE_DEG))
    )
    north = np.cumsum(columns[:, 3]) * STEP_S / METRES_PER_DEGREE
    frames: list[Frame] = []
    for n, row in enumerate(columns.tolist()):
        t_s = row[0] - FREE_S
        for message in _messages(day, n, row, (LATITUDE_DEG + north[n], LONGITUDE_DEG + east[n])):
            frames.append(Frame(t_s + 0.01, sender.pack(message)))
    return frames


def _messages(
    day: Day, n: int, row: list[float], place: tuple[float, float]
) -> list[dialect.MAVLink_message]:
    t_s, power, east, north, volts, warm, rpm, motor_a = row
    boot_ms = round((BOOT_S + t_s) * 1e3)
    volts_said = volts * day.voltage_scale
    amps = power / volts * day.current_scale
    found: list[dialect.MAVLink_message] = []
    if n % 5 == 0:
        found.append(dialect.MAVLink_heartbeat_message(11, 3, 0, 0, 4, 3))
        found.append(dialect.MAVLink_system_time_message(0, boot_ms))
        cells = [round(volts_said * 1e3), *([65535] * 9)]
        found.append(
            dialect.MAVLink_battery_status_message(
                0, 0, 0, round(warm * 100), cells, round(amps * 100), -1, -1, -1
            )
        )
    if n % 2 == 0:
        found.append(
            dialect.MAVLink_sys_status_message(
                0, 0, 0, 200, round(volts_said * 1e3), round(amps * 100), -1, 0, 0, 0, 0, 0, 0
            )
        )
    if n % 3 == 0:
        if day.drive_telemetry == "motor":
            found.append(_esc_status(boot_ms, rpm, volts_said, motor_a))
        elif day.drive_telemetry == "input":
            found.append(
                dialect.MAVLink_esc_telemetry_1_to_4_message(
                    [round(warm), 0, 0, 0], [round(volts_said * 100), 0, 0, 0],
                    [round(power / volts * 100), 0, 0, 0], [0, 0, 0, 0],
                    [round(rpm * POLE_PAIRS), 0, 0, 0], [n % 65536, 0, 0, 0],
                )
            )  # fmt: skip
    speed, course = math.hypot(east, north), math.degrees(math.atan2(east, north)) % 360.0
    found.append(
        dialect.MAVLink_gps_raw_int_message(
            boot_ms * 1000, 3, round(place[0] * 1e7), round(place[1] * 1e7), 0, 90, 120,
            round(speed * 100), round(course * 100) % 36000, 14,
        )
    )  # fmt: skip
    return found


def _esc_status(boot_ms: int, rpm: float, volts: float, amps: float) -> EscStatus:
    return EscStatus(
        struct.pack(
            "<Q4i4f4fB",
            boot_ms * 1000,
            round(rpm), 0, 0, 0,
            volts, 0.0, 0.0, 0.0,
            amps, 0.0, 0.0, 0.0,
            0,
        )
    )  # fmt: skip
