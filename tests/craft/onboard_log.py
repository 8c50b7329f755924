"""The autopilot's own log of a simulated ride, from the same truth and readings as its stream."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.craft.chance import Array, generator
from tests.craft.onboard_kinds import (
    ARM,
    ATT,
    BAT,
    ESC,
    GPA,
    GPS,
    IMU,
    KINDS,
    MODE,
    MSG,
    PARM,
    THR,
    VIBE,
    XKF1,
    descriptions,
)
from tests.craft.recording import Recording
from tests.craft.sensors import Readings, Sensors, read
from tests.craft.truth import Truth

Steps = NDArray[np.int64]

Part = tuple[Array, np.ndarray[Any, Any]]
"""Times [us] and records."""

GPS_EPOCH_UNIX_S = 315_964_800
LEAP_S = 18
WEEK_S = 604_800


RATES_HZ: Mapping[str, float] = {
    "BAT": 10.0,
    "GPS": 5.0,
    "GPA": 5.0,
    "ATT": 25.0,
    "XKF1": 10.0,
    "ESC": 10.0,
    "THR": 5.0,
    "IMU": 25.0,
    "VIBE": 10.0,
}
"""Records not listed are not written periodically."""

PARAMETERS = {"LOG_BITMASK": 65535.0, "BATT_MONITOR": 4.0, "CRUISE_SPEED": 2.2}


@dataclass(frozen=True)
class Logged:
    """What the records of one ride are made from."""

    truth: Truth
    readings: Readings
    sensors: Sensors
    recording: Recording
    rng: np.random.Generator

    def time_us(self, time_s: Array | float) -> Any:
        """Return the boot clock at times of the ride [us]."""
        return np.rint((self.recording.scenario.options.boot_s + np.asarray(time_s)) * 1e6)


def onboard_log_bytes(recording: Recording, rates_hz: Mapping[str, float] = RATES_HZ) -> bytes:
    """Return the on-board log of a ride."""
    scenario, truth = recording.scenario, recording.truth
    logged = Logged(
        truth,
        read(truth, scenario.sensors, recording.seed),
        scenario.sensors,
        recording,
        generator(recording.seed, "on-board log"),
    )
    first_us = int(logged.time_us(0.0))
    head = [descriptions(KINDS, first_us)]
    head += [
        PARM.record(TimeUS=first_us, Name=name.encode(), Value=value, Default=np.nan)
        for name, value in PARAMETERS.items()
    ]
    head += [
        MODE.record(TimeUS=first_us, Mode=0, ModeNum=0, Rsn=1),
        ARM.record(TimeUS=first_us, ArmState=1, Method=1),
    ]
    return b"".join(head) + _in_order(_regular(logged, rates_hz) + _texts(logged))


def _regular(logged: Logged, rates_hz: Mapping[str, float]) -> list[Part]:
    """Return times and records of each periodic type, made from the nearest step."""
    step_s = logged.truth.step_s
    parts = []
    for name, make in MAKERS.items():
        rate_hz = rates_hz.get(name, 0.0)
        if rate_hz <= 0.0:
            continue
        time_s = np.arange(int(logged.truth.duration_s * rate_hz) + 1) / rate_hz
        at = np.rint(time_s / step_s).astype(np.int64)
        time_us = logged.time_us(time_s)
        parts.append((time_us, make(logged, at, time_us)))
    return parts


def _texts(logged: Logged) -> list[Part]:
    parts = []
    for at_s, words in logged.recording.scenario.options.texts:
        time_us = logged.time_us(np.array([at_s]))
        parts.append((time_us, MSG.records(1, TimeUS=time_us, Message=words.encode("ascii"))))
    return parts


def _in_order(parts: list[Part]) -> bytes:
    """Join records of several types in order of time."""
    time_us = np.concatenate([at for at, _ in parts])
    length = np.concatenate([np.full(len(at), records.shape[1]) for at, records in parts])
    order = np.argsort(time_us, kind="stable")
    start = np.empty(len(time_us), np.int64)
    start[order] = np.cumsum(length[order]) - length[order]
    data = np.empty(int(length.sum()), np.uint8)
    done = 0
    for at, records in parts:
        mine = start[done : done + len(at)]
        data[mine[:, None] + np.arange(records.shape[1])] = records
        done += len(at)
    return data.tobytes()


def _bat(logged: Logged, at: Steps, time_us: Array) -> Any:
    readings, scenario = logged.readings, logged.recording.scenario
    battery = scenario.ride.craft.battery
    used = readings.used_ah[at] / battery.capacity_ah
    return BAT.records(
        len(at),
        TimeUS=time_us,
        Volt=readings.volts_v[at],
        VoltR=readings.volts_v[at] + battery.resistance_ohm * readings.amps_a[at],
        Curr=readings.amps_a[at],
        CurrTot=readings.used_ah[at] * 1e3,
        EnrgTot=readings.used_wh[at],
        Temp=logged.truth.pack_degc[at],
        Res=battery.resistance_ohm,
        RemPct=np.clip(np.rint(100.0 * (battery.start_fraction - used)), 0, 100),
        H=1,
        SH=100,
    )


def _fix(logged: Logged, at: Steps) -> tuple[Steps, Any]:
    """Return the steps at which the fixes were taken, and which records have a fix."""
    age = round(logged.sensors.gps_latency_s / logged.truth.step_s)
    first_fix_s = logged.recording.scenario.options.first_fix_s
    return np.maximum(at - age, 0), logged.truth.time_s[at] >= first_fix_s


def _gps(logged: Logged, at: Steps, time_us: Array) -> Any:
    fixed_at, has = _fix(logged, at)
    readings = logged.readings
    east, north = readings.east_mps[fixed_at], readings.north_mps[fixed_at]
    unix_s = logged.recording.scenario.start_unix_s + logged.truth.time_s[fixed_at]
    gps_ms = np.rint((unix_s - GPS_EPOCH_UNIX_S + LEAP_S) * 1e3)
    return GPS.records(
        len(at),
        TimeUS=time_us,
        Status=np.where(has, 3, 1),
        GMS=np.where(has, gps_ms % (WEEK_S * 1e3), 0),
        GWk=np.where(has, gps_ms // (WEEK_S * 1e3), 0),
        NSats=np.where(has, 14, 0),
        HDop=np.where(has, 0.85, 99.99),
        Lat=np.where(has, readings.latitude_deg[fixed_at], 0.0),
        Lng=np.where(has, readings.longitude_deg[fixed_at], 0.0),
        Alt=np.where(has, 0.6, 0.0),
        Spd=np.where(has, np.hypot(east, north), 0.0),
        GCrs=np.where(has, np.degrees(np.arctan2(east, north)) % 360.0, 0.0),
        U=1,
    )


def _gpa(logged: Logged, at: Steps, time_us: Array) -> Any:
    _, has = _fix(logged, at)
    sensors = logged.sensors
    position_m = np.hypot(sensors.position_sd_m, sensors.position_noise_m)
    speed_mps = np.hypot(sensors.velocity_sd_mps, sensors.velocity_noise_mps)
    return GPA.records(
        len(at),
        TimeUS=time_us,
        VDop=np.where(has, 1.2, 99.99),
        HAcc=np.where(has, position_m, 0.0),
        VAcc=np.where(has, 2.1, 0.0),
        SAcc=np.where(has, speed_mps, 0.0),
        VV=1,
        SMS=time_us // 1000,
        Delta=200,
    )


def _att(logged: Logged, at: Steps, time_us: Array) -> Any:
    turn = logged.truth.turn_radps[at]
    return ATT.records(
        len(at),
        TimeUS=time_us,
        Roll=np.degrees(0.3 * turn),
        Pitch=np.degrees(0.01),
        Yaw=logged.readings.heading_deg[at],
    )


def _xkf1(logged: Logged, at: Steps, time_us: Array) -> Any:
    readings = logged.readings
    return XKF1.records(
        len(at),
        TimeUS=time_us,
        Roll=np.degrees(0.3 * logged.truth.turn_radps[at]),
        Pitch=np.degrees(0.01),
        Yaw=readings.heading_deg[at],
        VN=readings.fused_north_mps[at],
        VE=readings.fused_east_mps[at],
    )


def _esc(logged: Logged, at: Steps, time_us: Array) -> Any:
    truth = logged.truth
    rpm = truth.motor_rpm[at] * logged.recording.scenario.ride.craft.motor.pole_pairs
    return ESC.records(
        len(at),
        TimeUS=time_us,
        RPM=rpm,
        RawRPM=rpm,
        Volt=truth.volts_v[at],
        Curr=truth.drive_w[at] / truth.volts_v[at],
        Temp=truth.drive_degc[at],
        CTot=logged.readings.used_ah[at] * 1e3,
    )


def _thr(logged: Logged, at: Steps, time_us: Array) -> Any:
    most_w = logged.recording.scenario.ride.rider.max_power_w
    percent = np.rint(100.0 * logged.truth.drive_w[at] / most_w)
    return THR.records(len(at), TimeUS=time_us, ThrIn=percent, ThrOut=percent)


def _imu(logged: Logged, at: Steps, time_us: Array) -> Any:
    """Return noise, as only its size and bytes matter."""
    noise = logged.rng.normal(0.0, 0.2, (6, len(at)))
    names = ("GyrX", "GyrY", "GyrZ", "AccX", "AccY", "AccZ")
    return IMU.records(
        len(at),
        TimeUS=time_us,
        T=45.0,
        GH=1,
        AH=1,
        **dict(zip(names, noise, strict=True)),
    )


def _vibe(logged: Logged, at: Steps, time_us: Array) -> Any:
    noise = np.abs(logged.rng.normal(0.0, 5.0, (3, len(at))))
    names = ("VibeX", "VibeY", "VibeZ")
    return VIBE.records(len(at), TimeUS=time_us, **dict(zip(names, noise, strict=True)))


MAKERS: dict[str, Callable[[Logged, Steps, Array], Any]] = {
    "BAT": _bat,
    "GPS": _gps,
    "GPA": _gpa,
    "ATT": _att,
    "XKF1": _xkf1,
    "ESC": _esc,
    "THR": _thr,
    "IMU": _imu,
    "VIBE": _vibe,
}
"""In the order in which the autopilot writes records due at the same time."""
