"""The engine: blocks in, figures out, the same live and replayed. No clock, no input or output.

    block ─ slices ─> power sources ── energy ──┐
                      speed sources ─ distance ─┼─> settled ─┬─> battery  charge state, rest,
                                      track     │   seconds  │            resistance, energy left
                                                │            ├─> learner  steady blocks, circles,
                                                │            │            speed_power, fouling
                                                │            ├─> present way of riding
                                                │            ├─> speed bands, runs, trip line
                                                │            ├─> alert conditions
                                                │            └─> advice   outlook, target, home
                                                └─> trip sums, windows, what both meters count

**Folding.** A block is cut into slices of stream time (`meters/slices.py`). Each source's gates
reject impossible samples; its meter adds the rest to cumulative curves. Seconds that every source
has passed are cut from them (`sources/settled_seconds.py`); parts that learn or advise fold those,
so they cannot depend on the partition. Totals of both meters come last: sources are chosen before.

**Evaluating.** Alerts and stateful advice are evaluated at multiples of ten seconds of stream time,
less often while nothing can be due (`advice/schedule.py`); other figures on demand, in `figures`.

**Isolation.** Each call of a part goes through `Parts`: a fault names it, and an engine can be
built without it; its figures, and those based on them, are then unknown.
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
    Trip,
    unknown_figures,
    unknown_steady,
)
from onboard.contract.trip_line import TripLine
from onboard.efficiency.advice.adviser import Advice, Adviser
from onboard.efficiency.advice.conditions import READINGS, AlertConditions
from onboard.efficiency.advice.counted_pack import CountedPack
from onboard.efficiency.advice.observations import FoulingObserved
from onboard.efficiency.advice.schedule import AdviceSchedule
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.battery.pack import PACK_DEGC, Pack
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.curve.learner import Learner
from onboard.efficiency.curve.power_curve import curve
from onboard.efficiency.curve.set_and_drift import set_and_drift
from onboard.efficiency.curve.speed_power import Posterior
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.slices import slices
from onboard.efficiency.parts import Parts, itself
from onboard.efficiency.riding.present_riding import PresentRiding
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.instruments import Instruments
from onboard.efficiency.sources.settled_seconds import SecondsCutter, SettledSeconds
from onboard.efficiency.statistics.shared_errors import prior_covariance
from onboard.efficiency.trip.consumption import window
from onboard.efficiency.trip.counted_together import CountedPoint, CountedTogether
from onboard.efficiency.trip.runs import MarkedRuns
from onboard.efficiency.trip.speed_bands import RiddenSpeeds, SpeedBands
from onboard.efficiency.trip.trip_line import FUSED_PLACE, GrowingLine
from onboard.efficiency.trip.trip_sums import consumption, trip_sums
from onboard.profile import Profile


class Engine:
    """Turn blocks into figures.

    Parameters
    ----------
    profile
        The craft.
    saved
        State from an earlier engine's `saved_state`, whose curves are carried over; None without.
    parts
        The parts in use, with a handler of their faults; None for all of them, with every fault
        raised.

    Raises
    ------
    ValueError
        If `saved` is not such a state.
    """

    def __init__(
        self, profile: Profile, saved: dict[str, Any] | None = None, parts: Parts | None = None
    ) -> None:
        self.parts = parts or Parts()
        self._errors = prior_covariance(profile.sensors, profile.battery)
        self.instruments = Instruments(profile, self.parts)
        self._power, self._speed = self.instruments.power, self.instruments.speed
        self.latest = self.instruments.latest
        self._cutter = SecondsCutter(self._power, self._speed, (*READINGS, PACK_DEGC, *FUSED_PLACE))
        self.together = CountedTogether()
        self._mark: CountedPoint | None = None
        self._marked = False
        self._bands = SpeedBands()
        self._present = PresentRiding()
        self._battery = CountedPack(profile, self.parts, self._power)
        self.learner = Learner((saved or {}).get("curves"))
        self.adviser = Adviser()
        self._conditions = AlertConditions(profile, self._battery.cutoff_v)
        self._schedule = AdviceSchedule(
            self.parts, self.instruments, self._battery, self._present, self.learner, self.adviser,
            self._conditions,
        )  # fmt: skip
        self._trip_line = GrowingLine()
        self._runs = MarkedRuns()
        self.second_listeners: list[Callable[[SettledSeconds], None]] = []
        self.block_listeners: list[Callable[[Block], None]] = []
        self._curve: tuple[Posterior | None, str, Curve | Unknown] | None = None

    def fold(self, block: Block) -> None:
        """Fold a block."""
        for listener in self.block_listeners:
            listener(block)
        fold = self.parts.fold
        for whole in slices(block):
            passed = self.instruments.fold(whole)
            fold("seconds", self._cutter.fold, passed)
            fold("alerts", self._conditions.fold_block, passed)
            first_s, now_s = self.latest.first_s or 0.0, self.latest.now_s
            while seconds := fold("seconds", self._cutter.settled, first_s, now_s):
                self._learn(seconds)
            fold(
                "trip sums", lambda: self.together.fold(self._power.chosen(), self._speed.chosen())
            )

    def mark(self) -> None:
        """Set the mark that `since_mark` counts from: now, or the point where counting begins."""
        self._mark, self._marked = self.together.last, True

    def start_run(self) -> None:
        """Start a run with the present set-up, and set the mark."""
        self.mark()
        self._runs.start(self.latest.now_s, self.learner.setup)

    def end_run(self) -> None:
        """End the run under way, if any."""
        self._runs.end(self.latest.now_s)

    def charged_full(self) -> None:
        """Set the battery to full now."""
        self._change_pack(lambda pack: pack.charged_full())

    def charged(self, amount: Amount) -> None:
        """Fold a charge that the rider states; see `recharge.charged`."""
        self._change_pack(lambda pack: pack.charged(amount))

    def _change_pack(self, change: Callable[[Pack], None]) -> None:
        if not isinstance(self._battery.pack, Unknown):
            change(self._battery.pack)
            self._schedule.reevaluate()

    def unplug(self, source: str) -> Refusal | None:
        """Leave a source out until it is active again; return a refusal, None when done.

        Parameters
        ----------
        source
            Its name in alerts: "battery 1", "motor 0", "GPS receiver".
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
        """Set the home point [deg], replacing the launch point."""
        self.adviser.home.put(latitude_deg, longitude_deg)
        self._schedule.reevaluate()

    def set_reserve(self, fraction: float) -> None:
        """Set the share of the full energy to keep in reserve, overriding the profile's."""
        self._change_pack(lambda pack: pack.set_reserve(fraction))

    @property
    def reserve_fraction(self) -> Number:
        """Share of the full energy to keep in reserve."""
        return within(self._battery.pack, lambda pack: pack.reserve_fraction)

    def select_setup(self, label: str) -> None:
        """Continue with the curve of another set-up; start one if it has none."""
        if label == self.learner.setup:
            return
        self.learner.select(label)
        self._conditions.change_setup(self._schedule.settled_s)
        self._schedule.reevaluate()

    def saved_state(self) -> dict[str, Any]:
        """Return the state to keep after this ride, in JSON's own types."""
        battery = self._battery.saved_state(self.latest.now_s)
        return {"curves": self.learner.as_dict(), "battery": battery}

    def resume_battery(self, saved: dict[str, Any], utc_s: float) -> None:
        """Continue the battery's count from an earlier engine's state, before anything is folded.

        The time without a record in between is passed to `away` once it is known.

        Parameters
        ----------
        saved
            State from its `saved_state`.
        utc_s
            Time of that state [s, Unix time]; NaN where unknown.

        Raises
        ------
        ValueError
            If `saved` is not such a state.
        """
        self._battery.resume(saved.get("battery"), utc_s)

    def away(self, t_s: float, away: Away, counter_ah: float = math.nan) -> None:
        """Fold the time without a record before the stream began.

        Parameters
        ----------
        t_s
            Stream time at which it is known [s]: before any sample of that time is folded.
        away
            The pause, as far as known.
        counter_ah
            Reading of the autopilot's counter before it [Ah], NaN without.
        """
        self._battery.away(t_s, away, counter_ah)

    def was_off(self, until_s: float, off_s: float) -> None:
        """Fold the time for which the autopilot was off until a stream time [s]."""
        self._battery.was_off(until_s, off_s)

    @property
    def counter_ah(self) -> float | None:
        """The autopilot's own charge counters [Ah], NaN without; None while no power is known."""
        side = self._power.chosen()
        return None if side is None else side.counter_ah

    @property
    def events(self) -> tuple[Event, ...]:
        """Alerts raised so far, in order of time."""
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
        """Battery instances that send but do not measure: excluded from all sums."""
        return self._power.unmeasured

    def ridden(self) -> RiddenSpeeds:
        """Return the totals by speed, from which bands are made."""
        return self._bands.ridden(self._errors, self.instruments.noise_m2ps())

    def curve(self) -> Curve | Unknown:
        """Return the speed-power curve of the present set-up from the last fit."""
        known, setup = self.learner.posterior, self.learner.setup
        if self._curve is None or self._curve[0] is not known or self._curve[1] != setup:
            self._curve = known, setup, curve(self.learner, self._errors)
        return self._curve[2]

    def figures(self, silent_s: float = 0.0, hidden: Unknown | None = None) -> Figures:
        """Return the figures at the newest sample folded.

        Parameters
        ----------
        silent_s
            Time since then without any sample, by the caller's clock [s]: figures quoted as 'now'
            go stale by it.
        hidden
            Why no figure may be shown, except the instruments' readings; None where they may.
        """
        self.latest.silent_s = silent_s
        if hidden is not None:
            return self._hidden(hidden)
        ask, instruments, battery = self.parts.ask, self.instruments, self._battery
        power, speed = instruments.battery_side(), instruments.speed_meter()
        power_now, speed_now = instruments.unless_stale(power), instruments.unless_stale(speed)
        now = power_now, speed_now
        active = instruments.unless_silent(power)
        trip = ask("trip sums", throughout(Trip), self._trip, power, speed)
        if isinstance(active, Unknown):
            trip = replace(trip, mean_power_w=active)
        minutes = ask("trip sums", itself, window, 300.0, *now)
        # There is none while an instrument is silent.
        present = within(power_now, lambda _: within(speed_now, lambda _: self._present))
        riding = ask("way of riding", itself, within, present, PresentRiding.now)
        advice = ask(
            "advice",
            throughout(Advice),
            lambda: self.adviser.advice(battery.by(active), self.learner.posterior, riding),
        )
        shown = Figures(
            t_s=self.latest.now_s,
            power_w=within(power_now, lambda side: side.power_w),
            volts_v=within(power_now, lambda side: side.volts_v),
            amps_a=within(power_now, lambda side: side.amps_a),
            speed_mps=within(speed_now, lambda meter: meter.speed_mps),
            wh_per_km=ask("trip sums", throughout(Consumption), self._consumption, *now, trip),
            trip=trip,
            battery=ask("battery", itself, battery.state, active, riding),
            range_m=Reach(
                now=ask("battery", itself, battery.range_now_m, active, riding),
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
            runs=ask(
                "runs",
                lambda _: (),
                lambda: self._runs.table(self._errors, instruments.noise_m2ps(), self.latest.now_s),
            ),
            alerts=(),
            **self._readings(),
        )
        question = ask("battery", lambda _: (), battery.question, shown.t_s)
        alerts = ask("alerts", lambda _: (), self._conditions.alerts, shown)
        return replace(shown, alerts=(*question, *alerts))

    def _hidden(self, why: Unknown) -> Figures:
        """Return figures of which only the instruments' readings are known."""
        readings: dict[str, Any] = {
            name: why if isinstance(reading, Unknown) else reading
            for name, reading in self._readings().items()
        }
        return replace(unknown_figures(why, self.latest.now_s, self.learner.setup), **readings)

    def _readings(self) -> dict[str, Any]:
        """Return the fields of `Figures` that are read rather than computed."""
        return self.instruments.readings() | {
            "setup": self.learner.setup,
            "setups": self.learner.setups,
            "reserve_fraction": self.reserve_fraction,
        }

    def _trip(self, power: BatterySide | Unknown, speed: DistanceMeter | Unknown) -> Trip:
        both = self.together.since(self.together.first)
        return trip_sums(power, speed, both, self.latest.elapsed_s, self._errors)

    def _consumption(
        self, power: BatterySide | Unknown, speed: DistanceMeter | Unknown, trip: Trip
    ) -> Consumption:
        since = self.together.since(self._mark or self.together.first)
        counted = since if self._marked else Unknown(Reason.NO_MARK)
        return consumption(power, speed, trip, counted, self._errors)

    def _learn(self, seconds: SettledSeconds) -> None:
        """Fold settled seconds; evaluate alerts and advice at the times that are due."""
        for listener in self.second_listeners:
            listener(seconds)
        self.parts.fold("alerts", self._watch_sources)
        while len(seconds):
            count = self._schedule.seconds_until_due(float(seconds.t_s[0]))
            part, seconds = seconds.part(0, count), seconds.part(count, None)
            self._fold_seconds(part)
            self._schedule.evaluate_if_due(float(part.t_s[-1]))

    def _fold_seconds(self, seconds: SettledSeconds) -> None:
        fold = self.parts.fold
        fold("speed bands", self._bands.fold, seconds)
        fold("way of riding", self._present.fold, seconds)
        fold("alerts", lambda: self._conditions.fold(seconds, self.instruments.impossible_s()))
        self._battery.fold(seconds)
        for judged in fold("curve", self.learner.fold, seconds) or ():
            fold("alerts", self._conditions.observe, FoulingObserved(*judged))
        fold("advice", self.adviser.fold, seconds)
        fold("runs", self._runs.fold, seconds)
        fold("trip line", self._trip_line.fold, seconds)

    def _watch_sources(self) -> None:
        for decision in self.instruments.decisions():
            self._conditions.observe(decision)
