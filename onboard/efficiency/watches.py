"""What the engine watches for in its settled seconds, and the sentences it says."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.alerts import EVENTS_MOST, Alert, Condition, Event, Watch
from onboard.efficiency.battery import Pack
from onboard.efficiency.cells import Cells
from onboard.efficiency.figure import Unknown
from onboard.efficiency.power_sources import PowerNews
from onboard.efficiency.target import Target
from onboard.efficiency.trailing import Trailing
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
    Condition("no_power_data", "warning"),
    Condition("source_silent", "warning", 1.0, 1.0),
    Condition("no_speed", "warning"),
    Condition("current_dead", "warning", 30.0, 5.0),
    Condition("current_stuck", "warning", 30.0, 10.0),
    Condition("near_cutoff", "danger", 3.0, 20.0),
    Condition("drive_hot", "danger", 3.0, 10.0),
    Condition("heat_limiting", "warning", 20.0, 30.0),
    Condition("counters_disagree", "note", 1.0, 60.0),
    Condition("implausible", "note", 1.0, 60.0),
    Condition("source_unplugged", "warning", 1.0, 1.0),
    Condition("source_left_out", "note", 1.0, 1.0),
    Condition("source_brief", "note", 1.0, 1.0),
    Condition("source_joined", "note", 1.0, 1.0),
    Condition("energy_low", "warning", 10.0, 60.0),
    Condition("reserve_reached", "danger", 10.0, 60.0),
    Condition("battery_contradicted", "warning", 1.0, 60.0),
    Condition("weed", "warning", 1.0, 1.0),
    Condition("turn_back", "danger", 1.0, 1.0),
    Condition("cannot_be_made", "warning", 5.0, 20.0),
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

    def alerts(self, now_s: float) -> tuple[Alert, ...]:
        """Give what is on at stream time `now_s` [s], in the order of `CONDITIONS`."""
        found = [watch.alert(now_s) for watch in self._watches.values()]
        silent = self._watches["source_silent"].on_since_s is not None
        # What is silent is named: that no power is known is the same said twice, without the name.
        same = {"no_power_data"} if silent else set()
        return tuple(one for one in found if one is not None and one.code not in same)

    def seconds(self, cells: Cells) -> None:
        """Look at settled seconds."""
        watch = self._watch
        quiet = self._lost("power", np.isfinite(cells.power_w))
        text = "Battery data is missing: energy is not counted. Ride as if it were low."
        watch("no_power_data", cells.t_s, quiet, text)
        lost = self._lost("speed", np.isfinite(cells.east_mps))
        text = "No speed from the GPS: distance is not counted. Give it a free view of the sky."
        watch("no_speed", cells.t_s, lost, text)
        dead = (np.abs(cells.amps_a) < DEAD_A) & (cells.distance_m > UNDER_WAY_MPS)
        dead &= ~(cells.throttle_fraction <= 0.05)
        text = "The current sensor reads nothing under way: energy is not counted. Check its plug."
        watch("current_dead", cells.t_s, dead, text)
        self._battery(cells)
        self._drive(cells)

    def state(self, t_s: float, code: str, holds: bool, text: str) -> None:
        """Look at something that is known at one time only [s], and holds until the next."""
        self._watch(code, np.array([t_s]), np.array([holds]), text)

    def counters(self, t_s: float, apart_ah: float, charge_ah: float) -> None:
        """Hold the autopilot's counters against ours [Ah]."""
        apart = abs(apart_ah) > COUNTER_FRACTION * abs(charge_ah) + COUNTER_AH
        percent = round(100 * abs(apart_ah) / max(abs(charge_ah), COUNTER_AH))
        text = f"The autopilot's charge counter is {percent} % off its current: check the scale."
        self.state(t_s, "counters_disagree", apart, text)

    def implausible(self, cells: Cells, impossible_s: list[float]) -> None:
        """Look at the times of samples that were left out [s]."""
        times = np.sort(np.array(impossible_s))
        upto = np.searchsorted(times, cells.t_s, side="right")
        found = upto > np.searchsorted(times, cells.t_s - 1.0, side="right")
        text = "Values that cannot be were left out: check the sensors and their wiring."
        self._watch("implausible", cells.t_s, found, text)

    def sources(self, news: PowerNews) -> None:
        """Look at which sources count; an alert is raised again where its names change."""
        for code, names, text in (
            (
                "source_silent",
                news.silent,
                "Gone silent: {}. Power and range are unknown until it is heard again. If you "
                "unplugged it, say so in view 5 (craft).",
            ),
            (
                "source_unplugged",
                news.unplugged,
                "Unplugged: {}. Energy left still counts the profile's whole battery.",
            ),
            ("source_left_out", news.out, "Gone silent: {}. It gave little and is left out."),
            ("source_brief", news.brief, "Heard only briefly, so left out: {}."),
            (
                "source_joined",
                news.joined,
                "Now counted too: {}. What it gave before it was first heard is in no sum.",
            ),
        ):
            said, watch = text.format(", ".join(names)), self._watches[code]
            if names and watch.on_since_s is not None and watch.sources != names:
                self.state(news.t_s, code, False, said)
            self.state(news.t_s, code, bool(names), said)
            watch.sources = names

    def energy(self, t_s: float, pack: Pack, power_w: float) -> float:
        """Look at what is left at a power [W]; give how far off an alert is [Wh]."""
        left, full = pack.left_wh(power_w), pack.full.value
        gone = left <= 0
        self.state(t_s, "reserve_reached", gone, "The reserve or the cut-off is reached: land now.")
        low = 0 < left < LOW_FRACTION * full
        text = f"Only {left:.0f} Wh are left above the reserve: head for home."
        self.state(t_s, "energy_low", low, text)
        text = "The rested battery's voltage contradicts the stated charge: the voltage counts."
        self.state(t_s, "battery_contradicted", pack.contradicted, text)
        return left - LOW_FRACTION * full

    def advice(self, t_s: float, turn_back: bool, target: Target | Unknown) -> None:
        """Look at the way home and the target."""
        text = "Turn back now: the energy left is what the way home takes, with the reserve kept."
        self.state(t_s, "turn_back", turn_back, text)
        never = not isinstance(target, Unknown) and target.reason.startswith("Cannot")
        reason = "" if isinstance(target, Unknown) else target.reason
        self.state(t_s, "cannot_be_made", never, reason)

    def _lost(self, what: str, known: Holds) -> Holds:
        """Tell when something is not known that was known before."""
        before = np.logical_or.accumulate(np.concatenate([[self._known[what]], known]))
        self._known[what] = bool(before[-1])
        lost: Holds = before[1:] & ~known
        return lost

    def _battery(self, cells: Cells) -> None:
        before = self._trailing.fold(cells)
        amps, volts = before["amps_a"][:, -STUCK_S:], before["volts_v"][:, -STUCK_S:]
        stuck = (amps.max(axis=1) == amps.min(axis=1)) & (amps[:, -1] > 1.0)
        stuck &= volts.max(axis=1) - volts.min(axis=1) > SPREAD_FRACTION * volts[:, -1]
        text = "The current reads the same whatever the voltage does: sensor stuck or at its limit."
        self._watch("current_stuck", cells.t_s, stuck, text)
        if self._cutoff_v is not None:
            near = cells.volts_v < CUTOFF_NEAR_FRACTION * self._cutoff_v
            self._watch(
                "near_cutoff",
                cells.t_s,
                near,
                lambda n: f"Battery at {cells.volts_v[n]:.1f} V, near its cut-off: ease off now.",
            )
        self._heat_limiting(cells, before)

    def _heat_limiting(self, cells: Cells, before: dict[str, FloatArray]) -> None:
        throttle, power, volts = before["throttle_fraction"], before["power_w"], before["volts_v"]
        steady = (throttle.max(axis=1) - throttle.min(axis=1) < THROTTLE_STEADY) & (
            throttle[:, -1] > 0.2
        )
        # What a sagging battery alone takes off goes with the square of its voltage.
        third = power.shape[1] // 3
        was, now = power[:, :third].mean(axis=1), power[:, -third:].mean(axis=1)
        sag = (volts[:, -third:].mean(axis=1) / volts[:, :third].mean(axis=1)) ** 2
        fell = steady & (now < (1 - POWER_FELL_FRACTION) * was * np.minimum(sag, 1.0))
        text = "Power falls at a constant throttle: the drive may be limiting its heat. Ease off."
        self._watch("heat_limiting", cells.t_s, fell, text)

    def _drive(self, cells: Cells) -> None:
        self._watch(
            "drive_hot",
            cells.t_s,
            cells.drive_degc > self._drive_most_degc,
            lambda n: f"Motor drive at {cells.drive_degc[n]:.0f} degC: ease off, let it cool.",
            cells.drive_degc > self._drive_most_degc - COOLER_DEGC,
        )

    def _watch(
        self,
        code: str,
        t_s: FloatArray,
        holds: Holds,
        text: str | Callable[[int], str],
        stays: Holds | None = None,
    ) -> None:
        say = text if callable(text) else lambda _: text
        self.events += self._watches[code].fold(t_s, holds, say, stays)
        del self.events[EVENTS_MOST:]
