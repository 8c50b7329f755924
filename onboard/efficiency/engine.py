"""The engine: folds blocks, and gives the figures as they stand. The same live and replayed.

It holds no clock and does no input or output. Any cutting of a stream into blocks gives the same
figures.
"""

from typing import TypeVar

from onboard.block import Block
from onboard.efficiency.battery import battery_state
from onboard.efficiency.consumption import SHORTEST_S, Stretch, trip_wh_per_km, wh_per_km
from onboard.efficiency.distance import DistanceMeter
from onboard.efficiency.figure import Estimate, Figure, Number, Unknown
from onboard.efficiency.figures import Consumption, Figures, Reach, Trip
from onboard.efficiency.latest import STALE_S, Latest
from onboard.efficiency.power_sources import BatterySide, PowerSources
from onboard.efficiency.reach import range_m, time_left_s
from onboard.efficiency.speed_sources import SpeedSources
from onboard.profile import Profile

Source = TypeVar("Source", BatterySide, DistanceMeter)

APART_S, APART_FRACTION = 30.0, 0.05
"""How much of the trip energy and distance may be counted apart for their ratio to be quoted."""

NO_CURVE = Unknown("needs a learned speed-power curve, which this version does not have")
NO_MARK = Unknown("no mark set")
TOO_LITTLE = Unknown("too little data yet")


class Engine:
    """Turns blocks into figures.

    Parameters
    ----------
    profile
        The craft.
    """

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self._power = PowerSources(profile.sensors)
        self._speed = SpeedSources()
        self.latest = Latest()

    def fold(self, block: Block) -> None:
        """Take in a block."""
        self.latest.fold(block)
        self._power.fold(block)
        self._speed.fold(block)

    def figures(self, silent_s: float = 0.0) -> Figures:
        """Give the figures at the newest sample folded.

        Parameters
        ----------
        silent_s
            For how long nothing has come since then [s], by the caller's clock: what is quoted as
            'now' goes stale by it.
        """
        self.latest.silent_s = silent_s
        power: BatterySide | Unknown = self._power.chosen() or Unknown(self._power.why_none())
        speed: DistanceMeter | Unknown = self._speed.chosen() or Unknown(self._speed.why_none())
        power_now = self._unless_stale(power, "power")
        speed_now = self._unless_stale(speed, "speed")
        trip = self._trip(power, speed)
        consumption = Consumption(
            last_20_s=wh_per_km(_last(20.0, power_now, speed_now)),
            last_300_s=wh_per_km(_last(300.0, power_now, speed_now)),
            trip=trip.wh_per_km,
            since_mark=NO_MARK,
        )
        drawn = power if isinstance(power, Unknown) else power.energy_wh
        battery = battery_state(self._profile.battery, drawn)
        left = battery if isinstance(battery, Unknown) else battery.left_wh
        recent = consumption.last_300_s
        # At a stop the trip's figure stands in; while an instrument is silent nothing does.
        if isinstance(recent, Unknown) and not (
            isinstance(power_now, Unknown) or isinstance(speed_now, Unknown)
        ):
            recent = consumption.trip
        return Figures(
            t_s=self.latest.now_s,
            power_w=power_now if isinstance(power_now, Unknown) else power_now.power_w,
            volts_v=power_now if isinstance(power_now, Unknown) else power_now.volts_v,
            amps_a=power_now if isinstance(power_now, Unknown) else power_now.amps_a,
            speed_mps=speed_now if isinstance(speed_now, Unknown) else speed_now.speed_mps,
            wh_per_km=consumption,
            trip=trip,
            battery=battery,
            range_m=Reach(now=range_m(left, recent), target=NO_CURVE, best=NO_CURVE),
            time_left_s=time_left_s(left, _mean_power_w(300.0, power_now)),
        )

    def _unless_stale(self, source: Source | Unknown, what: str) -> Source | Unknown:
        if isinstance(source, Unknown):
            return source
        age_s = self.latest.now_s + self.latest.silent_s - source.last_s
        return source if age_s <= STALE_S else Unknown(f"no {what} for {age_s:.0f} s")

    def _trip(self, power: BatterySide | Unknown, speed: DistanceMeter | Unknown) -> Trip:
        elapsed_s = self.latest.now_s - (self.latest.first_s or 0.0)
        energy: Estimate
        charge: Number
        mean_power: Number
        energy_bridged: Number
        if isinstance(power, Unknown):
            energy = charge = mean_power = energy_bridged = power
        else:
            energy, charge = Figure(power.energy_wh), power.charge_ah
            mean_power = _rate(power.energy_wh * 3600.0, elapsed_s)
            energy_bridged = _share(power.bridged_wh, power.energy_wh)
        distance: Estimate
        moving_s: Number
        mean_speed: Number
        max_speed: Number
        distance_bridged: Number
        if isinstance(speed, Unknown):
            distance = moving_s = mean_speed = max_speed = distance_bridged = speed
        else:
            distance, moving_s = Figure(speed.distance_m.total), speed.moving.moving_s
            mean_speed = _rate(speed.distance_m.total, moving_s)
            max_speed = speed.max_speed_mps
            distance_bridged = _share(speed.bridged_m, speed.distance_m.total)
        return Trip(
            energy_wh=energy,
            charge_ah=charge,
            distance_m=distance,
            moving_s=moving_s,
            elapsed_s=elapsed_s,
            wh_per_km=(
                trip_wh_per_km(energy, distance)
                if _together(power, speed, elapsed_s)
                else Unknown("power and speed are not known over the same time")
            ),
            mean_power_w=mean_power,
            mean_speed_mps=mean_speed,
            max_speed_mps=max_speed,
            bridged_energy_fraction=energy_bridged,
            bridged_distance_fraction=distance_bridged,
        )


def _together(
    power: BatterySide | Unknown, speed: DistanceMeter | Unknown, elapsed_s: float
) -> bool:
    """Tell whether energy and distance were counted over the same stretch of the trip, nearly."""
    if isinstance(power, Unknown) or isinstance(speed, Unknown):
        return True
    apart_s = abs(power.first_s - speed.first_s) + abs(power.last_s - speed.last_s)
    return apart_s <= max(APART_S, APART_FRACTION * elapsed_s)


def _last(
    window_s: float, power: BatterySide | Unknown, speed: DistanceMeter | Unknown
) -> Stretch | Unknown:
    """Give energy and distance over the last `window_s` [s], as far as both curves reach."""
    if isinstance(power, Unknown):
        return power
    if isinstance(speed, Unknown):
        return speed
    end_s = min(power.last_s, speed.last_s)
    begin_s = max(end_s - window_s, power.first_s, speed.first_s)
    if end_s - begin_s < SHORTEST_S:
        return TOO_LITTLE
    distance_m = speed.distance_m.at(end_s) - speed.distance_m.at(begin_s)
    return Stretch(end_s - begin_s, power.between_wh(begin_s, end_s), distance_m)


def _mean_power_w(window_s: float, power: BatterySide | Unknown) -> Number:
    """Give the mean battery power over the last `window_s` [s]."""
    if isinstance(power, Unknown):
        return power
    end_s = power.last_s
    begin_s = max(end_s - window_s, power.first_s)
    if end_s - begin_s < SHORTEST_S:
        return TOO_LITTLE
    return power.between_wh(begin_s, end_s) * 3600.0 / (end_s - begin_s)


def _rate(amount: float, seconds_s: float) -> Number:
    return amount / seconds_s if seconds_s > 0 else Unknown("no time has passed yet")


def _share(part: float, whole: float) -> float:
    return min(max(part / whole, 0.0), 1.0) if whole else 0.0
