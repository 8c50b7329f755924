"""From truth and sensors to the frames of a link, each with its time of arrival."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import pymavlink.dialects.v20.all as dialect

from tests.craft.chance import generator
from tests.craft.messages import MAKERS
from tests.craft.source import Source

RATES_HZ: Mapping[str, float] = {
    "HEARTBEAT": 1.0,
    "SYSTEM_TIME": 1.0,
    "SYS_STATUS": 2.0,
    "BATTERY_STATUS": 2.0,
    "GPS_RAW_INT": 5.0,
    "GLOBAL_POSITION_INT": 5.0,
    "ATTITUDE": 4.0,
    "VFR_HUD": 2.0,
    "ESC_TELEMETRY_1_TO_4": 2.0,
}


class Frame(NamedTuple):
    """One frame and its time of arrival [s of the stream]."""

    time_s: float
    data: bytes


@dataclass(frozen=True)
class StreamOptions:
    """How the autopilot sends, and which other systems are on the link."""

    system_id: int = 1
    component_id: int = 1
    mavlink_version: int = 2
    rates_hz: Mapping[str, float] = field(default_factory=lambda: RATES_HZ)
    """Messages not listed are not sent."""
    boot_s: float = 42.0
    first_fix_s: float = 0.0
    cell_voltages: bool = True
    texts: tuple[tuple[float, str], ...] = ()
    """STATUSTEXT: time [s] and text."""
    ground_station: bool = False
    """Another program's HEARTBEAT, system 255, once a second."""
    companion: str | None = None
    """Name of a scenario whose craft shares the link, as system 7."""
    delay_s: float = 0.004
    jitter_s: float = 0.003
    lost_fraction: float = 0.0
    """Frames that never arrive; their sequence numbers are missing."""


class Sender:
    """Packs and numbers the messages of one system."""

    def __init__(self, system_id: int, component_id: int, mavlink_version: int) -> None:
        self._mav = dialect.MAVLink(None, srcSystem=system_id, srcComponent=component_id)
        self._old = mavlink_version == 1

    def pack(self, message: Any) -> bytes:
        """Return the message's frame."""
        data = bytes(message.pack(self._mav, force_mavlink1=self._old))
        self._mav.seq = (self._mav.seq + 1) % 256
        return data


def frames(source: Source, options: StreamOptions, seed: int) -> list[Frame]:
    """Return the frames of one craft in the order of arrival."""
    rng = generator(seed, f"link of system {options.system_id}")
    sender = Sender(options.system_id, options.component_id, options.mavlink_version)
    arrived: list[Frame] = []
    latest_s = 0.0
    for index, message in _messages(source, options, rng):
        data = sender.pack(message)
        delay_s = options.delay_s + options.jitter_s * float(rng.standard_exponential())
        latest_s = max(latest_s, float(source.truth.time_s[index]) + delay_s)
        if rng.random() >= options.lost_fraction:
            arrived.append(Frame(latest_s, data))
    return arrived


def ground_station_frames(duration_s: float) -> list[Frame]:
    """Return the HEARTBEATs of a ground station: type 6, no autopilot (8)."""
    sender = Sender(255, 190, 2)
    beat = dialect.MAVLink_heartbeat_message(
        dialect.MAV_TYPE_GCS, dialect.MAV_AUTOPILOT_INVALID, 0, 0, dialect.MAV_STATE_ACTIVE, 3
    )
    return [Frame(0.33 + second, sender.pack(beat)) for second in range(int(duration_s))]


def merge(*streams: list[Frame]) -> list[Frame]:
    """Merge several streams on one link."""
    return sorted((frame for stream in streams for frame in stream), key=lambda frame: frame.time_s)


def _messages(
    source: Source, options: StreamOptions, rng: np.random.Generator
) -> Iterator[tuple[int, Any]]:
    """Yield each message with the step at which it is made, in order."""
    step_s, count = source.truth.step_s, len(source.truth.time_s)
    due: list[tuple[int, int, str]] = []
    for rank, name in enumerate(MAKERS):
        rate_hz = options.rates_hz.get(name, 0.0)
        if rate_hz <= 0.0:
            continue
        # Streams start at different times; the heartbeat comes first.
        start_s = 0.0 if name == "HEARTBEAT" else float(rng.uniform(0.0, 1.0 / rate_hz))
        number = int(((count - 1) * step_s - start_s) * rate_hz) + 1
        steps = np.rint((start_s + np.arange(number) / rate_hz) / step_s).astype(int)
        due += [(step, rank, name) for step in steps.tolist() if step < count]
    texts = [(round(at_s / step_s), len(MAKERS), text) for at_s, text in options.texts]
    due += [text for text in texts if text[0] < count]
    for step, rank, name in sorted(due):
        if rank == len(MAKERS):
            severity = dialect.MAV_SEVERITY_INFO
            yield step, dialect.MAVLink_statustext_message(severity, name.encode("ascii"))
        elif (message := MAKERS[name](source, step)) is not None:
            yield step, message
