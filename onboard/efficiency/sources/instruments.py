"""The craft's instruments: battery power, speed and the motor drive, and which can be quoted now.

Each may come from several sources; what counts is decided in `power_sources`, `speed_sources` and
`drive_sources`.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, TypeVar

from onboard.block import Block
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal
from onboard.contract.snapshot import DriveState
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.source_rules import SILENT_S
from onboard.efficiency.parts import Parts, itself
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.drive_sources import DriveSources
from onboard.efficiency.sources.latest import STALE_S, Latest
from onboard.efficiency.sources.power_sources import MONITOR, PowerNews, PowerSources
from onboard.efficiency.sources.speed_sources import SpeedSources
from onboard.profile import Profile

HEADINGS = ("attitude", "heading_deg"), ("fused", "heading_deg"), ("hud", "heading_deg")
"""Where the heading is from; the first that is heard counts."""

Source = TypeVar("Source", BatterySide, DistanceMeter)


class Instruments:
    """What is measured, and by what.

    Parameters
    ----------
    profile
        What it states of sensors and motor drive.
    parts
        The engine's parts: the instruments are `power`, `speed` and `motor drive` there.
    """

    def __init__(self, profile: Profile, parts: Parts) -> None:
        self._parts = parts
        self._pole_pairs = profile.drive.pole_pairs
        self.power = PowerSources(profile.sensors)
        self.speed = SpeedSources()
        self._drive = DriveSources()
        self.latest = Latest()

    def fold(self, block: Block) -> Block:
        """Take in a block; give what of it the other parts are to see."""
        fold = self._parts.fold
        passed = fold("motor drive", self._drive.passed, block) or block
        self.latest.fold(passed)
        fold("power", self.power.fold, passed)
        fold("speed", self.speed.fold, passed)
        return passed

    def battery_side(self) -> BatterySide | Unknown:
        """Return the battery's meters, or why there are none."""
        return self._parts.ask("power", itself, self._battery_side)

    def _battery_side(self) -> BatterySide | Unknown:
        return self.power.chosen() or Unknown(self.power.why_none())

    def speed_meter(self) -> DistanceMeter | Unknown:
        """Return the meter of the way made good, or why there is none."""
        return self._parts.ask("speed", itself, self._speed_meter)

    def _speed_meter(self) -> DistanceMeter | Unknown:
        return self.speed.chosen() or Unknown(self.speed.why_none())

    def unless_stale(self, source: Source | Unknown) -> Source | Unknown:
        """Return a source while it can be quoted as 'now'."""
        if isinstance(source, Unknown):
            return source
        age_s = self.latest.now_s + self.latest.silent_s - source.heard_s
        if age_s <= STALE_S:
            return source
        if isinstance(source, BatterySide):
            return Unknown(Reason.POWER_QUIET, source=source.quietest, age_s=age_s)
        name = self.speed.name_of(source) if self.speed.several else ""
        return Unknown(Reason.SPEED_QUIET, source=name, age_s=age_s)

    def unless_silent(self, side: BatterySide | Unknown) -> BatterySide | Unknown:
        """Return meters while all are heard: what is drawn unseen must not look like a saving."""
        return self._parts.ask("power", itself, self._unless_silent, side)

    def _unless_silent(self, side: BatterySide | Unknown) -> BatterySide | Unknown:
        side = all_heard(side)
        if isinstance(side, Unknown):
            return side
        age_s = self.latest.now_s - side.heard_s
        if age_s <= SILENT_S:
            return side
        name = side.quietest or MONITOR
        return Unknown(Reason.SOURCE_UNHEARD, source=name, age_s=age_s)

    def readings(self) -> dict[str, Any]:
        """Return what is read and not worked out, by its names in `Figures`."""
        ask = self._parts.ask
        return {
            "course_deg": ask("readings", itself, self.course_deg),
            "heading_deg": ask("readings", itself, self.heading_deg),
            "position_deg": ask("readings", itself, self.position_deg),
            "drive": ask("motor drive", itself, self.drive_state),
        }

    def drive_state(self) -> DriveState | Unknown:
        """Return what the motor reports that is shown."""
        now_s = self.latest.now_s + self.latest.silent_s
        rpm, electrical, amps, temperature = (
            self._drive.value(name, now_s) for name in ("rpm", "erpm", "amps_a", "temperature_degc")
        )
        if isinstance(rpm, Unknown) and not isinstance(electrical, Unknown):
            pairs = self._pole_pairs
            rpm = electrical / pairs if pairs else Unknown(Reason.NO_POLE_PAIRS)
        if isinstance(amps, Unknown) and all(
            isinstance(one, Unknown) for one in (rpm, temperature, electrical)
        ):
            return amps
        return DriveState(rpm, amps, temperature)

    def course_deg(self) -> Number:
        """Return the course over ground now [deg]."""
        return self.latest.value(("gps", "course_deg"))

    def heading_deg(self) -> Number:
        """Return where the bow points now [deg]."""
        return self.latest.value(*HEADINGS)

    def position_deg(self) -> tuple[float, float] | Unknown:
        """Return latitude and longitude now [deg]."""
        latitude = self.latest.value(("gps", "latitude_deg"), ("fused", "latitude_deg"))
        longitude = self.latest.value(("gps", "longitude_deg"), ("fused", "longitude_deg"))
        if isinstance(latitude, Unknown):
            return latitude
        return longitude if isinstance(longitude, Unknown) else (latitude, longitude)

    def unplug(self, source: str) -> Refusal | None:
        """Take a source as unplugged until it is heard again; give why not, None when done."""
        what, _, number = source.rpartition(" ")
        now_s = self.latest.now_s
        if what == "battery" and number.isdecimal():
            return self.power.unplug(int(number), now_s)
        if what == "motor" and number.isdecimal():
            return self._drive.unplug(int(number), now_s)
        return self.speed.unplug(source, now_s)

    def news(self) -> Iterator[PowerNews]:
        """Return what became of the sources since it was asked last."""
        for news in self.power.take_news():
            brief = (*news.brief, *self.speed.brief(news.t_s), *self._drive.brief(news.t_s))
            yield replace(news, brief=brief)

    def impossible_s(self) -> list[float]:
        """Return the times of readings that cannot be [s]."""
        return [*self.power.impossible_s(), *self.speed.impossible_s()]

    def noise_m2ps(self) -> float:
        """Return the long-run variance of the way made good [m^2/s]; 0 without a speed."""
        meter = self.speed.chosen()
        return meter.track.noise.long_run_m2ps if meter else 0.0


def all_heard(side: BatterySide | Unknown) -> BatterySide | Unknown:
    """Return the meters unless one that counts is not heard any more."""
    if isinstance(side, Unknown) or not side.silent:
        return side
    return Unknown(Reason.SOURCES_SILENT, sources=side.silent)
