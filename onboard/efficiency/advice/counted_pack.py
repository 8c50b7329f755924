"""The battery while its discharge is counted: energy, range and time left.

A profile may state no battery, and instruments may fall silent: then all of these are unknown.
While it is unknown whether the pack was charged, intervals extend to that of a full one.
"""

import copy
from dataclasses import replace
from typing import Any

from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.battery import BatteryState
from onboard.contract.figure import Estimate, Unknown, reaching_up_to, throughout
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.reach import range_now_m, time_resting_s, time_riding_s
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.common_practice import CHARGE_QUESTION_FROM_S
from onboard.efficiency.meters.steadiness import MOVING_MPS
from onboard.efficiency.parts import LEFT_OUT, PartError, Parts
from onboard.efficiency.riding.present_riding import Riding
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.power_sources import PowerSources
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import OFFSET
from onboard.efficiency.trip.consumption import Stretch
from onboard.profile import Profile

NO_BATTERY = Unknown(Reason.NO_BATTERY)


class CountedPack:
    """The craft's battery, and the meters that count it.

    Parameters
    ----------
    profile
        The craft.
    parts
        The engine's parts: the pack is `battery` there.
    power
        The meters of power.
    """

    def __init__(self, profile: Profile, parts: Parts, power: PowerSources) -> None:
        self._parts, self._power = parts, power
        self.pack: Pack | Unknown = NO_BATTERY
        if profile.battery:
            pack = parts.fold("battery", Pack, profile.battery, profile.sensors)
            self.pack = pack or LEFT_OUT
        self._absences: list[tuple[float, Away, float]] = []
        """Absences not yet applied to the pack, pending the choice of the charge counter."""

    @property
    def cutoff_v(self) -> float | None:
        """Voltage at which the pack is empty [V]; None without a pack."""
        return None if isinstance(self.pack, Unknown) else self.pack.cutoff_v

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in settled seconds, in order."""
        if isinstance(self.pack, Unknown):
            return
        if self._absences and (side := self._power.chosen(float(seconds.t_s[-1]))) is not None:
            self._parts.fold("battery", self._apply_absences, self.pack, side)
            self._absences.clear()
        self._parts.fold("battery", self.pack.fold, seconds)

    def away(self, t_s: float, away: Away, counter_ah: float) -> None:
        """Record an absence as of a stream time [s]; see `Engine.away`."""
        self._absences.append((t_s, away, counter_ah))

    def was_off(self, until_s: float, off_s: float) -> None:
        """Record that the autopilot was off until a stream time, and for how long [s]."""
        if not isinstance(self.pack, Unknown):
            self._parts.fold("battery", self.pack.count.was_off, until_s, Away(off_s))

    def _apply_absences(self, pack: Pack, side: BatterySide) -> None:
        """Apply the absences to a pack, with the charge counted if the counter kept running."""
        for t_s, away, before_ah in self._absences:
            drawn_ah = side.counter_began_ah - before_ah
            counted = away.was_running and drawn_ah >= 0
            pack.count.away(t_s, replace(away, drawn_ah=drawn_ah) if counted else away)

    def saved_state(self, now_s: float) -> dict[str, Any] | None:
        """Return what outlasts this ride, as of a stream time [s]; None without a count."""
        side, pack = self._power.chosen(), self.pack
        # Without a meter or a statement there is nothing to resume from.
        if isinstance(pack, Unknown) or (side is None and not pack.count.is_stated):
            return None
        if side is None:
            return pack.as_dict()
        if self._absences:
            # Absences count even if the stream was too short to settle a second.
            pack = copy.deepcopy(pack)
            self._apply_absences(pack, side)
        return pack.as_dict(side.charge_ah, now_s)

    def resume(self, saved: dict[str, Any] | None, utc_s: float) -> None:
        """Resume from an earlier `saved_state`; see `Engine.resume_battery`."""
        if isinstance(self.pack, Unknown) or saved is None:
            return
        try:
            self.pack.resume(saved, Away(), utc_s)
        except ValueError:
            raise
        except Exception as fault:
            raise PartError("battery") from fault

    def by(self, power: BatterySide | Unknown) -> Pack | Unknown:
        """Return the pack; unknown where its discharge is not counted."""
        if isinstance(self.pack, Unknown):
            return self.pack
        return power if isinstance(power, Unknown) else self.pack

    def state(
        self, power: BatterySide | Unknown, riding: Riding | Unknown
    ) -> BatteryState | Unknown:
        """Return the energy left at the present power."""
        if isinstance(self.pack, Unknown):
            return self.pack
        pack = self.by(power)
        if isinstance(pack, Unknown):
            return throughout(BatteryState)(pack)
        return pack.summary(0.0 if isinstance(riding, Unknown) else riding.power_w)

    def question(self, now_s: float) -> tuple[Alert, ...]:
        """Return the question whether the pack was charged, if it is open at a stream time [s]."""
        if isinstance(self.pack, Unknown):
            return ()
        since_s, open_s = (
            self.pack.count.recharge_unknown_since_s,
            now_s - self.pack.count.question_from_s,
        )
        if since_s is None or open_s < CHARGE_QUESTION_FROM_S:
            return ()
        return (Alert(AlertCode.CHARGE_UNSAID, open_s, since_utc_s=since_s),)

    def range_now_m(self, power: BatterySide | Unknown, riding: Riding | Unknown) -> Estimate:
        """Return the range at the present way of riding [m]."""
        pack = self.by(power)
        reach = range_now_m(pack, riding)
        if isinstance(pack, Unknown) or pack.if_charged is None:
            return reach
        return reaching_up_to(reach, range_now_m(pack.if_charged, riding))

    def time_left_s(
        self, power: BatterySide | Unknown, minutes: Stretch | Unknown, riding: Riding | Unknown
    ) -> Estimate:
        """Return the time left, riding on as now, or at rest as in the last minutes [s]."""
        pack = self.by(power)
        if isinstance(pack, Unknown):
            return pack
        left_s = _time_left_s(pack, minutes, riding)
        if pack.if_charged is None:
            return left_s
        return reaching_up_to(left_s, _time_left_s(pack.if_charged, minutes, riding))


def _time_left_s(pack: Pack, minutes: Stretch | Unknown, riding: Riding | Unknown) -> Estimate:
    resting = (
        isinstance(minutes, Unknown) or minutes.distance_m.value < MOVING_MPS * minutes.seconds_s
    )
    if not isinstance(riding, Unknown) and not resting:
        return time_riding_s(pack, riding)
    if isinstance(minutes, Unknown):
        return minutes
    hours, energy = minutes.seconds_s / 3600.0, minutes.energy_wh
    return time_resting_s(pack, energy.value / hours, float(energy.gradient[OFFSET]) / hours)
