"""Count the rides of each charge; collect the properties of pack, meter and sensors."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from groundside.reports.log_progress import shifted, size_bytes
from groundside.reports.reconcile.charge_sheet import ChargeSheet, StatedCharge
from groundside.reports.reconcile.counted_log import CountedLog, count_log
from groundside.reports.reconcile.full_charge import full_to_full
from groundside.studies.charge_balance import (
    Charge,
    Conditions,
    Counted,
    Unlogged,
    added,
    size_ah,
)
from onboard.efficiency.common_practice import UNLOGGED_MOST_FRACTION
from onboard.errors import UsageError
from onboard.profile import Profile, profile_for
from onboard.telemetry.logs.log_files import Progress

UNLOGGED_SD_FRACTION = 0.25
"""Relative standard deviation of a stated `unlogged_ah`. Common practice, no source."""


@dataclass(frozen=True)
class CountOptions:
    """Options for all charges; None where not given."""

    system_id: int | None
    full_to_full: bool
    unlogged_ah: float | None
    meter_sd_fraction: float
    charge_a: float | None


@dataclass(frozen=True)
class CountedCharges:
    """The charges as counted, with their sources.

    Parameters
    ----------
    sheet
        The charges as stated by their owner.
    profile
        The craft.
    charges, conditions
        See `groundside.studies.charge_balance`.
    unmeasured_packs
        Batteries that do not measure their current.
    """

    sheet: ChargeSheet
    profile: Profile
    charges: tuple[Charge, ...]
    conditions: Conditions
    unmeasured_packs: tuple[int, ...]


def profile_of(given: Path | None, logs: Sequence[Path]) -> Profile:
    """Return the craft of all logs.

    Raises
    ------
    UsageError
        If no profile was given and those of the logs differ in sensors or battery.
    ProfileError
        If a profile cannot be read.
    """
    found = profile_for(given, logs[0])
    if given is None:
        for log in logs[1:]:
            other = profile_for(None, log)
            if (other.sensors, other.battery) != (found.sensors, found.battery):
                raise UsageError(
                    f"{log}: its profile's sensors or battery differ from those of {logs[0]}: say "
                    "with --profile which to count all rides by"
                )
    return found


def count_charges(
    sheet: ChargeSheet, profile: Profile, options: CountOptions, progress: Progress | None = None
) -> CountedCharges:
    """Count all rides.

    Parameters
    ----------
    sheet
        The charges.
    profile
        The craft.
    options
        What applies to all charges.
    progress
        Called with the bytes read so far from all logs.

    Raises
    ------
    LogError
        If a log cannot be read, or contains no battery current.
    UsageError
        If nothing was drawn for a charge.
    """
    battery = profile.battery
    pack_ah = None if battery is None else battery.full_ah
    counter = _Counter(profile, options.system_id, progress)
    charges = tuple(_charge(one, counter, pack_ah, options) for one in sheet.charges)
    conditions = Conditions(
        profile.sensors,
        pack_ah,
        None if battery is None else battery.chemistry,
        sheet.meter == "ac",
        options.meter_sd_fraction,
        options.charge_a,
    )
    return CountedCharges(sheet, profile, charges, conditions, tuple(sorted(counter.unmeasured)))


class _Counter:
    """Counts logs one after the other."""

    def __init__(self, profile: Profile, system_id: int | None, progress: Progress | None) -> None:
        self._profile, self._system_id, self._progress = profile, system_id, progress
        self._before_bytes = 0
        self.unmeasured: set[int] = set()

    def count(self, path: Path) -> CountedLog:
        """Count a ride of one of the charges."""
        progress = shifted(self._progress, self._before_bytes)
        counted = count_log(path, self._profile, self._system_id, progress)
        self._before_bytes += size_bytes(path)
        self.unmeasured |= set(counted.unmeasured_packs)
        return counted

    def count_other(self, path: Path) -> CountedLog:
        """Count a ride that belongs to none of the charges."""
        return count_log(path, self._profile, self._system_id)


def _charge(
    stated: StatedCharge, counter: _Counter, pack_ah: float | None, options: CountOptions
) -> Charge:
    logs = [counter.count(log) for log in stated.logs]
    counted = added([log.counted for log in logs])
    if counted.charge_ah <= 0.0 or counted.energy_wh <= 0.0:
        names = ", ".join(str(log) for log in stated.logs)
        raise UsageError(f"{names}: nothing was drawn from the pack: nothing to compare with")
    full = stated.full_to_full
    if full is None:
        full = options.full_to_full or full_to_full(stated.logs, logs, counter.count_other)
    given_ah = options.unlogged_ah if stated.unlogged_ah is None else stated.unlogged_ah
    return Charge(
        counted, stated.charged_ah, stated.charged_wh, full, _unlogged(given_ah, pack_ah, counted)
    )


def _unlogged(given_ah: float | None, pack_ah: float | None, counted: Counted) -> Unlogged:
    if given_ah is not None:
        return Unlogged(given_ah, UNLOGGED_SD_FRACTION * given_ah)
    return Unlogged(most_ah=UNLOGGED_MOST_FRACTION * size_ah(pack_ah, counted))
