"""What the engine watches for in its settled seconds, and the values that it tells of it."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.contract.advice import Standing, Target
from onboard.contract.alerts import Alert, AlertCode, Event
from onboard.contract.codes import Value
from onboard.contract.figure import Number, Unknown, within
from onboard.contract.snapshot import Figures
from onboard.efficiency.advice.standing_alerts import EVENTS_MOST, Condition, Values, Watch
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.sources.power_sources import SourceDecision
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.sources.trailing import Trailing
from onboard.profile import Profile

UNDER_WAY_MPS = 0.8
DEAD_A = 0.05
"""A drive that moves a craft draws more than this."""

SPREAD_FRACTION = 0.003
"""A voltage that moves by this while the current reads the same says that the current is stuck."""

STUCK_S = 60
LOOK_BACK_S = 180
"""Heat builds up over minutes."""

CUTOFF_NEAR_FRACTION = 1.03
THROTTLE_STEADY = 0.03
POWER_FELL_FRACTION = 0.12
"""A drive that limits its heat takes off more than a sagging battery does. Common practice, no
source."""

COUNTER_FRACTION, COUNTER_AH = 0.05, 0.1
LOW_FRACTION = 0.10
COOLER_DEGC = 5.0

CONDITIONS = (
    Condition(AlertCode.NO_POWER_DATA),
    Condition(AlertCode.SOURCE_SILENT, 1.0, 1.0),
    Condition(AlertCode.NO_SPEED),
    Condition(AlertCode.CURRENT_DEAD, 30.0, 5.0),
    Condition(AlertCode.CURRENT_STUCK, 30.0, 10.0),
    Condition(AlertCode.NEAR_CUTOFF, 3.0, 20.0),
    Condition(AlertCode.DRIVE_HOT, 3.0, 10.0),
    Condition(AlertCode.HEAT_LIMITING, 20.0, 30.0),
    Condition(AlertCode.COUNTERS_DISAGREE, 1.0, 60.0),
    Condition(AlertCode.IMPLAUSIBLE, 1.0, 60.0),
    Condition(AlertCode.SOURCE_UNPLUGGED, 1.0, 1.0),
    Condition(AlertCode.SOURCE_LEFT_OUT, 1.0, 1.0),
    Condition(AlertCode.SOURCE_BRIEF, 1.0, 1.0),
    Condition(AlertCode.SOURCE_JOINED, 1.0, 1.0),
    Condition(AlertCode.ENERGY_LOW, 10.0, 60.0),
    Condition(AlertCode.RESERVE_REACHED, 10.0, 60.0),
    Condition(AlertCode.BATTERY_CONTRADICTED, 1.0, 60.0),
    Condition(AlertCode.WEED, 1.0, 1.0),
    Condition(AlertCode.TURN_BACK, 1.0, 1.0),
    Condition(AlertCode.CANNOT_BE_MADE, 5.0, 20.0),
)

Holds = npt.NDArray[np.bool_]


class Watches:
    """All conditions of one craft."""

    def __init__(self, profile: Profile, cutoff_v: float | None) -> None:
        self._drive_most_degc = profile.drive.temperature_most_degc
        self._cutoff_v = cutoff_v
        self._watches = {condition.code: Watch(condition) for condition in CONDITIONS}
        self._trailing = Trailing(LOOK_BACK_S, "power_w", "amps_a", "volts_v", "throttle_fraction")
        self._known = {"power": False, "speed": False}
        self.events: list[Event] = []

    def alerts(self, shown: Figures) -> tuple[Alert, ...]:
        """Return what is on, in the order of `CONDITIONS`.

        Parameters
        ----------
        shown
            What is shown beside the alerts, which must not tell another story: their values are
            read off it, and not known where it is not.
        """
        left = within(shown.battery, lambda battery: battery.left_wh)
        degc = within(shown.drive, lambda drive: drive.temperature_degc)
        present: dict[AlertCode, Values | None] = {
            AlertCode.CANNOT_BE_MADE: beyond_reach(shown.target),
            AlertCode.ENERGY_LOW: {"left_wh": None if isinstance(left, Unknown) else left.value},
            AlertCode.NEAR_CUTOFF: {"volts_v": _known(shown.volts_v)},
            AlertCode.DRIVE_HOT: {"temperature_degc": _known(degc)},
        }
        found = [watch.alert(shown.t_s, present.get(code)) for code, watch in self._watches.items()]
        silent = self._watches[AlertCode.SOURCE_SILENT].on_since_s is not None
        # What is silent is named: that no power is known is the same said twice, without the name.
        same = {AlertCode.NO_POWER_DATA} if silent else set()
        return tuple(one for one in found if one is not None and one.code not in same)

    def another_target(self) -> None:
        """Let go what was said of the target before."""
        self._watches[AlertCode.CANNOT_BE_MADE].end()

    def seconds(self, seconds: SettledSeconds) -> None:
        """Look at settled seconds."""
        watch = self._watch
        watch(
            AlertCode.NO_POWER_DATA, seconds.t_s, self._lost("power", np.isfinite(seconds.power_w))
        )
        watch(AlertCode.NO_SPEED, seconds.t_s, self._lost("speed", np.isfinite(seconds.east_mps)))
        dead = (np.abs(seconds.amps_a) < DEAD_A) & (seconds.distance_m > UNDER_WAY_MPS)
        dead &= ~(seconds.throttle_fraction <= 0.05)
        watch(AlertCode.CURRENT_DEAD, seconds.t_s, dead)
        self._battery(seconds)
        self._drive(seconds)

    def state(self, t_s: float, code: AlertCode, holds: bool, **values: Value) -> None:
        """Look at something that is known at one time only [s], and holds until the next."""
        self._watch(code, np.array([t_s]), np.array([holds]), lambda _: values)

    def counters(self, t_s: float, apart_ah: float, charge_ah: float) -> None:
        """Hold the autopilot's counters against ours [Ah]."""
        apart = abs(apart_ah) > COUNTER_FRACTION * abs(charge_ah) + COUNTER_AH
        off = abs(apart_ah) / max(abs(charge_ah), COUNTER_AH)
        self.state(t_s, AlertCode.COUNTERS_DISAGREE, apart, off_fraction=off)

    def implausible(self, seconds: SettledSeconds, impossible_s: list[float]) -> None:
        """Look at the times of samples that were left out [s]."""
        times = np.sort(np.array(impossible_s))
        upto = np.searchsorted(times, seconds.t_s, side="right")
        found = upto > np.searchsorted(times, seconds.t_s - 1.0, side="right")
        self._watch(AlertCode.IMPLAUSIBLE, seconds.t_s, found)

    def sources(self, news: SourceDecision) -> None:
        """Look at which sources count; an alert is raised again where its names change."""
        for code, names in (
            (AlertCode.SOURCE_SILENT, news.silent),
            (AlertCode.SOURCE_UNPLUGGED, news.unplugged),
            (AlertCode.SOURCE_LEFT_OUT, news.out),
            (AlertCode.SOURCE_BRIEF, news.brief),
            (AlertCode.SOURCE_JOINED, news.joined),
        ):
            watch = self._watches[code]
            if names and watch.on_since_s is not None and watch.values["sources"] != names:
                self.state(news.t_s, code, False, sources=names)
            self.state(news.t_s, code, bool(names), sources=names)

    def energy(self, t_s: float, pack: Pack, power_w: float) -> float:
        """Look at what is left at a power [W]; give how far off an alert is [Wh]."""
        left, full = pack.left_wh(power_w), pack.full.value
        self.state(t_s, AlertCode.RESERVE_REACHED, left <= 0)
        low = 0 < left < LOW_FRACTION * full
        self.state(t_s, AlertCode.ENERGY_LOW, low, left_wh=left)
        self.state(t_s, AlertCode.BATTERY_CONTRADICTED, pack.contradicted)
        return left - LOW_FRACTION * full

    def advice(self, t_s: float, turn_back: bool, target: Target | Unknown) -> None:
        """Look at the way home and the target."""
        self.state(t_s, AlertCode.TURN_BACK, turn_back)
        best = beyond_reach(target)
        self.state(t_s, AlertCode.CANNOT_BE_MADE, best is not None, **(best or {}))

    def _lost(self, what: str, known: Holds) -> Holds:
        """Tell when something is not known that was known before."""
        before = np.logical_or.accumulate(np.concatenate([[self._known[what]], known]))
        self._known[what] = bool(before[-1])
        lost: Holds = before[1:] & ~known
        return lost

    def _battery(self, seconds: SettledSeconds) -> None:
        before = self._trailing.fold(seconds)
        amps, volts = before["amps_a"][:, -STUCK_S:], before["volts_v"][:, -STUCK_S:]
        stuck = (amps.max(axis=1) == amps.min(axis=1)) & (amps[:, -1] > 1.0)
        stuck &= volts.max(axis=1) - volts.min(axis=1) > SPREAD_FRACTION * volts[:, -1]
        self._watch(AlertCode.CURRENT_STUCK, seconds.t_s, stuck)
        if self._cutoff_v is not None:
            near = seconds.volts_v < CUTOFF_NEAR_FRACTION * self._cutoff_v
            volts = seconds.volts_v
            self._watch(
                AlertCode.NEAR_CUTOFF, seconds.t_s, near, lambda n: {"volts_v": float(volts[n])}
            )
        self._heat_limiting(seconds, before)

    def _heat_limiting(self, seconds: SettledSeconds, before: dict[str, FloatArray]) -> None:
        throttle, power, volts = before["throttle_fraction"], before["power_w"], before["volts_v"]
        steady = (throttle.max(axis=1) - throttle.min(axis=1) < THROTTLE_STEADY) & (
            throttle[:, -1] > 0.2
        )
        # What a sagging battery alone takes off goes with the square of its voltage.
        third = power.shape[1] // 3
        was, now = power[:, :third].mean(axis=1), power[:, -third:].mean(axis=1)
        sag = (volts[:, -third:].mean(axis=1) / volts[:, :third].mean(axis=1)) ** 2
        fell = steady & (now < (1 - POWER_FELL_FRACTION) * was * np.minimum(sag, 1.0))
        self._watch(AlertCode.HEAT_LIMITING, seconds.t_s, fell)

    def _drive(self, seconds: SettledSeconds) -> None:
        self._watch(
            AlertCode.DRIVE_HOT,
            seconds.t_s,
            seconds.drive_degc > self._drive_most_degc,
            lambda n: {"temperature_degc": float(seconds.drive_degc[n])},
            seconds.drive_degc > self._drive_most_degc - COOLER_DEGC,
        )

    def _watch(
        self,
        code: AlertCode,
        t_s: FloatArray,
        holds: Holds,
        values: Callable[[int], Values] = lambda _: {},
        stays: Holds | None = None,
    ) -> None:
        self.events += self._watches[code].fold(t_s, holds, values, stays)
        del self.events[EVENTS_MOST:]


def _known(reading: Number) -> float | None:
    return None if isinstance(reading, Unknown) else reading


def beyond_reach(target: Target | Unknown) -> Values | None:
    """Return what the best speed makes, where no speed makes the target's distance; else None."""
    if isinstance(target, Unknown) or target.reason.code is not Standing.CANNOT_BE_MADE:
        return None
    return target.reason.values
