"""The run sheet, in TOML or CSV: the set-up of each run, and its times."""

import csv
import itertools
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from onboard.dataclass import dataclass
from onboard.efficiency.trial.runs import SpanKind
from onboard.errors import UsageError
from onboard.setting import as_given
from onboard.telemetry.logs.log_files import session_folder

KEYS = ("setup", "log", "start_s", "end_s")
KINDS = (SpanKind.LAPS.value, SpanKind.THERE_AND_BACK.value)


@dataclass(frozen=True)
class RunEntry:
    """A run listed in a run sheet.

    Parameters
    ----------
    setup
        The set-up's label; None to take it from the log's marks.
    log
        The log, or a session's folder.
    start_s, end_s
        Time since the log's first stamp [s]; None for both to find runs automatically.
    kind
        Whether it was ridden there and back, or in laps.
    """

    setup: str | None
    log: Path
    start_s: float | None = None
    end_s: float | None = None
    kind: SpanKind = SpanKind.EITHER


def entries_of(paths: Sequence[Path]) -> list[RunEntry]:
    """Return the runs of sheets, and one entry for each path that is a log.

    Raises
    ------
    UsageError
        If a sheet is unusable, or two runs overlap in a log.
    """
    found: list[RunEntry] = []
    for path in paths:
        if path.suffix.lower() in (".toml", ".csv"):
            found += read_run_sheet(path)
        else:
            found.append(RunEntry(None, path))
    _refuse_overlap("compare", found)
    return found


def read_run_sheet(path: Path) -> list[RunEntry]:
    """Read a run sheet; its logs' paths are relative to it.

    Raises
    ------
    UsageError
        If it cannot be read, or a run is not valid.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as problem:
        raise UsageError(f"{path}: cannot be read ({problem.strerror})") from None
    except UnicodeDecodeError:
        raise UsageError(f"{path}: not a text file: expected a run sheet") from None
    is_csv = path.suffix.lower() == ".csv"
    rows, kind = (_csv_rows(path, text), SpanKind.EITHER) if is_csv else _toml_rows(path, text)
    if not rows:
        wanted = "a line" if is_csv else "[[run]]"
        raise UsageError(f"{path}: no run in it: expected {wanted} with setup and log for each")
    entries = [replace(_entry(path, number, row), kind=kind) for number, row in enumerate(rows, 1)]
    _refuse_overlap(str(path), entries)
    return entries


def _toml_rows(path: Path, text: str) -> tuple[list[dict[str, Any]], SpanKind]:
    """Return the runs of a sheet in TOML, and how they were ridden."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise UsageError(f"{path}: not valid TOML: {problem}") from None
    except (ValueError, RecursionError):  # such as thousands of digits or brackets
        raise UsageError(f"{path}: not valid TOML: too long a number or too deep a list") from None
    for key in tables:
        if key not in ("run", "kind"):
            raise UsageError(f"{path}: {key!r}: no such key: expected kind and [[run]] only")
    kind = tables.get("kind", SpanKind.EITHER)
    if "kind" in tables and kind not in KINDS:
        raise UsageError(f"{path}: kind = {as_given(kind)}: expected {' or '.join(KINDS)}")
    rows = tables.get("run", [])
    if not (isinstance(rows, list) and all(isinstance(row, dict) for row in rows)):
        raise UsageError(f"{path}: run: expected [[run]], in double brackets, for each run")
    return rows, SpanKind(kind)


def _csv_rows(path: Path, text: str) -> list[dict[str, Any]]:
    lines = text.splitlines()
    before = len(list(itertools.takewhile(lambda line: not line.strip(), lines)))
    # Where the decimal sign is a comma, spreadsheets separate columns by semicolons.
    has_commas = ";" in "".join(lines[before : before + 1])
    delimiter = ";" if has_commas else ","
    reader = csv.DictReader(lines[before:], skipinitialspace=True, delimiter=delimiter)
    columns = [name.strip() for name in reader.fieldnames or ()]
    reader.fieldnames = columns
    if not {"setup", "log"} <= set(columns) or len(set(columns)) < len(columns):
        raise UsageError(f"{path}: expected a first line with {','.join(KEYS)}, each once")
    rows: list[dict[str, Any]] = []
    for line in reader:
        row: dict[str, Any] = {}
        for key, value in line.items():
            if key is None or value is None:
                number = before + reader.line_num
                raise UsageError(
                    f"{path}: line {number}: expected as many values as the first line has names, "
                    "empty where nothing is to be said"
                )
            if not value.strip():
                continue
            is_time = key in ("start_s", "end_s")
            row[key] = _number(value, has_commas) if is_time else value.strip()
        if row:
            rows.append(row)
    return rows


def _number(text: str, has_commas: bool) -> float | str:
    try:
        return float(text.replace(",", ".") if has_commas else text)
    except ValueError:
        return text


def _entry(path: Path, number: int, row: dict[str, Any]) -> RunEntry:
    where = f"{path}: run {number}"
    for key in row:
        if key not in KEYS:
            raise UsageError(f"{where}: {key!r}: no such key: expected some of {', '.join(KEYS)}")
    for key in ("setup", "log"):
        if key not in row:
            raise UsageError(f"{where}: {key}: missing: each run needs setup and log")
        value = row[key]
        if not (isinstance(value, str) and value.strip() and value.isprintable()):
            raise UsageError(f"{where}: {key} = {as_given(value)}: expected a line of text")
    times = [row.get(key) for key in ("start_s", "end_s")]
    for key, value in zip(("start_s", "end_s"), times, strict=True):
        if value is not None and not _is_time(value):
            raise UsageError(
                f"{where}: {key} = {as_given(value)}: expected seconds from the log's start"
            )
    start, end = times
    if (start is None) != (end is None):
        raise UsageError(f"{where}: expected both start_s and end_s, or neither")
    if start is not None and end is not None and end <= start:
        raise UsageError(f"{where}: end_s = {end:g}: expected more than start_s, {start:g}")
    try:
        log = path.parent / Path(row["log"].strip()).expanduser()
    except RuntimeError:
        raise UsageError(f"{where}: log = {row['log']!r}: nobody of that name here") from None
    return RunEntry(row["setup"].strip(), log, start, end)


def _is_time(value: Any) -> bool:
    return type(value) in (int, float) and 0.0 <= value < 1e9


def _refuse_overlap(where: str, entries: list[RunEntry]) -> None:
    by_log: dict[Path, list[tuple[float, float, int]]] = {}
    for number, one in enumerate(entries, 1):
        first = float("-inf") if one.start_s is None else one.start_s
        last = float("inf") if one.end_s is None else one.end_s
        # The same log may be given by another path, or as its session's folder.
        log = one.log.resolve()
        log = session_folder(log) or log
        by_log.setdefault(log, []).append((first, last, number))
    for log, spans in by_log.items():
        spans.sort()
        for (_, end, number), (start, _, other) in itertools.pairwise(spans):
            if start < end:
                raise UsageError(
                    f"{where}: runs {number} and {other} of {log.name} overlap: each second counts "
                    "once"
                )
