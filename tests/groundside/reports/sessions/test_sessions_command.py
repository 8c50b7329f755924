"""The command `sessions`: its text, its defaults, narrow screens."""

import json
import os
from pathlib import Path

import pytest

from groundside.command_line import main
from groundside.reports.sessions.sessions_output import as_lines, setup_lines
from groundside.studies.rides import SeasonRide, Share, Sums
from groundside.words.units import CHOICES
from onboard.contract.figure import Figure
from tests.groundside.reports.run_command import refusal
from tests.groundside.reports.sessions.made_sessions import (
    DAY_US,
    START_US,
    log_bytes,
    names,
    session,
)


def test_the_list_as_text(capsys, tmp_path: Path) -> None:
    session(tmp_path, named=[(0, "three blades")], seconds=600)
    session(tmp_path, START_US + DAY_US, number=2, seconds=60)
    main(["sessions", str(tmp_path), "--set-label", "2025-06-15", "calm evening"])
    capsys.readouterr()
    assert main(["sessions", str(tmp_path), "--units", "kn"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["date", "name", "time", "NM", "Wh", "Wh/NM", "set-ups", "label"]
    assert lines[1].startswith("2025-06-16 15:06  2025-06-16T15-06-40Z  00:00:5")
    assert "three blades  calm evening" in lines[2]
    # 500 W at 2 m/s for ten minutes less half a second: 83.3 Wh over 0.648 NM, 128.6 Wh/NM.
    assert lines[2].split()[3:7] == ["00:09:59", "0.65", "83.2", "129"]
    assert lines[4].startswith("2 sessions   00:1")
    assert "dates and times are UTC" in lines


def test_the_daemon_s_records_are_the_default(capsys, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert main(["sessions"]) == 2
    assert "no sessions there yet" in capsys.readouterr().err
    usual = tmp_path / "wattwake" / "sessions"
    session(usual)
    assert main(["sessions"]) == 0
    assert "2025-06-15T15-06-40Z" in capsys.readouterr().out
    other = tmp_path / "other"
    session(other, START_US + DAY_US)
    (tmp_path / "craft.toml").write_text(f"[record]\ndirectory = '{other}'\n")
    assert main(["sessions", "--profile", str(tmp_path / "craft.toml")]) == 0
    assert "2025-06-16T15-06-40Z" in capsys.readouterr().out


def test_several_folders_are_one_season(capsys, tmp_path: Path) -> None:
    a, b = tmp_path / "a", tmp_path / "b"
    session(a)
    session(b, START_US + DAY_US)
    assert main(["sessions", str(a), str(b), str(a / ".." / "a"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert names(found) == ["2025-06-16T15-06-40Z", "2025-06-15T15-06-40Z"]
    assert found["totals"]["sessions"] == 2


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["{}/nowhere"], "no such folder"),
        (["{}/empty"], "no session and no log there"),
        (["{}/ride.tlog"], "not a folder"),
        (["{}/2025-06-15T15-06-40Z"], "one session: give the folder that it lies in"),
        (["{}", "--since", "soon"], "--since 'soon': expected YYYY-MM-DD"),
        (["{}", "--units", "furlongs"], "units 'furlongs'"),
        (["{}", "--profile", "/nowhere.toml"], "/nowhere.toml: cannot be read"),
        (["{}", "--longer-than-m", "far"], "--longer-than-m"),
        (["{}/empty", "--set-label", "x", "y"], "no session and no log there"),
    ],
)
def test_wrong_input_is_reported_in_one_line(words, says, capsys, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    session(tmp_path)
    (tmp_path / "ride.tlog").write_bytes(log_bytes(10))
    words = [word.format(tmp_path) for word in words]
    assert says in refusal(capsys, "sessions", *words)


def test_no_cache_is_made_where_nothing_was_found(capsys, tmp_path: Path) -> None:
    assert main(["sessions", str(tmp_path)]) == 2
    assert list(tmp_path.iterdir()) == []


def test_help_shows_an_example(capsys) -> None:
    with pytest.raises(SystemExit):
        main(["sessions", "--help"])
    assert "example: wattwake-groundside sessions" in capsys.readouterr().out


FIGURE = Figure(51.0, 49.0, 53.0)
RIDES = [
    SeasonRide(
        Path("/season/2025-06-15T15-06-40Z"),
        Sums(
            "2025-06-15T15:06:40.0Z",
            3600.0,
            3600.0,
            3500.0,
            Figure(7200.0, 7150.0, 7250.0),
            Figure(367.0, 352.0, 382.0),
            FIGURE,
            shares=(Share("three blades", 100.0, 2000.0), Share("two blades", 267.0, 5200.0)),
        ),
        "evening round the island with a load of firewood " * 3,
        is_open=True,
    ),
    SeasonRide(Path("/season/" + "x" * 90 + ".tlog"), problem="it is damaged " * 12),
]


@pytest.mark.parametrize("width", [20, 40, 60, 80, 120, 200])
def test_no_line_is_wider_than_the_screen(width: int) -> None:
    units = CHOICES["km/h"]
    lines = [*as_lines(RIDES, 9, units, width), *setup_lines(RIDES, units, width)]
    assert max(map(len, lines)) <= width
    # No text is lost, whatever the width.
    text = "".join("".join(lines).split())
    for piece in ("2025-06-1515:06*", "7.20", "367", "51(49to53)", "firewood", "2of9sessions"):
        assert piece in text
    assert "threeblades,twoblades" in text


def test_foreign_text_cannot_steer_the_terminal() -> None:
    hostile = "a\x1b[2J\r\nb\u202e"
    sums = Sums(shares=(Share(hostile, 1.0, 2.0),))
    rides = [SeasonRide(Path("/season") / hostile, sums, hostile, problem=hostile)]
    for width in (None, 40):
        lines = [
            *as_lines(rides, 1, CHOICES["kn"], width),
            *setup_lines(rides, CHOICES["kn"], width),
        ]
        assert all(line.isprintable() for line in lines)


def test_lines_are_as_wide_as_the_terminal(capsys, tmp_path: Path, monkeypatch) -> None:
    session(tmp_path)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "40")
    assert main(["sessions", str(tmp_path)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 40
    assert os.linesep.join(lines).count("2025-06-15T15-06-40Z") == 1
