"""The craft's instruments: battery power, speed and motor drive, and which can be quoted now.

Each may have several sources; which of them count is decided in `power_sources`, `speed_sources`
and `drive_sources`.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, TypeVar

from onboard.block import Block
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal
from onboard.contract.snapshot import DriveState
from onboard.efficiency.common_practice import SILENT_S, STALE_READING_S
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.parts import Parts, itself
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.drive_sources import DriveSources
from onboard.efficiency.sources.latest import Latest
from onboard.efficiency.sources.power_sources import MONITOR, PowerSources, SourceDecision
from onboard.efficiency.sources.speed_sources import SpeedSources
from onboard.profile import Profile

HEADINGS = ("attitude", "heading_deg"), ("fused", "heading_deg"), ("hud", "heading_deg")
"""Channels and columns of the heading, in order of preference."""

Source = TypeVar("Source", BatterySide, DistanceMeter)


class Instruments:
    """All sources of one craft.

    Parameters
    ----------
    profile
        The craft: its sensors and its motor drive.
    parts
        The engine's parts; those here are `power`, `speed`, `motor drive` and `readings`.
    """

    def __init__(self, profile: Profile, parts: Parts) -> None:
        self._parts = parts
        self._pole_pairs = profile.drive.pole_pairs
        self.power = PowerSources(profile.sensors)
        self.speed = SpeedSources()
        self._drive = DriveSources()
        self.latest = Latest()

    def fold(self, block: Block) -> Block:
        """Fold a block; return it without readings that do not count."""
        fold = self._parts.fold
        passed = fold("motor drive", self._drive.fold, block) or block
        self.latest.fold(passed)
        fold("power", self.power.fold, passed)
        fold("speed", self.speed.fold, passed)
        return passed

    def battery_side(self) -> BatterySide | Unknown:
        """Return the battery's meters, or why there are none."""
        return self._parts.ask(
            "power", itself, lambda: self.power.chosen() or Unknown(self.power.why_none())
        )

    def speed_meter(self) -> DistanceMeter | Unknown:
        """Return the meter of distance over ground, or why there is none."""
        return self._parts.ask(
            "speed", itself, lambda: self.speed.chosen() or Unknown(self.speed.why_none())
        )

    def unless_stale(self, source: Source | Unknown) -> Source | Unknown:
        """Return a source unless its newest sample is too old to be quoted as 'now'."""
        if isinstance(source, Unknown):
            return source
        age_s = self.latest.now_s + self.latest.silent_s - source.last_seen_s
        if age_s <= STALE_READING_S:
            return source
        if isinstance(source, BatterySide):
            return Unknown(Reason.POWER_QUIET, source=source.longest_silent, age_s=age_s)
        name = self.speed.name_of(source) if self.speed.several else ""
        return Unknown(Reason.SPEED_QUIET, source=name, age_s=age_s)

    def unless_silent(self, side: BatterySide | Unknown) -> BatterySide | Unknown:
        """Return the meters while all are active: unmeasured power must not look like a saving."""
        return self._parts.ask("power", itself, self._unless_silent, side)

    def _unless_silent(self, side: BatterySide | Unknown) -> BatterySide | Unknown:
        side = all_active(side)
        if isinstance(side, Unknown):
            return side
        age_s = self.latest.now_s - side.last_seen_s
        if age_s <= SILENT_S:
            return side
        name = side.longest_silent or MONITOR
        return Unknown(Reason.SOURCE_UNHEARD, source=name, age_s=age_s)

    def readings(self) -> dict[str, Any]:
        """Return the figures that are read rather than computed, by the names of `Figures`."""
        ask = self._parts.ask
        return {
            "course_deg": ask("readings", itself, self.course_deg),
            "heading_deg": ask("readings", itself, self.heading_deg),
            "position_deg": ask("readings", itself, self.position_deg),
            "drive": ask("motor drive", itself, self.drive_state),
        }

    def drive_state(self) -> DriveState | Unknown:
        """Return the readings of the motor shown."""
        now_s = self.latest.now_s + self.latest.silent_s
        rpm, electrical, amps, temperature = (
            self._drive.value(name, now_s) for name in ("rpm", "erpm", "amps_a", "temperature_degc")
        )
        if isinstance(rpm, Unknown) and not isinstance(electrical, Unknown):
            pairs = self._pole_pairs
            rpm = electrical / pairs if pairs else Unknown(Reason.NO_POLE_PAIRS)
        if isinstance(amps, Unknown) and all(
            isinstance(reading, Unknown) for reading in (rpm, temperature, electrical)
        ):
            return amps
        return DriveState(rpm, amps, temperature)

    def course_deg(self) -> Number:
        """Return the course over ground now [deg]."""
        return self.latest.value(("gps", "course_deg"))

    def heading_deg(self) -> Number:
        """Return the heading now [deg]."""
        return self.latest.value(*HEADINGS)

    def position_deg(self) -> tuple[float, float] | Unknown:
        """Return latitude and longitude now [deg]."""
        latitude = self.latest.value(("gps", "latitude_deg"), ("fused", "latitude_deg"))
        longitude = self.latest.value(("gps", "longitude_deg"), ("fused", "longitude_deg"))
        if isinstance(latitude, Unknown):
            return latitude
        return longitude if isinstance(longitude, Unknown) else (latitude, longitude)

    def unplug(self, source: str) -> Refusal | None:
        """Leave a source out until it is active again; return a refusal, None when done."""
        what, _, number = source.rpartition(" ")
        now_s = self.latest.now_s
        if what == "battery" and number.isdecimal():
            return self.power.unplug(int(number), now_s)
        if what == "motor" and number.isdecimal():
            return self._drive.unplug(int(number), now_s)
        return self.speed.unplug(source, now_s)

    def decisions(self) -> Iterator[SourceDecision]:
        """Yield the decisions about sources since the last call."""
        for decision in self.power.take_decisions():
            others = (*self.speed.brief(decision.t_s), *self._drive.brief(decision.t_s))
            yield replace(decision, brief=(*decision.brief, *others)) if others else decision

    def impossible_s(self) -> list[float]:
        """Return the stream times of impossible readings [s]."""
        return [*self.power.impossible_s(), *self.speed.impossible_s()]

    def noise_m2ps(self) -> float:
        """Return the long-run variance of the velocity noise [m^2/s]; 0 without a speed."""
        meter = self.speed.chosen()
        return meter.track.noise.long_run_m2ps if meter else 0.0


def all_active(side: BatterySide | Unknown) -> BatterySide | Unknown:
    """Return the meters unless one that counts has fallen silent."""
    if isinstance(side, Unknown) or not side.silent:
        return side
    return Unknown(Reason.SOURCES_SILENT, sources=side.silent)
