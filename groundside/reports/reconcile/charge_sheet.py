"""Charges as stated by the owner, on the command line or in a TOML sheet."""

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from onboard.dataclass import dataclass
from onboard.errors import UsageError
from onboard.setting import as_given

METERS = ("dc", "ac")
AH_MOST, WH_MOST = 5000.0, 2e5
CHARGE_KEYS = ("logs", "charged_wh", "charged_ah", "unlogged_ah", "full_to_full")
SHEET_KEYS = ("meter", "full_to_full", "unlogged_ah", "charge")


@dataclass(frozen=True)
class StatedCharge:
    """One charge, as stated.

    Parameters
    ----------
    logs
        The rides since the previous charge, in order.
    charged_wh, charged_ah
        Meter reading; None if not read.
    unlogged_ah
        Charge drawn without a log; None if not stated.
    full_to_full
        Whether the pack was full before and after; None to decide by the marks.
    """

    logs: tuple[Path, ...]
    charged_wh: float | None
    charged_ah: float | None
    unlogged_ah: float | None = None
    full_to_full: bool | None = None


@dataclass(frozen=True)
class ChargeSheet:
    """All charges, and the place of the meter (one of `METERS`; None if not stated)."""

    charges: tuple[StatedCharge, ...]
    meter: str | None


def read_charge_sheet(path: Path) -> ChargeSheet:
    """Read a sheet of charges.

    Parameters
    ----------
    path
        TOML: `[[charge]]` with `logs` (relative to the sheet), `charged_wh`, `charged_ah`; above
        them or in each `full_to_full` and `unlogged_ah`; above them `meter`.

    Raises
    ------
    UsageError
        If it cannot be read, or a key or value is not allowed.
    """
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise UsageError(f"{path}: cannot be read ({problem.strerror})") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise UsageError(f"{path}: not valid TOML: {problem}") from None
    except (ValueError, RecursionError):  # such as thousands of digits or brackets
        raise UsageError(f"{path}: not valid TOML: too long a number or too deep a list") from None
    try:
        return _sheet(tables, path.parent)
    except UsageError as problem:
        raise UsageError(f"{path}: {problem}") from None


def _sheet(tables: dict[str, Any], folder: Path) -> ChargeSheet:
    _refuse_unknown("", tables, SHEET_KEYS)
    meter = tables.get("meter")
    if meter is not None and meter not in METERS:
        raise UsageError(f'meter = {as_given(meter)}: expected "dc" or "ac"')
    charges = tables.get("charge")
    if not isinstance(charges, list) or not charges:
        raise UsageError("charge: expected [[charge]] tables, one for each charge")
    common = {key: value for key, value in tables.items() if key not in ("meter", "charge")}
    return ChargeSheet(
        tuple(
            _charge(f"charge {number}", table, common, folder)
            for number, table in enumerate(charges, 1)
        ),
        meter,
    )


def _charge(name: str, table: Any, common: dict[str, Any], folder: Path) -> StatedCharge:
    if not isinstance(table, dict):
        raise UsageError(f"{name}: expected a table, [[charge]]")
    _refuse_unknown(f"{name}: ", table, CHARGE_KEYS)
    stated = common | table
    logs = stated.get("logs")
    if not isinstance(logs, list) or not logs or not all(isinstance(log, str) for log in logs):
        raise UsageError(
            f'{name}: logs = {as_given(logs)}: expected a list of paths, ["ride.tlog"]'
        )
    full = stated.get("full_to_full")
    if full is not None and not isinstance(full, bool):
        raise UsageError(f"{name}: full_to_full = {as_given(full)}: expected true or false")
    return StatedCharge(
        tuple(folder / log for log in logs),
        _number(name, "charged_wh", stated, 0.1, WH_MOST),
        _number(name, "charged_ah", stated, 0.01, AH_MOST),
        _number(name, "unlogged_ah", stated, 0.0, AH_MOST),
        full,
    )


def _number(name: str, key: str, stated: dict[str, Any], least: float, most: float) -> float | None:
    value = stated.get(key)
    if value is None:
        return None
    if type(value) not in (int, float) or not least <= value <= most:
        raise UsageError(
            f"{name}: {key} = {as_given(value)}: expected a number from {least:g} to {most:g}"
        )
    return float(value)


def _refuse_unknown(prefix: str, given: dict[str, Any], known: tuple[str, ...]) -> None:
    for key in given:
        if key not in known:
            raise UsageError(f"{prefix}{key}: no such key: expected one of {', '.join(known)}")


def checked(sheet: ChargeSheet, marked: Sequence[Path] = ()) -> ChargeSheet:
    """Return a sheet that is complete and consistent.

    Parameters
    ----------
    sheet
        The charges; may be none beside sessions.
    marked
        Sessions whose marks state charges of their own.

    Raises
    ------
    UsageError
        If not all charges have a meter reading, or a log belongs to two charges.
    """
    charges = sheet.charges
    for key in ("charged_wh", "charged_ah"):
        given = [getattr(one, key) is not None for one in charges]
        if any(given) and not all(given):
            raise UsageError(f"{key}: give it for every charge, or for none")
    if not charges and marked:
        return _without_doubles(sheet, marked)
    if all(one.charged_wh is None and one.charged_ah is None for one in charges):
        raise UsageError("reconcile: say what came back, with --charged-wh or --charged-ah")
    if sheet.meter == "ac" and charges[0].charged_ah is not None:
        raise UsageError(
            "charged_ah: a meter at the wall cannot tell the pack's ampere-hours: leave it out, or "
            "say that the meter is dc"
        )
    return _without_doubles(sheet, marked)


def _without_doubles(sheet: ChargeSheet, marked: Sequence[Path]) -> ChargeSheet:
    seen: set[Path] = set()
    for log in (*(log for one in sheet.charges for log in one.logs), *marked):
        if log.resolve() in seen:
            raise UsageError(f"{log}: given twice: a ride belongs to one charge")
        seen.add(log.resolve())
    return sheet
