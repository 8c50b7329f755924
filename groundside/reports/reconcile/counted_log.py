"""Charge and energy counted over a log: the sums of a review, without its estimators."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from onboard.block import FloatArray
from groundside.studies.charge_balance import Counted
from onboard.efficiency.common_practice import LAG_S
from onboard.efficiency.meters.slices import slices
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.sources.power_sources import PowerSources
from onboard.errors import LogError
from onboard.profile import Profile
from onboard.telemetry.logs.formats import blocks_of, open_log
from onboard.telemetry.logs.log_files import Progress
from onboard.telemetry.messages.decoder import Decoder

STEP_S = 10.0
"""Interval over which the current is averaged for the pack's losses [s]."""


@dataclass(frozen=True)
class CountedLog:
    """Charge and energy counted over one log.

    Parameters
    ----------
    counted
        Sums over the whole log.
    t_s, charge_ah
        Times [s], and the charge drawn up to each [Ah], shape (n,).
    unmeasured_packs
        Batteries that report but do not measure their current, and so are in no sum.
    zero_stamp_s
        The log's stamp at zero of stream time [s]; None if no message was received.
    """

    counted: Counted
    t_s: FloatArray
    charge_ah: FloatArray
    unmeasured_packs: tuple[int, ...] = ()
    zero_stamp_s: float | None = None

    def drawn_ah(self, t_s: float | None) -> float:
        """Return the charge drawn up to a stream time [Ah]; None is before the first message."""
        if t_s is None or not len(self.t_s):
            return 0.0
        return float(np.interp(t_s, self.t_s, self.charge_ah))


class _ChargeSteps:
    """Samples the charge drawn while the log is read, because meters discard their past."""

    def __init__(self) -> None:
        self._t_s: list[float] = []
        self._charge_ah: list[float] = []

    def sample(self, side: BatterySide) -> None:
        begin_s = self._t_s[-1] + STEP_S if self._t_s else side.first_s
        times = np.arange(begin_s, side.last_s, STEP_S)
        self._t_s += times.tolist()
        self._charge_ah += side.at("charge_ah", times).tolist()

    def end(self, side: BatterySide) -> tuple[FloatArray, FloatArray]:
        self.sample(side)
        return np.array([*self._t_s, side.last_s]), np.array([*self._charge_ah, side.charge_ah])


def count_log(
    path: Path, profile: Profile, system_id: int | None = None, progress: Progress | None = None
) -> CountedLog:
    """Count charge and energy over a whole log.

    Parameters
    ----------
    path
        The log, or a session's folder.
    profile
        The craft.
    system_id
        MAVLink system to follow; None for the profile's, else the one that sends most.
    progress
        Called with the bytes read so far.

    Raises
    ------
    LogError
        If it cannot be read, or contains no battery current.
    """
    decoder = Decoder(system_id if system_id is not None else profile.link.system_id)
    power, steps = PowerSources(profile.sensors), _ChargeSteps()
    for block in blocks_of(open_log(path), decoder, progress):
        for piece in slices(block):
            power.fold(piece)
            reached_s = max(power.reached_s(), default=0.0)
            power.decide(0.0, reached_s - LAG_S)
            side = power.chosen()
            if side is not None:
                steps.sample(side)
    side = power.chosen()
    if side is None:
        raise LogError(f"{path}: no battery power in it ({power.why_none()}): nothing was counted")
    t_s, charge_ah = steps.end(side)
    silent = power.unmeasured if power.packs else ()
    zero_stamp_s = decoder.time.first_receipt_s
    return CountedLog(_counted(side, charge_ah), t_s, charge_ah, silent, zero_stamp_s)


def _counted(side: BatterySide, charge_ah: FloatArray) -> Counted:
    seconds = sum((m.curves.last_s or 0.0) - (m.curves.first_s or 0.0) for m in side.all_meters)
    volt_hours = sum(meter.curves.total("volt_hours") for meter in side.all_meters)
    steps = np.diff(charge_ah)
    flowing = float(steps @ steps) / side.charge_ah / (STEP_S / 3600.0) if side.charge_ah else 0.0
    return Counted(
        side.charge_ah,
        side.energy_wh,
        seconds / 3600.0,
        volt_hours,
        side.bridged_variance_wh2,
        flowing,
    )
