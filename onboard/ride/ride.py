"""A ride: one craft's frames in, snapshots out. No input or output, and no clock.

The daemon feeds it from a link, replay and review from a saved log. Nothing else lies between
frames and figures, so the results of all three are equal.
"""

import datetime
import math
from typing import Any

import numpy as np

from onboard.block import Block
from onboard.contract.alerts import Alert
from onboard.contract.coach import Coach
from onboard.contract.commands import TrialPlan
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import LinkState, Snapshot
from onboard.efficiency.battery.learned_pack import carried_over, with_origin
from onboard.efficiency.engine import Engine
from onboard.efficiency.parts import Parts
from onboard.profile import Profile, Sensors
from onboard.ride.learned_file import Clocks, away_since, clocks_as_dict, clocks_of
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.messages.decoder import Decoder

NO_AUTOPILOT = Unknown(Reason.NO_AUTOPILOT)
NO_TRIAL = Unknown(Reason.NO_TRIAL)


class Ride:
    """Decoder and engine of one craft.

    Parameters
    ----------
    profile
        The craft.
    system_id
        The MAVLink system to follow; None follows the profile's, else the one that sends most.
    saved
        An earlier ride's `saved_state`, whose curves and battery count are carried over; None
        without.
    parts
        The engine's parts in use, with a handler of their faults.

    Raises
    ------
    ValueError
        If `saved` is not such a state.
    """

    def __init__(
        self,
        profile: Profile,
        system_id: int | None = None,
        saved: dict[str, Any] | None = None,
        parts: Parts | None = None,
    ) -> None:
        self._profile = profile
        self._counted, carried = carried_over(profile, saved)
        """The profile, with the current sensor as learned."""
        self.decoder = Decoder(system_id if system_id is not None else profile.link.system_id)
        self.engine = Engine(self._counted, saved, parts)
        if carried is not None:
            self.engine.resume_battery(carried, clocks_of(carried).utc_s)
        self.trial: TrialPlan | None = None
        """The trial being ridden, as the rider named it; None without."""
        self._kept, self._carried = saved, carried
        self._compared = False
        """Whether the autopilot's boot clock was compared with that of `saved`."""
        self._to_compare = saved is not None
        self.messages = 0
        """Frames on the link, of all systems; samples, for a log without frames."""
        self.bad_bytes = 0
        self._seq = 0
        self._system_id = NO_AUTOPILOT

    @property
    def sensors(self) -> Sensors:
        """The craft's corrections in use, as learned."""
        return self._counted.sensors

    @property
    def t_s(self) -> float:
        """Stream time of the newest sample folded [s]."""
        return self.engine.latest.now_s

    @property
    def utc(self) -> str | None:
        """UTC at the newest sample by the autopilot's clock, None while that is not set."""
        stated = self.engine.latest.at("clock", "utc_s")
        return utc_text(self._utc_s) if stated is not None and stated[1] > 0 else None

    @property
    def _utc_s(self) -> float:
        """Unix time at the newest sample by the autopilot's clock [s], NaN without one."""
        t_s, utc_s = self.engine.latest.at("clock", "utc_s") or (0.0, math.nan)
        return utc_s + self.t_s - t_s

    def saved_state(self) -> dict[str, Any]:
        """Return the state to keep after this ride, in JSON's own types."""
        clocks = clocks_as_dict(self.clocks)
        if self._kept is not None and self.engine.counter_ah is None:
            # No battery seen yet: its count is unchanged from the earlier ride.
            clocks = self._kept.get("clocks") or clocks
        saved = self.engine.saved_state()
        if saved["battery"] is not None:
            saved["battery"] = with_origin(saved["battery"], self._profile, self._counted)
        return {**saved, "clocks": clocks}

    def take(self, part: Frames | Block) -> None:
        """Fold frames, or a block of a log without frames."""
        if isinstance(part, Block):
            self._system_id = Unknown(Reason.NO_SYSTEM)
            self.messages += sum(map(len, part.channels.values()))
            self._fold(part)
            return
        self.messages += len(part)
        self.bad_bytes += part.bad_bytes
        self._fold(self.decoder.push(part))

    def silence(self, now_us: int) -> None:
        """Fold data settled by silence up to a time of receipt [us]."""
        self._fold(self.decoder.silence(now_us))

    def finish(self) -> None:
        """Fold messages still waiting for a stamp: the stream has ended."""
        self._fold(self.decoder.finish())

    def snapshot(
        self,
        source: str,
        age_s: Number = NO_AUTOPILOT,
        messages_per_s: Number = NO_AUTOPILOT,
        alerts: tuple[Alert, ...] = (),
        why_none: Unknown | None = None,
        *,
        coach: Coach | Unknown = NO_TRIAL,
    ) -> Snapshot:
        """Return the snapshot at the newest sample.

        Parameters
        ----------
        source
            Source of the frames.
        age_s, messages_per_s
            Age of the newest message [s] and rate of messages [1/s], by the caller's clock.
        alerts
            The daemon's own alerts.
        why_none
            Why no figure may be shown; None if they may.
        coach
            The coach of the trial.
        """
        figures = self.engine.figures(0.0 if isinstance(age_s, Unknown) else age_s, why_none)
        followed = self.decoder.craft.system_id
        link = LinkState(
            age_s=age_s,
            messages_per_s=messages_per_s,
            messages=self.messages,
            lost=self.decoder.lost,
            bad_bytes=self.bad_bytes,
            system_id=self._system_id if followed is None else followed,
            source=source,
        )
        utc = self.utc or why_none or Unknown(Reason.CLOCK_NOT_SET)
        shown = vars(figures) | {"alerts": (*alerts, *figures.alerts)}
        return Snapshot(
            **shown,
            seq=self.next_seq(),
            newest_t_s=why_none or figures.t_s,
            utc=utc,
            link=link,
            coach=coach,
        )

    def next_seq(self) -> int:
        """Return the number of the next snapshot."""
        self._seq += 1
        return self._seq

    def _fold(self, block: Block) -> None:
        if not block.channels:
            return
        if self._carried is not None and self._to_compare:
            self._compare_clocks(self._carried, block)
        for before_s, after_s in self.decoder.time.taken_restarts():
            self.engine.was_off(after_s, after_s - before_s)
        self.engine.fold(block)

    def _compare_clocks(self, saved: dict[str, Any], block: Block) -> None:
        """Pass the engine the pause since `saved` once the autopilot's clocks show it.

        First by its boot clock, then, finally, by its time of day once that is known.
        """
        boot_s = self.decoder.time.began_boot_s
        if not math.isfinite(boot_s):
            return
        if not self._compared:
            self._compared = True
            self._fold_pause(saved, -math.inf, Clocks(boot_s, math.nan, math.nan))
        clock = block.get("clock")
        if clock is not None and (known := np.isfinite(clock["utc_s"])).any():
            self._to_compare = False
            first = int(np.argmax(known))
            at_s, utc_s = float(clock.t_s[first]), float(clock["utc_s"][first])
            self._fold_pause(saved, at_s, Clocks(boot_s, utc_s - at_s, math.nan))

    def _fold_pause(self, saved: dict[str, Any], t_s: float, began: Clocks) -> None:
        self.engine.away(t_s, away_since(saved, began), clocks_of(saved).counter_ah)

    @property
    def clocks(self) -> Clocks:
        """The autopilot's clocks and counter at the newest sample."""
        counter_ah = self.engine.counter_ah
        return Clocks(
            self.decoder.time.boot_s,
            self._utc_s,
            math.nan if counter_ah is None else counter_ah,
        )


def utc_text(utc_s: float) -> str:
    """Return Unix time [s] as text.

    Examples
    --------
    >>> utc_text(1764063600.25)
    '2025-11-25T09:40:00.2Z'
    """
    moment = datetime.datetime.fromtimestamp(utc_s, datetime.UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 100_000}Z"
