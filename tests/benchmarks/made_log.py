"""Logs for the benchmarks: an hour of the simulated skiff with a realistic mix of messages.

Messages of other sensors, filled with noise, are added to those of the simulated craft: about 90
frames per second in all, two fifths of them wanted.
"""

import dataclasses
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pymavlink.dialects.v20.all as dialect

from tests.craft.mavlink_stream import Frame, Sender, StreamOptions, merge
from tests.craft.recording import record
from tests.craft.scenarios import SCENARIOS
from tests.craft.telemetry_log import frame_size, log_bytes

SEED = 11
HOUR_US = 3_600_000_000

RATES_HZ = {
    "HEARTBEAT": 1.0,
    "SYSTEM_TIME": 1.0,
    "SYS_STATUS": 5.0,
    "BATTERY_STATUS": 5.0,
    "GPS_RAW_INT": 5.0,
    "GLOBAL_POSITION_INT": 10.0,
    "ATTITUDE": 10.0,
    "VFR_HUD": 5.0,
    "ESC_TELEMETRY_1_TO_4": 5.0,
}


def _ints(rng: np.random.Generator, count: int, spread: float) -> list[int]:
    return [round(value) for value in rng.normal(0.0, spread, count)]


def _accelerations(rng: np.random.Generator, us: int) -> Any:
    return dialect.MAVLink_raw_imu_message(us, *_ints(rng, 9, 300.0))


def _outputs(rng: np.random.Generator, us: int) -> Any:
    pulses = [1500 + value for value in _ints(rng, 8, 80.0)]
    return dialect.MAVLink_servo_output_raw_message(us % 2**32, 0, *pulses)


def _vibration(rng: np.random.Generator, us: int) -> Any:
    return dialect.MAVLink_vibration_message(us, *np.abs(rng.normal(0.0, 5.0, 3)).tolist(), 0, 0, 0)


def _pressure(rng: np.random.Generator, us: int) -> Any:
    pascal, degrees = 1013.0 + rng.normal(0.0, 0.3), 2100 + round(rng.normal(0.0, 20.0))
    return dialect.MAVLink_scaled_pressure_message(us // 1000, pascal, rng.normal(), degrees)


def _estimates(rng: np.random.Generator, us: int) -> Any:
    return dialect.MAVLink_local_position_ned_message(us // 1000, *rng.normal(0.0, 9.0, 6).tolist())


OTHERS: dict[str, tuple[float, Callable[[np.random.Generator, int], Any]]] = {
    "RAW_IMU": (20.0, _accelerations),
    "SERVO_OUTPUT_RAW": (10.0, _outputs),
    "LOCAL_POSITION_NED": (10.0, _estimates),
    "VIBRATION": (2.0, _vibration),
    "SCALED_PRESSURE": (2.0, _pressure),
}


def hour_log(path: Path, seconds: float = 3600.0) -> int:
    """Write the hour, or its first seconds; return the number of frames."""
    options = StreamOptions(rates_hz=RATES_HZ)
    scenario = dataclasses.replace(SCENARIOS["long_cruise"], options=options)
    made = record(scenario, SEED)
    frames = merge(made.frames, _other_frames(made.truth.duration_s, options))
    kept = _numbered([frame for frame in frames if frame.time_s <= seconds])
    path.write_bytes(log_bytes(kept, scenario.start_unix_s))
    return len(kept)


def long_log(path: Path, hour: Path, hours: int) -> None:
    """Write the hour several times, each an hour later: the autopilot restarts in between."""
    data = np.frombuffer(hour.read_bytes(), np.uint8)
    places, at = [], 0
    raw = data.tobytes()
    while at < len(raw):
        places.append(at)
        at += 8 + frame_size(raw, at + 8)
    index = np.array(places)[:, None] + np.arange(8)
    stamps = data[index].view(">u8").astype(np.int64)
    with path.open("wb") as file:
        for number in range(hours):
            later = data.copy()
            shifted = (stamps + number * HOUR_US).astype(">u8")
            later[index] = shifted.view(np.uint8).reshape(-1, 8)
            file.write(later.tobytes())


def _other_frames(duration_s: float, options: StreamOptions) -> list[Frame]:
    rng = np.random.default_rng(SEED)
    sender = Sender(options.system_id, options.component_id, 2)
    found = []
    for rate_hz, make in OTHERS.values():
        start_s = float(rng.uniform(0.0, 1.0 / rate_hz))
        for number in range(int((duration_s - start_s) * rate_hz)):
            time_s = start_s + number / rate_hz
            boot_us = round((options.boot_s + time_s) * 1e6)
            found.append(Frame(time_s + options.delay_s, sender.pack(make(rng, boot_us))))
    return found


def _numbered(frames: list[Frame]) -> list[Frame]:
    """Number the frames in the order of sending, and correct their checksums."""
    numbered = []
    for count, frame in enumerate(frames):
        data = bytearray(frame.data)
        data[4] = count % 256
        message_id = int.from_bytes(data[7:10], "little")
        crc = dialect.x25crc(bytes(data[1:-2]))
        crc.accumulate(struct.pack("B", dialect.mavlink_map[message_id].crc_extra))
        data[-2:] = crc.crc.to_bytes(2, "little")
        numbered.append(Frame(frame.time_s, bytes(data)))
    return numbered
