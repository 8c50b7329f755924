"""Simulated trial days as files: logs, run sheets, profiles, marks."""

import csv
import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from groundside.command_line import main
from onboard.contract.reasons import Reason
from onboard.contract.remarks import CautionCode
from tests.craft.telemetry_log import log_bytes
from tests.craft.trial_day import FREE_S, Day, Made, Setup, make
from tests.groundside.reports.run_command import refusal

START_UNIX_S = 1_750_000_000.0

PROFILE = """
[sensors]
current_scale_sd = 0.02

[drive]
kv_rpm_per_v = 100.0
phase_resistance_ohm = 0.05
no_load_a = 1.0
pole_pairs = 7
"""

TWO = {"broad": Setup(), "slim": Setup(0.06, 1.9)}
"""`slim` takes 6 % more Wh/km at equal power; torque 2.5 and 1.9 N m at 1000 rpm."""

DAY = Day(TWO, ("broad", "slim", "slim", "broad") * 2)


@dataclass(frozen=True)
class Run:
    """A run of a sheet, or one to mark."""

    setup: str
    log: str
    start_s: float
    end_s: float


made = cache(make)


class _Hashable(dict):
    def __hash__(self) -> int:  # type: ignore[override]
        return hash(repr(self))


def day_made(day: Day, seed: int) -> Made:
    """Return a day, made once."""
    fixed = replace(day, setups=_Hashable(day.setups), setup_power_w=_Hashable(day.setup_power_w))
    return made(fixed, seed)


def runs_of(day: Made, log: str = "day.tlog") -> list[Run]:
    return [Run(name, log, start - FREE_S, end - FREE_S) for name, start, end in day.legs]


def toml_sheet(runs: Iterable[Run]) -> str:
    return "".join(
        f'[[run]]\nsetup = "{one.setup}"\nlog = "{one.log}"\n'
        f"start_s = {one.start_s}\nend_s = {one.end_s}\n\n"
        for one in runs
    )


def csv_sheet(path: Path, runs: Iterable[Run], **options: Any) -> None:
    with path.open("w", encoding=options.pop("encoding", "utf-8"), newline="") as file:
        writer = csv.writer(file, **options)
        writer.writerow(["setup", "log", "start_s", "end_s"])
        writer.writerows([one.setup, one.log, one.start_s, one.end_s] for one in runs)


def write_log(path: Path, day: Made, start_unix_s: float = START_UNIX_S) -> None:
    path.write_bytes(log_bytes(day.frames, start_unix_s))


def write_day(folder: Path, day: Day = DAY, seed: int = 1) -> Path:
    """Write log, sheet and profile of a day; return the sheet."""
    found = day_made(day, seed)
    write_log(folder / "day.tlog", found)
    (folder / "profile.toml").write_text(PROFILE)
    sheet = folder / "runs.toml"
    sheet.write_text(toml_sheet(runs_of(found)))
    return sheet


PAIR = {"a", "b", "difference_fraction", "verdict", "double_runs_needed"}
SETUP = {"name", "power_w", "speed_mps", "wh_per_km", "double_runs", "runs"}


def compare(capsys: pytest.CaptureFixture[str], *options: object) -> dict[str, Any]:
    """Run the command; return its JSON, once its shape is checked."""
    assert main(["compare", *map(str, options), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["schema"] == 2
    for one in found["setups"]:
        assert one.keys() >= SETUP
        assert one["speed_mps"] is not None
        assert one["wh_per_km"] is not None
    for one in found["pairs"]:
        assert one.keys() >= PAIR
        assert one["verdict"] in ("a_better", "b_better", "cannot_tell")
        assert one["difference_fraction"] or one["why"]["difference_fraction"]["code"]
        assert one["why_not"] is None or Reason(one["why_not"]["code"])
    for one in found["warnings"]:
        assert one.keys() == {"code", "text", *CautionCode(one["code"]).names}
    return found


def text_of(capsys: pytest.CaptureFixture[str], *options: object) -> str:
    assert main(["compare", *map(str, options)]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], *options: object) -> str:
    """Run the command, which must refuse; return its one line."""
    err = refusal(capsys, "compare", *options)
    assert err.isprintable() or err[:-1].isprintable()
    assert err.startswith("wattwake-groundside: ")
    return err.removeprefix("wattwake-groundside: ").strip()


def codes(found: dict[str, Any]) -> list[str]:
    return [one["code"] for one in found["warnings"]]


def difference(found: dict[str, Any], a: str, b: str) -> dict[str, float]:
    """Return the difference of a from b, whichever is stated first."""
    for one in found["pairs"]:
        figure = one["difference_fraction"]
        if (one["a"], one["b"]) == (a, b):
            return figure
        if (one["a"], one["b"]) == (b, a):
            value, low, high = (1.0 / (1.0 + figure[k]) - 1.0 for k in ("value", "high", "low"))
            return {"value": value, "low": low, "high": high}
    raise AssertionError((a, b))


def write_session(
    folder: Path, day: Made, marks: Iterable[dict[str, Any]], trip_s: float = 0.0
) -> None:
    """Write a session's folder with marks, whose times are seconds of its log.

    Before it the trip had lasted `trip_s` in other sessions.
    """
    folder.mkdir()
    write_log(folder / "telemetry.tlog", day)
    (folder / "profile.toml").write_text(PROFILE)
    lines = []
    for n, one in enumerate(marks):
        more = dict(one)
        t_s = more.pop("at_s")
        stamp = round((START_UNIX_S + t_s) * 1e6)
        lines.append(
            json.dumps({"t_s": trip_s + t_s, "stamp_us": stamp, "utc": None, "id": n} | more)
        )
    (folder / "marks.jsonl").write_text("".join(line + "\n" for line in lines))


def setup_mark(at_s: float, label: str) -> dict[str, Any]:
    return {"at_s": at_s, "kind": "set", "key": "setup", "value": label}


def run_marks(run: Run) -> list[dict[str, Any]]:
    return [
        {"at_s": run.start_s, "kind": "mark", "mark": "run_start", "text": ""},
        {"at_s": run.end_s, "kind": "mark", "mark": "run_end", "text": ""},
    ]
