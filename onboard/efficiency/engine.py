"""The engine: folds blocks, and gives the figures as they stand. The same live and replayed.

It holds no clock and does no input or output, and any cutting of a stream gives the same figures.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from onboard.block import Block
from onboard.contract.alerts import Event
from onboard.contract.commands import Amount
from onboard.contract.figure import Number, Unknown, throughout, within
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal
from onboard.contract.snapshot import (
    Consumption,
    Curve,
    Figures,
    Reach,
    Run,
    Trip,
    unknown_figures,
    unknown_steady,
)
from onboard.contract.trip_line import TripLine
from onboard.efficiency.advice.adviser import Advice, Adviser
from onboard.efficiency.advice.conditions import AlertConditions
from onboard.efficiency.advice.counted_pack import CountedPack
from onboard.efficiency.advice.observations import FoulingObserved
from onboard.efficiency.advice.present_riding import PresentRiding, Riding
from onboard.efficiency.advice.schedule import AdviceSchedule
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.curve.learner import Learner
from onboard.efficiency.curve.power_curve import curve
from onboard.efficiency.curve.set_and_drift import set_and_drift
from onboard.efficiency.curve.speed_power import Posterior
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.slices import slices
from onboard.efficiency.parts import Parts, itself
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.instruments import Instruments
from onboard.efficiency.sources.settled_seconds import CellMaker, Cells, part_of_cells
from onboard.efficiency.statistics.shared_errors import prior_covariance
from onboard.efficiency.trip.consumption import window
from onboard.efficiency.trip.counted_together import Point, Together
from onboard.efficiency.trip.runs import RunBook
from onboard.efficiency.trip.speed_bands import Band, Bands
from onboard.efficiency.trip.trip_line import GrowingLine, extend
from onboard.efficiency.trip.trip_sums import consumption, trip_sums
from onboard.profile import Profile

NO_MARK = Unknown(Reason.NO_MARK)


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
        self.instruments = Instruments(profile, self.parts)
        self._power, self._speed = self.instruments.power, self.instruments.speed
        self.latest = self.instruments.latest
        self._cells = CellMaker(self._power, self._speed)
        self._together = Together()
        self._mark: Point | None = None
        self._marked = False
        self._bands = Bands()
        self._present = PresentRiding()
        self._battery = CountedPack(profile, self.parts, self._power)
        self.learner = Learner((kept or {}).get("curves"))
        self.adviser = Adviser()
        self._conditions = AlertConditions(profile, self._battery.cutoff_v)
        self._schedule = AdviceSchedule(
            self.parts, self.instruments, self._battery, self._present, self.learner, self.adviser,
            self._conditions,
        )  # fmt: skip
        self._trip_line = GrowingLine()
        self._runs = RunBook()
        self.cell_listeners: list[Callable[[Cells], None]] = []
        self._curve: tuple[Posterior | None, str, Curve | Unknown] | None = None

    def fold(self, block: Block) -> None:
        """Take in a block."""
        fold = self.parts.fold
        for whole in slices(block):
            fold("seconds", self._cells.fold, self.instruments.fold(whole))
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
        if not isinstance(self._battery.pack, Unknown):
            self._battery.pack.charged_full()
            self._schedule.reevaluate()

    def charged(self, amount: Amount) -> None:
        """Take in what the rider says of a charge; see `recharge.charged`."""
        if not isinstance(self._battery.pack, Unknown):
            self._battery.pack.charged(amount)
            self._schedule.reevaluate()

    def unplug(self, source: str) -> Refusal | None:
        """Take a source as unplugged until it is heard again; give why not, None when done.

        Parameters
        ----------
        source
            As an alert names it: "battery 1", "motor 0", "GPS receiver".
        """
        why_not = self.instruments.unplug(source)
        self._schedule.reevaluate()
        return why_not

    def set_aim(self, aim: Aim) -> None:
        """Set the rider's target."""
        self.adviser.set_aim(aim)
        self._conditions.clear_target()
        self._schedule.reevaluate()

    def set_home(self, latitude_deg: float, longitude_deg: float) -> None:
        """Set the home point [deg], in place of the launch point."""
        self.adviser.home.put(latitude_deg, longitude_deg)
        self._schedule.reevaluate()

    def set_reserve(self, fraction: float) -> None:
        """Set the share of the full energy to keep, in place of the profile's."""
        if not isinstance(self._battery.pack, Unknown):
            self._battery.pack.set_reserve(fraction)
            self._schedule.reevaluate()

    @property
    def reserve_fraction(self) -> Number:
        """The share of the full energy to keep."""
        return within(self._battery.pack, lambda pack: pack.reserve_fraction)

    def select_setup(self, label: str) -> None:
        """Go on with the curve of another set-up; start one if it has none."""
        if label == self.learner.setup:
            return
        self.learner.select(label)
        self.adviser.forget_curve()
        # What was above the other set-up's curve says nothing of this one.
        self._conditions.observe(FoulingObserved(self._schedule.settled_s, False))
        self._schedule.reevaluate()

    def kept(self) -> dict[str, Any]:
        """Return what outlasts this ride, in JSON's own types."""
        battery = self._battery.kept(self.latest.now_s)
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
        self._battery.resume(kept.get("battery"), utc_s)

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
        self._battery.away(t_s, away, counter_ah)

    def was_off(self, until_s: float, off_s: float) -> None:
        """Learn that the autopilot was off up to a stream time, and for how long [s]."""
        self._battery.was_off(until_s, off_s)

    @property
    def counter_ah(self) -> float | None:
        """The autopilot's own charge counters [Ah], NaN without; None while no power is known."""
        side = self._power.chosen()
        return None if side is None else side.counter_ah

    @property
    def events(self) -> tuple[Event, ...]:
        """Alerts that came up so far."""
        return tuple(sorted(self._conditions.events, key=lambda event: event.t_s))

    @property
    def trip_line(self) -> TripLine:
        """The trip so far."""
        return self._trip_line.record()

    @property
    def packs(self) -> tuple[int, ...]:
        """Battery instances whose energy is summed; none where the autopilot's summary counts."""
        return self._power.packs

    @property
    def unmeasured_packs(self) -> tuple[int, ...]:
        """Battery instances that are heard and do not measure: they are in no sum."""
        return self._power.unmeasured

    def bands(self) -> tuple[Band, ...]:
        """Return what was done at each band of speed."""
        return self._bands.table(self._errors, self.instruments.noise_m2ps())

    def curve(self) -> Curve | Unknown:
        """Return the speed-power curve of the present set-up, as of the last fit."""
        known, setup = self.learner.posterior, self.learner.setup
        if self._curve is None or self._curve[0] is not known or self._curve[1] != setup:
            self._curve = known, setup, curve(self.learner)
        return self._curve[2]

    def figures(self, silent_s: float = 0.0, hidden: Unknown | None = None) -> Figures:
        """Return the figures at the newest sample folded.

        Parameters
        ----------
        silent_s
            For how long nothing has come since then [s], by the caller's clock: what is quoted as
            'now' goes stale by it.
        hidden
            Why no figure may be shown, but for what the instruments read now; None where they may.
        """
        self.latest.silent_s = silent_s
        if hidden is not None:
            return self._hidden(hidden)
        ask, instruments, battery = self.parts.ask, self.instruments, self._battery
        power, speed = instruments.battery_side(), instruments.speed_meter()
        power_now, speed_now = instruments.unless_stale(power), instruments.unless_stale(speed)
        now = power_now, speed_now
        heard = instruments.unless_silent(power)
        trip = ask("trip sums", throughout(Trip), self._trip, power, speed)
        if isinstance(heard, Unknown):
            trip = replace(trip, mean_power_w=heard)
        minutes = ask("trip sums", itself, window, 300.0, *now)
        riding = ask("way of riding", itself, self._riding, *now)
        advice: Advice = ask("advice", throughout(Advice), self._advice, heard)
        state = ask("battery", itself, battery.state, heard, riding)
        shown = Figures(
            t_s=self.latest.now_s,
            power_w=within(power_now, lambda side: side.power_w),
            volts_v=within(power_now, lambda side: side.volts_v),
            amps_a=within(power_now, lambda side: side.amps_a),
            speed_mps=within(speed_now, lambda meter: meter.speed_mps),
            wh_per_km=ask("trip sums", throughout(Consumption), self._consumption, *now, trip),
            trip=trip,
            battery=state,
            range_m=Reach(
                now=ask("battery", itself, battery.range_now_m, heard, riding),
                target=advice.range_target_m,
                best=advice.range_best_m,
            ),
            time_left_s=ask("battery", itself, battery.time_left_s, power_now, minutes, riding),
            best_speed_mps=advice.best_speed_mps,
            target=advice.target,
            home=advice.home,
            set_and_drift=ask("curve", itself, lambda: set_and_drift(self.learner.posterior)),
            curve=ask("curve", itself, self.curve),
            steady=ask("runs", unknown_steady, lambda: self._runs.steady),
            runs=ask("runs", lambda _: (), self._run_table),
            alerts=(),
            **self._readings(),
        )
        question = ask("battery", lambda _: (), battery.question, shown.t_s)
        alerts = ask("alerts", lambda _: (), self._conditions.alerts, shown)
        return replace(shown, alerts=(*question, *alerts))

    def _hidden(self, why: Unknown) -> Figures:
        """Return figures of which only what the instruments read now is known."""
        readings: dict[str, Any] = {
            name: why if isinstance(reading, Unknown) else reading
            for name, reading in self._readings().items()
        }
        return replace(unknown_figures(why, self.latest.now_s, self.learner.setup), **readings)

    def _readings(self) -> dict[str, Any]:
        """Return the fields of `Figures` that are read and not worked out."""
        return self.instruments.readings() | {
            "setup": self.learner.setup,
            "setups": self.learner.setups,
            "reserve_fraction": self.reserve_fraction,
        }

    def _trip(self, power: BatterySide | Unknown, speed: DistanceMeter | Unknown) -> Trip:
        both = self._together.since(self._together.first)
        return trip_sums(power, speed, both, self.latest.elapsed_s, self._errors)

    def _consumption(
        self, power: BatterySide | Unknown, speed: DistanceMeter | Unknown, trip: Trip
    ) -> Consumption:
        together = self._together
        since = together.since(self._mark or together.first) if self._marked else NO_MARK
        return consumption(power, speed, trip, since, self._errors)

    def _advice(self, power: BatterySide | Unknown) -> Advice:
        return self.adviser.advice(self._battery.by(power), self.learner.posterior)

    def _run_table(self) -> tuple[Run, ...]:
        return self._runs.table(self.latest.now_s, self._errors, self.instruments.noise_m2ps())

    def _learn(self, cells: Cells) -> None:
        """Take in settled seconds; look at what to advise at the times that are due for it."""
        for listener in self.cell_listeners:
            listener(cells)
        self.parts.fold("alerts", self._tell_sources)
        while len(cells):
            count = self._schedule.seconds_until_due(float(cells.t_s[0]))
            part, cells = part_of_cells(cells, 0, count), part_of_cells(cells, count, None)
            self._take_in(part)
            self._schedule.evaluate_if_due(float(part.t_s[-1]))

    def _take_in(self, cells: Cells) -> None:
        fold = self.parts.fold
        fold("speed bands", self._bands.fold, cells)
        fold("way of riding", self._present.fold, cells)
        fold("alerts", self._watch, cells)
        self._battery.fold(cells)
        for t_s, fouled, excess in fold("curve", self.learner.fold, cells) or ():
            fold("alerts", self._weed, t_s, fouled, excess)
        fold("advice", self.adviser.fold, cells)
        fold("runs", self._runs.fold, cells)
        fold("trip line", extend, self._trip_line, cells.t_s, self._power, self._speed)

    def _watch(self, cells: Cells) -> None:
        self._conditions.fold(cells, self.instruments.impossible_s())

    def _weed(self, t_s: float, fouled: bool, excess_fraction: float) -> None:
        self._conditions.observe(FoulingObserved(t_s, fouled, excess_fraction))

    def _tell_sources(self) -> None:
        for news in self.instruments.news():
            self._conditions.observe(news)

    def _riding(
        self, power: BatterySide | Unknown, speed: DistanceMeter | Unknown
    ) -> Riding | Unknown:
        """Return the present way of riding; while an instrument is silent there is none."""
        for source in (power, speed):
            if isinstance(source, Unknown):
                return source
        return self._present.now()
