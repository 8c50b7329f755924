"""What `compare` refuses, each in one line that names the file."""

from dataclasses import replace
from pathlib import Path

import pytest

from tests.groundside.reports.compare.trial_days import (
    DAY,
    Run,
    day_made,
    refused,
    runs_of,
    toml_sheet,
    write_day,
    write_log,
)

Capsys = pytest.CaptureFixture[str]


@pytest.mark.parametrize(
    ("runs", "why"),
    [
        ([Run("a", "gone.tlog", 0, 9)], "{folder}/gone.tlog: no such file"),
        ([Run("a", ".", 0, 9)], "{folder}: no telemetry.tlog in this folder: is it a session?"),
        ([Run("a", "empty.tlog", 0, 9)], "{folder}/empty.tlog: the file is empty: expected a log"),
        (
            [Run("a", "junk.tlog", 0, 9)],
            "{folder}/junk.tlog: no MAVLink frame in it; it seems to be a text file; expected a "
            "telemetry log, a raw MAVLink stream or an on-board log",
        ),
        (
            [Run("a", "day.tlog", 24, 124), Run("a", "day.tlog", 148, 248)],
            "compare: runs of one set-up only, 'a': name the set-ups in a run sheet, [[run]] with "
            "setup, log, start_s, end_s, or mark them while riding",
        ),
        (
            [Run("a", "day.tlog", 0, 12), Run("b", "day.tlog", 14, 22)],
            "compare: no steady run and no lap was found (day.tlog from 0 s: no straight run with "
            "known power and speed in it)",
        ),
        (
            [Run("a", "day.tlog", 9000, 9100), Run("b", "day.tlog", 9200, 9300)],
            "compare: no steady run and no lap was found (day.tlog from 9000 s: no straight run "
            "with known power and speed in it)",
        ),
        (
            [Run("a", "day.tlog", 24, 124), Run("b", "day.tlog", 148, 248)],
            "compare: no double run (the next run had another set-up; no run back followed): "
            "run each set-up there and back, or in laps, at one power",
        ),
    ],
)
def test_refusals(runs: list[Run], why: str, tmp_path: Path, capsys: Capsys) -> None:
    write_day(tmp_path)
    (tmp_path / "empty.tlog").write_bytes(b"")
    (tmp_path / "junk.tlog").write_bytes(b"hello" * 1000)
    sheet = tmp_path / "other.toml"
    sheet.write_text(toml_sheet(runs))
    assert refused(capsys, sheet) == why.format(folder=tmp_path)


WITHOUT = {"power": (1, 147), "speed": (24, 33, 74)}
"""Message numbers by instrument (MAVLink common messages)."""


@pytest.mark.parametrize("what", WITHOUT)
def test_a_log_without_power_or_without_a_receiver(
    what: str, tmp_path: Path, capsys: Capsys
) -> None:
    sheet = write_day(tmp_path)
    made = day_made(DAY, 1)
    frames = [
        one for one in made.frames if int.from_bytes(one.data[7:10], "little") not in WITHOUT[what]
    ]
    assert 0 < len(frames) < len(made.frames)
    write_log(tmp_path / "day.tlog", replace(made, frames=frames))
    assert "no steady run and no lap was found" in refused(capsys, sheet)


def test_a_log_without_a_sheet_has_no_set_ups(tmp_path: Path, capsys: Capsys) -> None:
    write_day(tmp_path)
    assert "runs of one set-up only" in refused(capsys, tmp_path / "day.tlog")
    assert refused(capsys, tmp_path / "gone.tlog") == f"{tmp_path}/gone.tlog: no such file"
    assert "cannot be read" in refused(capsys, tmp_path / "gone.toml")
    assert "units 'furlongs'" in refused(capsys, tmp_path / "runs.toml", "--units", "furlongs")
    assert "system asked for" in refused(capsys, tmp_path / "runs.toml", "--system-id", 99)


@pytest.mark.slow
def test_each_run_counts_once(tmp_path: Path, capsys: Capsys) -> None:
    sheet = write_day(tmp_path)
    assert "overlap" in refused(capsys, sheet, sheet)
    (tmp_path / "copy.tlog").write_bytes((tmp_path / "day.tlog").read_bytes())
    runs = runs_of(day_made(DAY, 1))
    both = tmp_path / "both.toml"
    both.write_text(toml_sheet([*runs, *(replace(one, log="copy.tlog") for one in runs)]))
    assert refused(capsys, both) == (
        f"{tmp_path}/copy.tlog: the same ride as {tmp_path}/day.tlog: each counts once"
    )


@pytest.mark.parametrize(
    ("options", "problem"),
    [
        (("--battery-wh", 500), "--battery-wh: needs --speed-mps"),
        (("--speed-mps", 2, "--battery-wh", 500), "--battery-wh: the craft profile has no"),
        (("--html", "runs.toml"), "--html runs.toml: expected a name that ends in .html"),
    ],
)
def test_impossible_options_are_refused(
    options: tuple[object, ...], problem: str, tmp_path: Path, capsys: Capsys
) -> None:
    assert problem in refused(capsys, write_day(tmp_path), *options)
