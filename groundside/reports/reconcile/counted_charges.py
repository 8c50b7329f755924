"""Count the rides of each charge; collect the properties of pack, meter and sensors."""

from collections.abc import Sequence
from pathlib import Path

from groundside.reports.log_progress import shifted, size_bytes
from groundside.reports.reconcile.charge_sheet import ChargeSheet, StatedCharge
from groundside.reports.reconcile.counted_log import CountedLog, count_log
from groundside.reports.reconcile.full_charge import full_to_full
from groundside.reports.reconcile.marked_charges import MarkedCharge, marked_charges
from groundside.reports.reconcile.session_order import in_order
from groundside.studies.charge_balance import (
    Charge,
    Conditions,
    Counted,
    Unlogged,
    added,
    size_ah,
)
from groundside.words.remarks import remark_text
from groundside.words.units import DEFAULT
from onboard.contract.remarks import Remark
from onboard.dataclass import dataclass
from onboard.efficiency.battery.learned_practice import SAME_CHARGE_FRACTION
from onboard.efficiency.common_practice import UNLOGGED_MOST_FRACTION
from onboard.errors import UsageError, WattwakeError
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
        The charges as stated by their owner, in a sheet or by marks.
    profile
        The craft.
    charges, conditions
        See `groundside.studies.charge_balance`.
    unmeasured_packs
        Batteries that do not measure their current.
    of_marks
        Marks that could not be used.
    """

    sheet: ChargeSheet
    profile: Profile
    charges: tuple[Charge, ...]
    conditions: Conditions
    unmeasured_packs: tuple[int, ...]
    of_marks: tuple[Remark, ...] = ()


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
    sheet: ChargeSheet,
    marked: Sequence[Path],
    profile: Profile,
    options: CountOptions,
    progress: Progress | None = None,
) -> CountedCharges:
    """Count all rides.

    Parameters
    ----------
    sheet
        The charges stated in it.
    marked
        Sessions whose marks state charges.
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
        If nothing was drawn for a charge, or there is no charge.
    """
    battery = profile.battery
    pack_ah = None if battery is None else battery.full_ah
    counter = _Counter(profile, options.system_id, progress)
    charges = [_charge(one, counter, pack_ah, options) for one in sheet.charges]
    stated = list(sheet.charges)
    by_marks, of_marks = _by_marks(marked, counter, pack_ah)
    for one in by_marks:
        unlogged = _unlogged(options.unlogged_ah, pack_ah, one.counted)
        charges.append(Charge(one.counted, one.charged_ah, one.charged_wh, True, unlogged))
        stated.append(StatedCharge(one.logs, one.charged_wh, one.charged_ah, None, True))
    if not charges:
        raise UsageError(_no_charge(marked, of_marks))
    conditions = Conditions(
        profile.sensors,
        pack_ah,
        None if battery is None else battery.chemistry,
        sheet.meter == "ac",
        options.meter_sd_fraction,
        options.charge_a,
    )
    return CountedCharges(
        ChargeSheet(tuple(stated), sheet.meter),
        profile,
        tuple(charges),
        conditions,
        tuple(sorted(counter.unmeasured)),
        tuple(of_marks),
    )


def _by_marks(
    paths: Sequence[Path], counter: "_Counter", pack_ah: float | None
) -> tuple[list[MarkedCharge], list[Remark]]:
    logs = [
        (path, counter.count(path) if is_given else counter.drawn_ah(path))
        for path, is_given in in_order(paths)
    ]
    most_ah = max(
        (one.counted.charge_ah for _, one in logs if isinstance(one, CountedLog)), default=0.0
    )
    return marked_charges(logs, SAME_CHARGE_FRACTION * (pack_ah or most_ah))


def _no_charge(marked: Sequence[Path], of_marks: Sequence[Remark]) -> str:
    why = " ".join(remark_text(one, DEFAULT) for one in of_marks)
    return (
        f"{marked[0]}: no charge from full to full is marked, and none stated with --charged-wh or "
        f"--charged-ah. {why}"
    ).rstrip()


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

    def drawn_ah(self, path: Path) -> float:
        """Return the charge that such a ride drew [Ah]; none if it cannot be told."""
        try:
            return self.count_other(path).counted.charge_ah
        except WattwakeError:
            return 0.0


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
