"""Charge and energy counted over a log: the sums of a review, without its estimators."""

from pathlib import Path

import numpy as np

from groundside.studies.charge_balance import Counted
from onboard.block import FloatArray
from onboard.dataclass import dataclass
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
"""Interval over which the current is averaged for the pack's losses, and within which a mark is
placed [s]."""


@dataclass(frozen=True)
class CountedLog:
    """Charge and energy counted over one log.

    Parameters
    ----------
    counted
        Sums over the whole log.
    t_s, charge_ah, energy_wh, volt_hours_vh
        Times [s], and what was drawn up to each [Ah, Wh] with the integral of the voltage [V h],
        shape (n,).
    unmeasured_packs
        Batteries that report but do not measure their current, and so are in no sum.
    zero_stamp_s
        The log's stamp at zero of stream time [s]; None if no message was received.
    """

    counted: Counted
    t_s: FloatArray
    charge_ah: FloatArray
    energy_wh: FloatArray
    volt_hours_vh: FloatArray
    unmeasured_packs: tuple[int, ...] = ()
    zero_stamp_s: float | None = None

    def drawn_ah(self, t_s: float | None) -> float:
        """Return the charge drawn up to a stream time [Ah]; None is before the first message."""
        if t_s is None or not len(self.t_s):
            return 0.0
        return float(np.interp(t_s, self.t_s, self.charge_ah))

    def between(self, begin_s: float | None, end_s: float | None) -> Counted:
        """Return the sums between two stream times; None is from the start, or to the end."""
        first_s, last_s = float(self.t_s[0]), float(self.t_s[-1])
        ends_s = np.clip(
            [first_s if begin_s is None else begin_s, last_s if end_s is None else end_s],
            first_s,
            last_s,
        )
        if ends_s[0] == first_s and ends_s[1] == last_s:
            return self.counted
        inside = self.t_s[(self.t_s > ends_s[0]) & (self.t_s < ends_s[1])]
        times = np.array([ends_s[0], *inside, ends_s[1]])
        charge, energy, volt_hours = (
            np.diff(np.interp(times, self.t_s, sums))
            for sums in (self.charge_ah, self.energy_wh, self.volt_hours_vh)
        )
        share = float(times[-1] - times[0]) / (last_s - first_s)
        return Counted(
            float(charge.sum()),
            float(energy.sum()),
            share * self.counted.sensor_hours_h,
            float(volt_hours.sum()),
            share * self.counted.bridged_variance_wh2,
            _flowing_a(times, charge),
        )


def _flowing_a(t_s: FloatArray, steps_ah: FloatArray) -> float:
    """Return the charge-weighted mean current over steps of charge between times [A]."""
    hours, total_ah = np.diff(t_s) / 3600.0, float(steps_ah.sum())
    if not total_ah:
        return 0.0
    return float(np.sum(steps_ah[hours > 0.0] ** 2 / hours[hours > 0.0])) / total_ah


CURVES = ("charge_ah", "energy_wh", "volt_hours")


class _Steps:
    """Samples what was drawn while the log is read, because meters discard their past."""

    def __init__(self) -> None:
        self._t_s: list[float] = []
        self._sums: dict[str, list[float]] = {name: [] for name in CURVES}

    def sample(self, side: BatterySide) -> None:
        begin_s = self._t_s[-1] + STEP_S if self._t_s else side.first_s
        times = np.arange(begin_s, side.last_s, STEP_S)
        self._t_s += times.tolist()
        for name, found in self._sums.items():
            found.extend(side.at(name, times).tolist())

    def end(self, side: BatterySide, volt_hours_vh: float) -> FloatArray:
        """Return times, charge, energy and volt-hours, shape (4, n)."""
        self.sample(side)
        totals = (side.charge_ah, side.energy_wh, volt_hours_vh)
        sums = [[*found, total] for found, total in zip(self._sums.values(), totals, strict=True)]
        return np.array([[*self._t_s, side.last_s], *sums])


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
    power, steps = PowerSources(profile.sensors), _Steps()
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
    volt_hours = sum(meter.curves.total("volt_hours") for meter in side.all_meters)
    t_s, charge_ah, energy_wh, volt_hours_vh = steps.end(side, volt_hours)
    return CountedLog(
        _counted(side, volt_hours, _flowing_a(t_s, np.diff(charge_ah))),
        t_s,
        charge_ah,
        energy_wh,
        volt_hours_vh,
        power.unmeasured if power.packs else (),
        decoder.time.first_receipt_s,
    )


def _counted(side: BatterySide, volt_hours_vh: float, flowing_a: float) -> Counted:
    seconds = sum((m.curves.last_s or 0.0) - (m.curves.first_s or 0.0) for m in side.all_meters)
    return Counted(
        side.charge_ah,
        side.energy_wh,
        seconds / 3600.0,
        volt_hours_vh,
        side.bridged_variance_wh2,
        flowing_a,
    )
