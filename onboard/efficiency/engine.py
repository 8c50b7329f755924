"""The engine: folds blocks, and gives the figures as they stand. The same live and replayed.

It holds no clock and does no input or output. Any cutting of a stream into blocks gives the same
figures.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from onboard.block import Block
from onboard.efficiency.advice import Advice, Adviser, nothing
from onboard.efficiency.alerts import Alert, Event
from onboard.efficiency.amount import Amount
from onboard.efficiency.bands import Band, Bands
from onboard.efficiency.battery import BatteryState, Pack
from onboard.efficiency.battery_side import BatterySide
from onboard.efficiency.cells import CellMaker, Cells, part_of_cells
from onboard.efficiency.consumption import Stretch, wh_per_km, window
from onboard.efficiency.distance import DistanceMeter
from onboard.efficiency.drive_sources import DriveSources
from onboard.efficiency.figure import Estimate, Number, Unknown, reaching_up_to
from onboard.efficiency.figures import (
    Consumption,
    Figures,
    Reach,
    Trip,
    unknown_consumption,
    unknown_trip,
)
from onboard.efficiency.heard import SILENT_S
from onboard.efficiency.latest import STALE_S, Latest
from onboard.efficiency.learner import Learner
from onboard.efficiency.parts import LEFT_OUT, PartError, Parts, itself
from onboard.efficiency.power_curve import Curve, curve
from onboard.efficiency.power_sources import PowerSources
from onboard.efficiency.present import PresentRiding, Riding
from onboard.efficiency.reach import range_now_m, time_left_s
from onboard.efficiency.recharge import Away, question
from onboard.efficiency.runs import Run, RunBook
from onboard.efficiency.shared_errors import Spread, prior_covariance
from onboard.efficiency.slices import slices
from onboard.efficiency.speed_power import Posterior
from onboard.efficiency.speed_sources import SpeedSources
from onboard.efficiency.steady_now import Steady, unknown_steady
from onboard.efficiency.target import Aim
from onboard.efficiency.together import Point, Together
from onboard.efficiency.trip import stretch_wh_per_km, trip_sums
from onboard.efficiency.trip_line import TripLine, extend
from onboard.efficiency.watches import Watches
from onboard.efficiency.water import SetAndDrift, set_and_drift
from onboard.profile import Profile

Source = TypeVar("Source", BatterySide, DistanceMeter)

EVERY_S, CALM_S = 10, 300
"""How often it is looked at what to advise: while something may be due, and at least."""

QUIET_FRACTION = 0.25
"""Of the time for which nothing can be due, as far as one can tell, until it is looked again."""

ASK_FROM_S = 20.0
"""An autopilot that knows the time of day has said so by then: no question before it."""

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
    parts
        Which of its parts are at work, and who is told of one that fails; None: all of them, and
        every fault is raised.

    Raises
    ------
    ValueError
        If it is not what `kept` gives.
    """

    def __init__(
        self, profile: Profile, kept: dict[str, Any] | None = None, parts: Parts | None = None
    ) -> None:
        self.parts = parts or Parts()
        self._errors = prior_covariance(profile.sensors, profile.battery)
        self._power = PowerSources(profile.sensors)
        self._speed = SpeedSources()
        self._drive = DriveSources()
        self._cells = CellMaker(self._power, self._speed)
        self._together = Together()
        self._mark: Point | None = None
        self._marked = False
        self._bands = Bands()
        self._present = PresentRiding()
        battery = profile.battery
        self._pack: Pack | Unknown = NO_BATTERY
        if battery:
            pack = self.parts.fold("battery", Pack, battery, profile.sensors)
            self._pack = pack or LEFT_OUT
        self._aways: list[tuple[float, Away, float]] = []
        """What the pack is still to learn: it needs the counter that the power is counted by."""
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
        fold = self.parts.fold
        for whole in slices(block):
            piece = fold("motor drive", self._drive.passed, whole) or whole
            self.latest.fold(piece)
            fold("power", self._power.fold, piece)
            fold("speed", self._speed.fold, piece)
            fold("seconds", self._cells.fold, piece)
            while cells := fold("seconds", self._settled_cells):
                self._learn(cells)
            # Last: which sources count is decided as the seconds settle.
            fold("trip sums", self._sum_together)

    def _sum_together(self) -> None:
        self._together.update(self._power.chosen(), self._speed.chosen())

    def _settled_cells(self) -> Cells:
        return self._cells.settled(self.latest.first_s or 0.0, self.latest.now_s)

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

    def charged(self, amount: Amount) -> None:
        """Take in what the rider says of a charge; see `recharge.charged`."""
        if not isinstance(self._pack, Unknown):
            self._pack.charged(amount)
            self._look_anew()

    def unplug(self, source: str) -> str | None:
        """Take a source as unplugged until it is heard again; give why not, None when done.

        Parameters
        ----------
        source
            As an alert names it: "battery 1", "motor 0", "GPS receiver".
        """
        what, _, number = source.rpartition(" ")
        now_s = self.latest.now_s
        if what == "battery" and number.isdecimal():
            why_not = self._power.unplug(int(number), now_s)
            self._look_anew()
        elif what == "motor" and number.isdecimal():
            why_not = self._drive.unplug(int(number), now_s)
        else:
            why_not = self._speed.unplug(source, now_s)
        return why_not

    def drive(self, name: str) -> Number:
        """Give the newest reading of the motor that is shown, by a column of `drive`."""
        now_s = self.latest.now_s + self.latest.silent_s
        return self.parts.ask("motor drive", itself, self._drive.value, name, now_s)

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
        power = self.parts.ask("power", itself, self._heard_side)
        pack = self._counted_pack(power)
        self.parts.fold("advice", self.adviser.look, pack, self.learner.posterior)
        if self._look_s is not None:
            soon_s = (self._settled_s // EVERY_S + 1.0) * EVERY_S
            self._look_s = min(self._look_s, soon_s)

    def kept(self) -> dict[str, Any]:
        """Give what outlasts this ride, in JSON's own types."""
        side, pack, battery = self._power.chosen(), self._pack, None
        # What was never counted nor stated is no count to go on with.
        if not isinstance(pack, Unknown) and (side is not None or pack.is_told):
            now = () if side is None else (side.charge_ah, self.latest.now_s)
            battery = pack.as_dict(*now)
        return {"curves": self.learner.as_dict(), "battery": battery}

    def resume_battery(self, kept: dict[str, Any], utc_s: float) -> None:
        """Carry the battery's count on from an earlier engine's `kept`, before anything is folded.

        For how long nobody looked, `away` tells as soon as that is known.

        Parameters
        ----------
        kept
            What it gave.
        utc_s
            When that was [s, Unix time]; NaN where nobody knows.

        Raises
        ------
        ValueError
            If it is not what `kept` gives.
        """
        if isinstance(self._pack, Unknown) or kept.get("battery") is None:
            return
        try:
            self._pack.resume(kept["battery"], Away(), utc_s)
        except ValueError:
            raise
        except Exception as fault:
            raise PartError("battery") from fault

    def away(self, t_s: float, away: Away, counter_ah: float = math.nan) -> None:
        """Learn, as of a stream time [s], for how long nobody looked before the stream began.

        Parameters
        ----------
        t_s
            When that is known: before any sample of that time is folded.
        away
            What is known of it.
        counter_ah
            What the autopilot's counter showed then [Ah], NaN without.
        """
        self._aways.append((t_s, away, counter_ah))

    def was_off(self, until_s: float, off_s: float) -> None:
        """Learn that the autopilot was off up to a stream time, and for how long [s]."""
        if not isinstance(self._pack, Unknown):
            self.parts.fold("battery", self._pack.was_off, until_s, Away(off_s))

    def _tell_pack(self, pack: Pack, until_s: float) -> None:
        """Tell the pack how long nobody looked, once it is known which counter tells of it."""
        side = self._power.chosen(until_s)
        if side is None:
            return
        for t_s, away, before_ah in self._aways:
            drawn_ah = side.counter_began_ah - before_ah
            counted = away.went_on and drawn_ah >= 0
            pack.away(t_s, replace(away, drawn_ah=drawn_ah) if counted else away)
        self._aways.clear()

    @property
    def counter_ah(self) -> float | None:
        """The autopilot's own charge counters [Ah], NaN without; None while no power is known."""
        side = self._power.chosen()
        return None if side is None else side.counter_ah

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
        ask = self.parts.ask
        power = ask("power", itself, self._power_side)
        speed = ask("speed", itself, self._speed_meter)
        power_now = self._unless_stale(power, "power")
        speed_now = self._unless_stale(speed, "speed")
        heard = ask("power", itself, self._unless_silent, power)
        trip = ask("trip sums", unknown_trip, self._trip, power, speed)
        if isinstance(heard, Unknown):
            trip = replace(trip, mean_power_w=heard)
        minutes = ask("trip sums", itself, window, 300.0, power_now, speed_now)
        riding = ask("way of riding", itself, self._riding, power_now, speed_now)
        advice: Advice = ask("advice", nothing, self._advice, heard)
        return Figures(
            t_s=self.latest.now_s,
            power_w=power_now if isinstance(power_now, Unknown) else power_now.power_w,
            volts_v=power_now if isinstance(power_now, Unknown) else power_now.volts_v,
            amps_a=power_now if isinstance(power_now, Unknown) else power_now.amps_a,
            speed_mps=speed_now if isinstance(speed_now, Unknown) else speed_now.speed_mps,
            wh_per_km=ask(
                "trip sums", unknown_consumption, self._consumption, power_now, speed_now, trip
            ),
            trip=trip,
            battery=ask("battery", itself, self._battery, heard, riding),
            range_m=Reach(
                now=ask("battery", itself, self._range_now_m, heard, riding),
                target=advice.range_target_m,
                best=advice.range_best_m,
            ),
            time_left_s=ask("battery", itself, self._time_left_s, power_now, minutes, riding),
            best_speed_mps=advice.best_speed_mps,
            target=advice.target,
            home=advice.home,
            set_and_drift=ask("curve", itself, self._set_and_drift),
            curve=ask("curve", itself, self.curve),
            steady=ask("runs", unknown_steady, self._steady),
            runs=ask("runs", lambda _: (), self._run_table),
            alerts=(
                *ask("battery", lambda _: (), self._question),
                *ask("alerts", lambda _: (), self._watches.alerts, self.latest.now_s),
            ),
        )

    def _power_side(self) -> BatterySide | Unknown:
        if "power" in self.parts.without:
            return LEFT_OUT
        return self._power.chosen() or Unknown(self._power.why_none())

    def _heard_side(self) -> BatterySide | Unknown:
        return self._unless_silent(self._power_side())

    def _speed_meter(self) -> DistanceMeter | Unknown:
        if "speed" in self.parts.without:
            return LEFT_OUT
        return self._speed.chosen() or Unknown(self._speed.why_none())

    def _trip(self, power: BatterySide | Unknown, speed: DistanceMeter | Unknown) -> Trip:
        elapsed_s = self.latest.now_s - (self.latest.first_s or 0.0)
        both = self._together.since(self._together.first)
        return trip_sums(power, speed, both, elapsed_s, self._errors)

    def _consumption(
        self, power: BatterySide | Unknown, speed: DistanceMeter | Unknown, trip: Trip
    ) -> Consumption:
        together = self._together
        since_mark: Estimate = NO_MARK
        if self._marked:
            since = together.since(self._mark or together.first)
            since_mark = stretch_wh_per_km(trip.energy_wh, trip.distance_m, since, self._errors)
        return Consumption(
            last_20_s=wh_per_km(window(20.0, power, speed), self._errors),
            last_300_s=wh_per_km(window(300.0, power, speed), self._errors),
            trip=trip.wh_per_km,
            since_mark=since_mark,
        )

    def _advice(self, power: BatterySide | Unknown) -> Advice:
        return self.adviser.advice(self._counted_pack(power), self.learner.posterior)

    def _set_and_drift(self) -> SetAndDrift | Unknown:
        return set_and_drift(self.learner.posterior)

    def _steady(self) -> Steady:
        return self._runs.steady

    def _run_table(self) -> tuple[Run, ...]:
        return self._runs.table(self.latest.now_s, self._errors, self._noise_m2ps())

    def _learn(self, cells: Cells) -> None:
        """Take in settled seconds; look at what to advise at the times that are due for it."""
        for listener in self.cell_listeners:
            listener(cells)
        self.parts.fold("alerts", self._tell_sources)
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
        fold = self.parts.fold
        fold("speed bands", self._bands.fold, cells)
        fold("way of riding", self._present.fold, cells)
        fold("alerts", self._watch, cells)
        if not isinstance(self._pack, Unknown):
            if self._aways:
                fold("battery", self._tell_pack, self._pack, float(cells.t_s[-1]))
            fold("battery", self._pack.fold, cells)
        for t_s, fouled, excess in fold("curve", self.learner.fold, cells) or ():
            fold("alerts", self._watches.state, t_s, "weed", fouled, _weed(excess))
        fold("advice", self.adviser.fold, cells)
        fold("runs", self._runs.fold, cells)
        fold("trip line", extend, self.trip_line, cells.t_s, self._power, self._speed)

    def _watch(self, cells: Cells) -> None:
        self._watches.seconds(cells)
        impossible_s = [*self._power.impossible_s(), *self._speed.impossible_s()]
        self._watches.implausible(cells, impossible_s)

    def _tell_sources(self) -> None:
        for news in self._power.take_news():
            brief = (*news.brief, *self._speed.brief(news.t_s), *self._drive.brief(news.t_s))
            self._watches.sources(replace(news, brief=brief))

    def _look(self, t_s: float) -> int:
        """Look at what holds until the next look; give when that is due [s from now]."""
        fold = self.parts.fold
        side = fold("power", self._power.chosen, t_s)
        if side is not None:
            at = np.array([t_s])
            charge, counted = (float(side.at(n, at)[0]) for n in ("charge_ah", "counted_ah"))
            fold("alerts", self._watches.counters, t_s, counted - charge, charge)
        known = side or self.parts.ask("power", itself, self._power_side)
        if isinstance(known, BatterySide) and known.silent:
            pack = self._counted_pack(_not_heard(known.silent))
        else:
            pack = self._counted_pack(known)
        quiet_s = fold("advice", self.adviser.look, pack, self.learner.posterior)
        if quiet_s is None:
            quiet_s = math.inf
        if not isinstance(pack, Unknown):
            riding = fold("way of riding", self._present.now) or LEFT_OUT
            power_w = 0.0 if isinstance(riding, Unknown) else riding.power_w
            spare_wh = fold("battery", self._spare_wh, t_s, pack, power_w) or 0.0
            if "advice" not in self.parts.without:
                aim = self.adviser.home.turn_back, self.adviser.target
                fold("alerts", self._watches.advice, t_s, *aim)
            quiet_s = min(quiet_s, spare_wh * 3600.0 / max(power_w, LEAST_W))
            if pack.resting:
                quiet_s = 0.0
        if t_s < FIRST_S:
            quiet_s = 0.0
        pause_s = min(max(quiet_s * QUIET_FRACTION, EVERY_S), CALM_S)
        return int(pause_s // EVERY_S) * EVERY_S

    def _spare_wh(self, t_s: float, pack: Pack, power_w: float) -> float | None:
        """Look at what is left; give how far off an alert of it is [Wh]."""
        return self.parts.fold("alerts", self._watches.energy, t_s, pack, power_w)

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

    def _question(self) -> tuple[Alert, ...]:
        """Ask whether the pack was charged, where nobody knows."""
        if isinstance(self._pack, Unknown) or self._pack.unsaid_since_s is None:
            return ()
        open_s = self.latest.now_s - self._pack.asks_from_s
        if open_s < ASK_FROM_S:
            return ()
        return (Alert("charge_unsaid", "warning", question(self._pack.unsaid_since_s), open_s),)

    def _range_now_m(self, power: BatterySide | Unknown, riding: Riding | Unknown) -> Estimate:
        """Give the range as the pack is; its interval goes on to that of a pack charged unseen."""
        pack = self._counted_pack(power)
        reach = range_now_m(pack, riding)
        if isinstance(pack, Unknown) or pack.if_charged is None:
            return reach
        return reaching_up_to(reach, range_now_m(pack.if_charged, riding))

    def _time_left_s(
        self, power: BatterySide | Unknown, minutes: Stretch | Unknown, riding: Riding | Unknown
    ) -> Estimate:
        """Give how long the battery lasts: riding on as now, or at rest as in the last minutes."""
        pack = self._counted_pack(power)
        if isinstance(pack, Unknown):
            return pack
        if pack.if_charged is not None:
            upper = self._time_left_of(pack.if_charged, minutes, riding)
            return reaching_up_to(self._time_left_of(pack, minutes, riding), upper)
        return self._time_left_of(pack, minutes, riding)

    def _time_left_of(
        self, pack: Pack, minutes: Stretch | Unknown, riding: Riding | Unknown
    ) -> Estimate:
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
        age_s = self.latest.now_s + self.latest.silent_s - source.heard_s
        if age_s <= STALE_S:
            return source
        if isinstance(source, BatterySide):
            name = source.quietest
        else:
            name = self._speed.name_of(source) if self._speed.several else ""
        return Unknown(f"no {what} {f'from {name} ' if name else ''}for {age_s:.0f} s")

    def _unless_silent(self, side: BatterySide | Unknown) -> BatterySide | Unknown:
        """Give the meters while all are heard: what is drawn unseen must not look like a saving."""
        if isinstance(side, Unknown):
            return side
        if side.silent:
            return _not_heard(side.silent)
        age_s = self.latest.now_s - side.heard_s
        if age_s <= SILENT_S:
            return side
        name = side.quietest or "the power monitor"
        return Unknown(f"what {name} gives is not known: not heard for {age_s:.0f} s")


def _not_heard(names: tuple[str, ...]) -> Unknown:
    return Unknown(f"what {' and '.join(names)} gives is not known: not heard any more")


def _weed(excess_fraction: float) -> str:
    percent = round(100 * excess_fraction)
    return f"Power is {percent} % above the learned curve: weed or a fouled propeller?"
