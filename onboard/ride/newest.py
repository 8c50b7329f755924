"""The newest readings between two folds, taken frame by frame; in doubt it asks for a fold.

A fold works out everything, and costs the same for a fifth of a second as for a whole one. What a
rider watches by the moment (power, speed, course, position) can be read off the last frames for far
less, as long as nothing has to be judged. So the rule is:

- The sources are those that the last fold chose (a choice that has changed meanwhile, by the time
  that each has covered, shows at the next one). Their samples pass if no gate could object: known,
  possible, in rising time, and no step that might be a lone sample or a jump.
- A sample that a gate certainly drops (unknown or impossible) changes nothing.
- Anything else (a large step, a source not heard before, a reading that is unknown and becomes
  known, or known and goes stale, a boot clock that leaps) is left to a fold, which is then due.

Like the decoder, it holds messages back until the next one with the boot clock: only then is their
time settled. What it shows is therefore what a fold at that moment would show.
"""

import math
from typing import Final, NamedTuple

from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot
from onboard.efficiency.common_practice import (
    AMPS_MOST_A,
    JUMP_MPS,
    LONE_A,
    LONE_LEAP_FRACTION,
    SPEED_MOST_MPS,
    SPEED_SD_MOST_MPS,
    STALE_READING_S,
    VOLTS_MOST_V,
)
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.instruments import HEADINGS
from onboard.efficiency.sources.power_sources import MONITOR
from onboard.efficiency.sources.speed_sources import FIX_NEEDED, NAMES
from onboard.profile import Sensors
from onboard.ride.lean_rows import COLUMNS, LEAN, Values
from onboard.ride.ride import Ride
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.headers import HEADER_1, HEADER_2, MARKER_2

LEAP_MS = 2000
"""Step of the boot clock [ms] above which the time base is left to judge it."""

SAME_SPEED_MPS = 1e-9
"""Difference up to which a row and the meter's newest sample are the same [m/s]: rounding."""

Position = tuple[float, float]
Reading = Number | Position

READINGS: Final = (
    *("power_w", "volts_v", "amps_a", "speed_mps"),
    *("course_deg", "heading_deg", "position_deg"),
)
"""The fields of a snapshot that are shown between folds."""

STAMPED: Final = ("fused", "attitude")
"""Channels whose messages carry the boot clock themselves."""

_PLACE: Final = {
    (channel, name): n for channel, names in COLUMNS.items() for n, name in enumerate(names)
}


class _Source(NamedTuple):
    """What the last fold said of power or speed.

    Parameters
    ----------
    known
        Whether it is known.
    by
        Sources that could make it known; None for any.
    value, t_s
        Newest speed [m/s] and its stream time [s].
    source
        Channel of the speed.
    """

    known: bool = False
    by: set[str] | None = None
    value: float = math.nan
    t_s: float = -math.inf
    source: str = ""

    def awaits(self, source: str) -> bool:
        """Return whether a sample of this source could make it known."""
        return not self.known and (self.by is None or source in self.by)


class Newest:
    """The newest readings of a ride since its last fold.

    Parameters
    ----------
    sensors
        The craft's corrections.
    """

    def __init__(self, sensors: Sensors) -> None:
        self._sensors = sensors
        self._waiting: list[tuple[str, Values]] = []
        """Channels and values of the messages whose time is not settled."""
        self._heard: set[str] = set()
        """Names of the sources heard so far."""
        self._closed_ms: dict[str, int] = {}
        """Boot clock that settled each source's last sample [ms]."""
        self._stamp_ms = 0
        self._rows: dict[str, tuple[float, Values]] = {}
        """Last row of each channel, with its stream time [s]."""
        self._power = _Source()
        self._packs: dict[str, tuple[float, float, float]] = {}
        """Corrected volts and amps of each source that counts, and its time [s]."""
        self._unsure: set[str] = set()
        """Those of them whose newest sample still waits for the next one."""
        self._speed = _Source()
        self._velocity: tuple[float, float] | None = None
        """East and north [m/s], None where not known."""
        self._course_rad: float | None = None
        self._fold_s, self._fold_ms = 0.0, 0
        self.in_doubt = True
        """Whether a fold is due, because something must be judged."""
        self.came = 0
        """Frames of the followed craft since the last fold."""

    @property
    def t_s(self) -> float:
        """Stream time of the newest readings [s]."""
        return self._at_s(self._stamp_ms)

    def read(self, frames: Frames, system_id: int, component_id: int | None) -> None:
        """Read frames that have just come in.

        Parameters
        ----------
        frames
            Frames from the link, in order.
        system_id, component_id
            The followed autopilot.
        """
        data, numbers = frames.data.tobytes(), frames.message_id.tolist()
        for at, number in zip(frames.marker.tolist(), numbers, strict=True):
            second = data[at] == MARKER_2
            sender = at + 5 if second else at + 3
            if data[sender] != system_id or data[sender + 1] != component_id:
                continue
            self.came += 1
            lean = LEAN.get(number)
            if lean is None:
                continue
            begin = at + (HEADER_2 if second else HEADER_1)
            stamp_ms, values = lean.read(data[begin : begin + data[at + 1]])
            if values:
                self._waiting.append((lean.channel, values))
            if stamp_ms:
                self._settle(stamp_ms)

    def restart(self, ride: Ride, silent_s: float) -> None:
        """Begin again from a fold that has just been made.

        Parameters
        ----------
        ride
            The ride.
        silent_s
            Time since its last message, by the caller's clock [s].
        """
        instruments, latest = ride.engine.instruments, ride.engine.latest
        self._fold_s, self._fold_ms = latest.now_s, self._stamp_ms
        self.came = 0
        # Without a boot clock, times are those of receipt: only a fold can tell them.
        self.in_doubt = not math.isfinite(ride.decoder.time.boot_s)
        for channel, names in COLUMNS.items():
            places = [latest.at(channel, name) for name in names]
            if places[0] is not None:
                row = tuple(math.nan if place is None else place[1] for place in places)
                self._rows[channel] = places[0][0], row
                self._heard.add(channel)
        now_s = latest.now_s + silent_s
        self._begin_power(instruments.battery_side(), now_s)
        meter = instruments.speed_meter()
        name = "" if isinstance(meter, Unknown) else instruments.speed.name_of(meter)
        self._begin_speed(meter, name, now_s)

    def readings(self, folded: Snapshot, silent_s: float) -> dict[str, Reading]:
        """Return the newest readings, by the names of the snapshot.

        Parameters
        ----------
        folded
            The snapshot of the last fold: what it did not know stays unknown until the next one.
        silent_s
            Time since the newest message, by the caller's clock [s].
        """
        now_s = self.t_s + silent_s
        found: dict[str, Reading] = {name: getattr(folded, name) for name in READINGS}
        if self._power.known:
            rows = self._packs.values()
            self._expect(now_s, min(row[2] for row in rows))
            found["power_w"] = sum(volts * amps for volts, amps, _ in rows)
            found["volts_v"] = next(iter(rows))[0]
            found["amps_a"] = sum(amps for _, amps, _ in rows)
        if self._speed.known:
            self._expect(now_s, self._speed.t_s)
            found["speed_mps"] = self._speed.value
        course = self._value(now_s, ("gps", "course_deg"))
        heading = self._value(now_s, *HEADINGS)
        latitude, longitude = (
            self._value(now_s, ("gps", name), ("fused", name))
            for name in ("latitude_deg", "longitude_deg")
        )
        position: Reading | None = latitude
        if isinstance(latitude, float):
            position = (latitude, longitude) if isinstance(longitude, float) else longitude
        for name, reading in zip(READINGS[-3:], (course, heading, position), strict=True):
            if reading is not None:
                found[name] = reading
            elif not isinstance(found[name], Unknown):
                self.in_doubt = True  # it has gone stale
        return found

    def _value(self, now_s: float, *places: tuple[str, str]) -> Number | None:
        """Return a reading as `Latest.value` does; None if it is stale or was never heard."""
        why: Unknown | None = None
        for channel, name in places:
            row = self._rows.get(channel)
            if row is None:
                continue
            reading = row[1][_PLACE[channel, name]]
            if now_s - row[0] > STALE_READING_S:
                why = None
            elif math.isnan(reading):
                why = Unknown(Reason.SAYS_UNKNOWN)
            else:
                return reading
        return why

    def _expect(self, now_s: float, seen_s: float) -> None:
        if now_s - seen_s > STALE_READING_S:
            self.in_doubt = True

    def _at_s(self, stamp_ms: int) -> float:
        return self._fold_s + (stamp_ms - self._fold_ms) * 1e-3

    def _settle(self, stamp_ms: int) -> None:
        """Take the messages up to one with the boot clock [ms], whose time is now settled."""
        step_ms = stamp_ms - self._stamp_ms
        if abs(step_ms) > LEAP_MS and self._stamp_ms:
            # The clock was set or restarted, or a stamp is damaged.
            self.in_doubt = True
        elif step_ms < 0:
            # Sent in another order than stamped: time stands still for the others meanwhile.
            step_ms = 0
        self._stamp_ms += step_ms
        waiting, self._waiting = self._waiting, []
        for channel, values in waiting:
            self._take(channel, values, step_ms, stamp_ms)

    def _take(self, channel: str, values: Values, step_ms: int, stamp_ms: int) -> None:
        source = f"battery {values[0]:.0f}" if channel == "battery" else channel
        new = source not in self._heard
        self._heard.add(source)
        closed_ms = self._closed_ms.get(source, -1)
        if channel in STAMPED:
            late = stamp_ms <= closed_ms
            self._closed_ms[source] = max(stamp_ms, closed_ms)
        else:
            late = False
            if not step_ms and closed_ms == self._stamp_ms:
                self.in_doubt = True  # at the same time as the sample before, perhaps
            self._closed_ms[source] = self._stamp_ms
        t_s = self._at_s(self._stamp_ms)
        self._rows[channel] = t_s, values
        if channel in ("power", "battery"):
            self._take_power(source, (values[-2], values[-1]), t_s, new)
        elif channel != "attitude" and not late:
            self._take_speed(channel, values, t_s, new)

    def _begin_power(self, side: BatterySide | Unknown, now_s: float) -> None:
        self._packs, self._unsure = {}, set()
        if isinstance(side, Unknown):
            self._power = _Source()
            return
        known = True
        for name, meter in zip(side.names, side.meters, strict=True):
            source = "power" if name == MONITOR else name
            self._heard.add(source)
            self._packs[source] = meter.volts_v, meter.amps_a, meter.last_seen_s
            if meter.lone.waiting_s is not None:
                self._unsure.add(source)
            known &= now_s - meter.last_seen_s <= STALE_READING_S
        self._power = _Source(known)

    def _take_power(
        self, source: str, reported: tuple[float, float], t_s: float, new: bool
    ) -> None:
        volts = self._sensors.voltage_scale * reported[0]
        amps = self._sensors.current_scale * reported[1] + self._sensors.current_offset_a
        if not (0 < volts < VOLTS_MOST_V and abs(amps) < AMPS_MOST_A):
            return
        self.in_doubt |= new or self._power.awaits(source)
        before = self._packs.get(source)
        if before is None or not self._power.known:
            return
        step_v, step_a = abs(volts - before[0]), abs(amps - before[1])
        if source in self._unsure or step_a >= LONE_A or step_v > LONE_LEAP_FRACTION * before[0]:
            self.in_doubt = True
        else:
            self._packs[source] = volts, amps, t_s

    def _begin_speed(self, meter: DistanceMeter | Unknown, name: str, now_s: float) -> None:
        self._velocity = None
        if isinstance(meter, Unknown):
            only = {"gps"} if meter.code is Reason.NO_FIX else None
            self._speed = _Source(False, only)
            return
        source = next(key for key, called in NAMES.items() if called == name)
        known = now_s - meter.last_seen_s <= STALE_READING_S
        self._speed = _Source(known, None, meter.speed_mps, meter.last_seen_s, source)
        if source in self._rows:
            velocity = self._velocity_of(source, self._rows[source][1])
            if velocity and abs(math.hypot(*velocity) - meter.speed_mps) < SAME_SPEED_MPS:
                self._velocity = velocity

    def _velocity_of(self, channel: str, values: Values) -> tuple[float, float] | None:
        """Return east and north [m/s] of a row; None if unknown, and `nan` for the direction."""
        if channel == "fused":
            velocity = values[3], values[2]
        elif channel == "hud":
            velocity = 0.0, values[0] if values[0] >= 0 else math.nan
        else:
            fix, _, _, speed, course, sd = values
            if fix < FIX_NEEDED or sd > SPEED_SD_MOST_MPS:
                return None
            if math.isfinite(course):
                self._course_rad = math.radians(course)
            if self._course_rad is None:
                return None
            velocity = speed * math.sin(self._course_rad), speed * math.cos(self._course_rad)
        return velocity if math.isfinite(velocity[0]) and math.isfinite(velocity[1]) else None

    def _take_speed(self, channel: str, values: Values, t_s: float, new: bool) -> None:
        velocity = self._velocity_of(channel, values)
        if velocity is None:
            return
        speed = math.hypot(*velocity)
        if speed >= SPEED_MOST_MPS:
            return
        self.in_doubt |= new or self._speed.awaits(channel)
        if channel != self._speed.source or not self._speed.known:
            return
        before = self._velocity
        if before is None:
            steady = speed + self._speed.value <= JUMP_MPS
        else:
            steady = math.hypot(velocity[0] - before[0], velocity[1] - before[1]) <= JUMP_MPS
        if steady:
            self._velocity = velocity
            self._speed = self._speed._replace(value=speed, t_s=t_s)
        else:
            self.in_doubt = True
