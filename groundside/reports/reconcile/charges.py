"""Counts the rides of each charge, and gathers what is known of pack, meter and sensors."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from groundside.reports.reconcile.charge_sheet import Stated, StatedCharge
from groundside.reports.reconcile.counted_log import CountedLog, count_log
from groundside.reports.reconcile.full_charge import full_to_full
from groundside.reports.review.many import size_bytes
from onboard.efficiency.battery.charge_balance import (
    Charge,
    Conditions,
    Counted,
    Unlogged,
    added,
    size_ah,
)
from onboard.efficiency.common_practice import (
    UNLOGGED_MOST_FRACTION,
)
from onboard.errors import UsageError
from onboard.profile import Profile, profile_for
from onboard.telemetry.logs.log_files import Progress

UNLOGGED_SD_FRACTION = 0.25
"""How well somebody knows what was drawn unseen, as a share of it. Common practice, no source."""


@dataclass(frozen=True)
class Options:
    """What the command line says of all charges; None where it says nothing."""

    system_id: int | None
    full_to_full: bool
    unlogged_ah: float | None
    meter_sd_fraction: float
    charge_a: float | None


@dataclass(frozen=True)
class Gathered:
    """All that the verdict rests on, and what it was made of.

    Parameters
    ----------
    stated
        The charges as their owner states them.
    profile
        The craft.
    charges, conditions
        See `onboard.efficiency.battery.charge_balance`.
    unmeasured_packs
        Batteries whose current nobody measures.
    """

    stated: Stated
    profile: Profile
    charges: tuple[Charge, ...]
    conditions: Conditions
    unmeasured_packs: tuple[int, ...]


def profile_of(given: Path | None, logs: Sequence[Path]) -> Profile:
    """Return the craft of all logs.

    Raises
    ------
    UsageError
        If they were recorded with corrections or packs that differ and no profile was named.
    ProfileError
        If one cannot be read.
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


def gathered(
    stated: Stated, profile: Profile, options: Options, progress: Progress | None = None
) -> Gathered:
    """Count all rides.

    Parameters
    ----------
    stated
        The charges.
    profile
        The craft.
    options
        What holds for all of them.
    progress
        Called with the bytes read so far of all logs.

    Raises
    ------
    LogError
        If a log cannot be read, or holds no battery current.
    UsageError
        If nothing was drawn on a charge.
    """
    battery = profile.battery
    pack_ah = None if battery is None else battery.full_ah
    counter = _Counter(profile, options.system_id, progress)
    charges = tuple(_charge(one, counter, pack_ah, options) for one in stated.charges)
    conditions = Conditions(
        profile.sensors,
        pack_ah,
        None if battery is None else battery.chemistry,
        stated.meter == "ac",
        options.meter_sd_fraction,
        options.charge_a,
    )
    return Gathered(stated, profile, charges, conditions, tuple(sorted(counter.unmeasured)))


class _Counter:
    """Counts logs one after the other."""

    def __init__(self, profile: Profile, system_id: int | None, progress: Progress | None) -> None:
        self._profile, self._system_id, self._progress = profile, system_id, progress
        self._before = 0
        self.unmeasured: set[int] = set()

    def __call__(self, path: Path) -> CountedLog:
        """Count one of the charge's own."""

        def told(done: int) -> None:
            if self._progress is not None:
                self._progress(self._before + done)

        counted = count_log(path, self._profile, self._system_id, told)
        self._before += size_bytes(path)
        self.unmeasured |= set(counted.unmeasured_packs)
        return counted

    def aside(self, path: Path) -> CountedLog:
        """Count one that belongs to no charge asked for."""
        return count_log(path, self._profile, self._system_id)


def _charge(
    stated: StatedCharge, counter: _Counter, pack_ah: float | None, options: Options
) -> Charge:
    logs = [counter(log) for log in stated.logs]
    counted = added([log.counted for log in logs])
    if counted.charge_ah <= 0.0 or counted.energy_wh <= 0.0:
        names = ", ".join(str(log) for log in stated.logs)
        raise UsageError(f"{names}: nothing was drawn from the pack: nothing to compare with")
    full = stated.full_to_full
    if full is None:
        full = options.full_to_full or full_to_full(stated.logs, logs, counter.aside)
    given_ah = options.unlogged_ah if stated.unlogged_ah is None else stated.unlogged_ah
    return Charge(
        counted, stated.charged_ah, stated.charged_wh, full, _unlogged(given_ah, pack_ah, counted)
    )


def _unlogged(given_ah: float | None, pack_ah: float | None, counted: Counted) -> Unlogged:
    if given_ah is not None:
        return Unlogged(given_ah, UNLOGGED_SD_FRACTION * given_ah)
    return Unlogged(most_ah=UNLOGGED_MOST_FRACTION * size_ah(pack_ah, counted))
