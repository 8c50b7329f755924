"""The engine: folds blocks, and gives the figures as they stand. The same live and replayed.

It holds no clock and does no input or output. Any cutting of a stream into blocks gives the same
figures.
"""

import math
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np

from onboard.block import Block
from onboard.efficiency.advice import Adviser
from onboard.efficiency.alerts import Event
from onboard.efficiency.bands import Band, Bands
from onboard.efficiency.battery import BatteryState, Pack
from onboard.efficiency.cells import CellMaker, Cells, part_of_cells
from onboard.efficiency.consumption import Stretch, wh_per_km, window
from onboard.efficiency.distance import DistanceMeter
from onboard.efficiency.figure import Estimate, Number, Unknown
from onboard.efficiency.figures import Consumption, Figures, Reach
from onboard.efficiency.latest import STALE_S, Latest
from onboard.efficiency.learner import Learner
from onboard.efficiency.power_curve import Curve, curve
from onboard.efficiency.power_sources import BatterySide, PowerSources
from onboard.efficiency.present import PresentRiding, Riding
from onboard.efficiency.reach import range_now_m, time_left_s
from onboard.efficiency.runs import RunBook
from onboard.efficiency.shared_errors import Spread, prior_covariance
from onboard.efficiency.slices import slices
from onboard.efficiency.speed_power import Posterior
from onboard.efficiency.speed_sources import SpeedSources
from onboard.efficiency.target import Aim
from onboard.efficiency.together import Beginnings, Point, Together
from onboard.efficiency.trip import stretch_wh_per_km, trip_sums
from onboard.efficiency.trip_line import TripLine, extend
from onboard.efficiency.watches import Watches
from onboard.efficiency.water import set_and_drift
from onboard.profile import Profile

Source = TypeVar("Source", BatterySide, DistanceMeter)

EVERY_S, CALM_S = 10, 300
"""How often it is looked at what to advise: while something may be due, and at least."""

QUIET_FRACTION = 0.25
"""Of the time for which nothing can be due, as far as one can tell, until it is looked again."""

FIRST_S = 120.0
"""Until then much may change from one look to the next."""

LEAST_W = 100.0
"""Even at rest a craft may be off at this power the next moment."""

NO_MARK = Unknown("no mark set")
NO_BATTERY = Unknown("no [battery] in the craft profile")


class Engine:
    """Turns blocks into figures.

    Parameters
    ----------
    profile
        The craft.
    kept
        What an earlier engine's `kept` gave: the curves are carried over. None without.

    Raises
    ------
    ValueError
        If it is not what `kept` gives.
    """

    def __init__(self, profile: Profile, kept: dict[str, Any] | None = None) -> None:
        self._errors = prior_covariance(profile.sensors, profile.battery)
        self._power = PowerSources(profile.sensors)
        self._speed = SpeedSources()
        self._cells = CellMaker(self._power, self._speed)
        self._beginnings, self._together = Beginnings(), Together()
        self._mark: Point | None = None
        self._marked = False
        self._bands = Bands()
        self._present = PresentRiding()
        battery = profile.battery
        self._pack: Pack | Unknown = Pack(battery, profile.sensors) if battery else NO_BATTERY
        self.learner = Learner((kept or {}).get("curves"))
        self.adviser = Adviser()
        cutoff_v = None if isinstance(self._pack, Unknown) else self._pack.cutoff_v
        self._watches = Watches(profile, cutoff_v)
        self.latest = Latest()
        self.trip_line = TripLine()
        self._runs = RunBook()
        self.cell_listeners: list[Callable[[Cells], None]] = []
        self._curve: tuple[Posterior | None, str, Curve | Unknown] | None = None
        self._look_s: float | None = None
        """Stream time of the next look at what to advise [s]."""
        self._settled_s = 0.0

    def fold(self, block: Block) -> None:
        """Take in a block."""
        for piece in slices(block):
            self.latest.fold(piece)
            self._power.fold(piece)
            self._speed.fold(piece)
            self._cells.fold(piece)
            self._beginnings.look(self._power, self._speed)
            self._together.update(self._power.chosen(), self._speed.chosen())
            while cells := self._cells.settled(self.latest.first_s or 0.0, self.latest.now_s):
                self._learn(cells)

    def mark(self) -> None:
        """Set the mark that `since_mark` counts from to now; early on, to where counting begins."""
        self._mark, self._marked = self._together.last, True

    def start_run(self) -> None:
        """Start a run with the present set-up; consumption since the mark counts from here."""
        self.mark()
        self._runs.start(self.latest.now_s, self.learner.setup)

    def end_run(self) -> None:
        """End the run that goes on, if one does."""
        self._runs.end(self.latest.now_s)

    def charged_full(self) -> None:
        """Take the battery as full from now on."""
        if not isinstance(self._pack, Unknown):
            self._pack.charged_full()
            self._look_anew()

    def set_aim(self, aim: Aim) -> None:
        """Set the rider's target."""
        self.adviser.set_aim(aim)
        self._look_anew()

    def set_home(self, latitude_deg: float, longitude_deg: float) -> None:
        """Set the home point [deg], in place of the launch point."""
        self.adviser.home.put(latitude_deg, longitude_deg)
        self._look_anew()

    def set_reserve(self, fraction: float) -> None:
        """Set the share of the full energy to keep, in place of the profile's."""
        if not isinstance(self._pack, Unknown):
            self._pack.set_reserve(fraction)
            self._look_anew()

    @property
    def reserve_fraction(self) -> Number:
        """The share of the full energy to keep."""
        return self._pack if isinstance(self._pack, Unknown) else self._pack.reserve_fraction

    def select_setup(self, label: str) -> None:
        """Go on with the curve of another set-up; start one if it has none."""
        if label == self.learner.setup:
            return
        self.learner.select(label)
        self.adviser.forget_curve()
        # What was above the other set-up's curve says nothing of this one.
        self._watches.state(self._settled_s, "weed", False, "")
        self._look_anew()

    def _look_anew(self) -> None:
        """Look at what to advise now that something else is wanted; and soon again for alerts."""
        pack = self._counted_pack(self._power.chosen() or Unknown(self._power.why_none()))
        self.adviser.look(pack, self.learner.posterior)
        if self._look_s is not None:
            soon_s = (self._settled_s // EVERY_S + 1.0) * EVERY_S
            self._look_s = min(self._look_s, soon_s)

    def kept(self) -> dict[str, Any]:
        """Give what outlasts this ride, in JSON's own types."""
        battery = None if isinstance(self._pack, Unknown) else self._pack.as_dict()
        return {"curves": self.learner.as_dict(), "battery": battery}

    def resume_battery(self, kept: dict[str, Any], drawn_ah: float | None) -> None:
        """Carry the battery's count on from an earlier engine's `kept`.

        Parameters
        ----------
        kept
            What it gave.
        drawn_ah
            Charge drawn meanwhile [Ah], None where nobody knows.

        Raises
        ------
        ValueError
            If it is not what `kept` gives.
        """
        if not isinstance(self._pack, Unknown) and kept.get("battery") is not None:
            self._pack.resume(kept["battery"], drawn_ah)

    @property
    def counter_ah(self) -> float | None:
        """The autopilot's own charge counters [Ah], NaN without; None while no power is known."""
        side = self._power.chosen()
        return None if side is None else side.counter_ah

    @property
    def charge_ah(self) -> float:
        """Charge counted so far [Ah]."""
        side = self._power.chosen()
        return 0.0 if side is None else side.charge_ah

    @property
    def events(self) -> tuple[Event, ...]:
        """Alerts that came up so far."""
        return tuple(sorted(self._watches.events, key=lambda event: event.t_s))

    @property
    def packs(self) -> tuple[int, ...]:
        """Battery instances whose energy is summed; none where the autopilot's summary counts."""
        return self._power.packs

    @property
    def unmeasured_packs(self) -> tuple[int, ...]:
        """Battery instances that are heard and do not measure: they are in no sum."""
        return self._power.unmeasured

    def bands(self) -> tuple[Band, ...]:
        """Give what was done at each band of speed."""
        return self._bands.table(self._errors, self._noise_m2ps())

    def _noise_m2ps(self) -> float:
        meter = self._speed.chosen()
        return meter.track.noise.long_run_m2ps if meter else 0.0

    def curve(self) -> Curve | Unknown:
        """Give the speed-power curve of the present set-up, as of the last fit."""
        known, setup = self.learner.posterior, self.learner.setup
        if self._curve is None or self._curve[0] is not known or self._curve[1] != setup:
            self._curve = known, setup, curve(self.learner)
        return self._curve[2]

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
        elapsed_s = self.latest.now_s - (self.latest.first_s or 0.0)
        together = self._together
        trip = trip_sums(power, speed, together.since(together.first), elapsed_s, self._errors)
        minutes = window(300.0, power_now, speed_now)
        consumption = Consumption(
            last_20_s=wh_per_km(window(20.0, power_now, speed_now), self._errors),
            last_300_s=wh_per_km(minutes, self._errors),
            trip=trip.wh_per_km,
            since_mark=NO_MARK
            if not self._marked
            else stretch_wh_per_km(
                trip.energy_wh,
                trip.distance_m,
                together.since(self._mark or together.first),
                self._errors,
            ),
        )
        riding = self._riding(power_now, speed_now)
        advice = self.adviser.advice(self._counted_pack(power), self.learner.posterior)
        return Figures(
            t_s=self.latest.now_s,
            power_w=power_now if isinstance(power_now, Unknown) else power_now.power_w,
            volts_v=power_now if isinstance(power_now, Unknown) else power_now.volts_v,
            amps_a=power_now if isinstance(power_now, Unknown) else power_now.amps_a,
            speed_mps=speed_now if isinstance(speed_now, Unknown) else speed_now.speed_mps,
            wh_per_km=consumption,
            trip=trip,
            battery=self._battery(power, riding),
            range_m=Reach(
                now=range_now_m(self._counted_pack(power), riding),
                target=advice.range_target_m,
                best=advice.range_best_m,
            ),
            time_left_s=self._time_left_s(power_now, minutes, riding),
            best_speed_mps=advice.best_speed_mps,
            target=advice.target,
            home=advice.home,
            set_and_drift=set_and_drift(self.learner.posterior),
            curve=self.curve(),
            steady=self._runs.steady,
            runs=self._runs.table(self.latest.now_s, self._errors, self._noise_m2ps()),
            alerts=self._watches.alerts(self.latest.now_s),
        )

    def _learn(self, cells: Cells) -> None:
        """Take in settled seconds; look at what to advise at the times that are due for it."""
        for listener in self.cell_listeners:
            listener(cells)
        while len(cells):
            if self._look_s is None:
                self._look_s = math.ceil(float(cells.t_s[0]) / EVERY_S) * EVERY_S
            count = int(self._look_s - cells.t_s[0]) + 1
            part, cells = part_of_cells(cells, 0, count), part_of_cells(cells, count, None)
            self._take_in(part)
            if count <= len(part):
                self._look_s += self._look(self._look_s)

    def _take_in(self, cells: Cells) -> None:
        self._settled_s = float(cells.t_s[-1])
        self._bands.fold(cells)
        self._present.fold(cells)
        self._watches.seconds(cells)
        impossible_s = [*self._power.impossible_s(), *self._speed.impossible_s()]
        self._watches.implausible(cells, impossible_s)
        if not isinstance(self._pack, Unknown):
            self._pack.fold(cells)
        for t_s, fouled, excess in self.learner.fold(cells):
            self._watches.state(t_s, "weed", fouled, _weed(excess))
        self.adviser.fold(cells)
        self._runs.fold(cells)
        extend(self.trip_line, cells.t_s, self._power, self._speed)

    def _look(self, t_s: float) -> int:
        """Look at what holds until the next look; give when that is due [s from now]."""
        side = self._power.chosen(t_s)
        if side is not None:
            at = np.array([t_s])
            charge, counted = (float(side.at(n, at)[0]) for n in ("charge_ah", "counted_ah"))
            self._watches.counters(t_s, counted - charge, charge)
        pack = self._counted_pack(side or Unknown(self._power.why_none()))
        quiet_s = self.adviser.look(pack, self.learner.posterior)
        if not isinstance(pack, Unknown):
            riding = self._present.now()
            power_w = 0.0 if isinstance(riding, Unknown) else riding.power_w
            spare_wh = self._watches.energy(t_s, pack, power_w)
            self._watches.advice(t_s, self.adviser.home.turn_back, self.adviser.target)
            quiet_s = min(quiet_s, spare_wh * 3600.0 / max(power_w, LEAST_W))
            if pack.resting:
                quiet_s = 0.0
        if t_s < FIRST_S:
            quiet_s = 0.0
        pause_s = min(max(quiet_s * QUIET_FRACTION, EVERY_S), CALM_S)
        return int(pause_s // EVERY_S) * EVERY_S

    def _counted_pack(self, power: BatterySide | Unknown) -> Pack | Unknown:
        """Give the pack if what is drawn from it is counted."""
        if isinstance(self._pack, Unknown):
            return self._pack
        return power if isinstance(power, Unknown) else self._pack

    def _riding(
        self, power: BatterySide | Unknown, speed: DistanceMeter | Unknown
    ) -> Riding | Unknown:
        """Give the present way of riding; while an instrument is silent there is none."""
        for source in (power, speed):
            if isinstance(source, Unknown):
                return source
        return self._present.now()

    def _battery(
        self, power: BatterySide | Unknown, riding: Riding | Unknown
    ) -> BatteryState | Unknown:
        if isinstance(self._pack, Unknown):
            return self._pack
        pack = self._counted_pack(power)
        if isinstance(pack, Unknown):
            return BatteryState(pack, pack, pack)
        return pack.summary(0.0 if isinstance(riding, Unknown) else riding.power_w)

    def _time_left_s(
        self, power: BatterySide | Unknown, minutes: Stretch | Unknown, riding: Riding | Unknown
    ) -> Estimate:
        """Give how long the battery lasts: riding on as now, or at rest as in the last minutes."""
        pack = self._counted_pack(power)
        if isinstance(pack, Unknown):
            return pack
        resting = isinstance(minutes, Unknown) or minutes.distance_m.value < 0.3 * minutes.seconds_s
        if isinstance(riding, Unknown) or resting:
            if isinstance(minutes, Unknown):
                return minutes
            hours = minutes.seconds_s / 3600.0
            energy = minutes.energy_wh
            mean = Spread(energy.value / hours, energy.gradient / hours)
            left = pack.left_spread(mean.value)
            return time_left_s(left, mean, pack.covariance)
        left = pack.left_spread(riding.power_w)
        ahead_s = left.value / riding.power_w * 3600.0
        return time_left_s(left, riding.power(ahead_s), pack.covariance)

    def _unless_stale(self, source: Source | Unknown, what: str) -> Source | Unknown:
        if isinstance(source, Unknown):
            return source
        age_s = self.latest.now_s + self.latest.silent_s - source.last_s
        return source if age_s <= STALE_S else Unknown(f"no {what} for {age_s:.0f} s")


def _weed(excess_fraction: float) -> str:
    percent = round(100 * excess_fraction)
    return f"Power is {percent} % above the learned curve: weed or a fouled propeller?"
