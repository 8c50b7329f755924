"""Labels: kept beside the record, independent of the cache, safe to print."""

import json
from pathlib import Path

import pytest

from groundside.command_line import main
from groundside.reports.sessions.labels import label_path, read_label
from groundside.reports.sessions.season_cache import FILE_NAME, SeasonCache
from tests.groundside.reports.sessions.made_sessions import (
    DAY_US,
    START_US,
    listed,
    log_bytes,
    no_reading,
    session,
)

NAME = "2025-06-15T15-06-40Z"


def label(directory: Path, name: str, text: str) -> int:
    return main(["sessions", str(directory), "--set-label", name, text])


def labels(found: dict) -> list[str | None]:
    return [one["label"] for one in found["sessions"]]


def test_labels_outlast_the_cache(capsys, tmp_path: Path, monkeypatch) -> None:
    session(tmp_path)
    (tmp_path / "plain.tlog").write_bytes(log_bytes(start_us=START_US - DAY_US))
    listed(capsys, tmp_path)
    with monkeypatch.context() as patch:
        no_reading(patch)
        assert label(tmp_path, NAME, "  new propeller ") == 0
        assert label(tmp_path, "plain.tlog", "naïve 試し") == 0
        assert capsys.readouterr().out == (
            f"{NAME}: labelled new propeller\nplain.tlog: labelled naïve 試し\n"
        )
        found = listed(capsys, tmp_path)
    assert labels(found) == ["new propeller", "naïve 試し"]
    stored = SeasonCache(tmp_path / FILE_NAME, print).rows()
    assert {row.label for row in stored.values()} == {"new propeller", "naïve 試し"}
    (tmp_path / "season.json").unlink()
    assert listed(capsys, tmp_path) == found
    assert listed(capsys, tmp_path, "--rebuild") == found
    assert label(tmp_path, NAME, "") == 0
    assert capsys.readouterr().out == f"{NAME}: no label\n"
    assert not label_path(tmp_path / NAME).exists()
    assert labels(listed(capsys, tmp_path)) == [None, "naïve 試し"]
    assert label(tmp_path, NAME, "") == 0


@pytest.mark.parametrize("text", ["'; DROP TABLE ride; --", '"); DELETE FROM ride', "%_\\", "-- x"])
def test_hostile_labels_are_plain_text(text: str, capsys, tmp_path: Path) -> None:
    session(tmp_path, named=[(0, "'; DROP TABLE share; --")])
    session(tmp_path, START_US + DAY_US, number=2)
    listed(capsys, tmp_path)
    assert label(tmp_path, NAME, text) == 0
    capsys.readouterr()
    for _ in range(3):
        found = listed(capsys, tmp_path)
        assert labels(found) == [None, text]
        assert found["sessions"][1]["setups"][0]["setup"] == "'; DROP TABLE share; --"
    assert labels(listed(capsys, tmp_path, f"--label={text}")) == [text]
    options = ("--setup", "'; DROP TABLE share; --")
    assert len(listed(capsys, tmp_path, *options)["sessions"]) == 1


@pytest.mark.parametrize("text", ["a\nb", "a\x1b[2J", "a\x00", "\u202e", "x" * 201])
def test_control_characters_are_refused_in_a_label(text: str, capsys, tmp_path: Path) -> None:
    session(tmp_path)
    assert label(tmp_path, NAME, text) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "200 printable characters" in err
    assert not label_path(tmp_path / NAME).exists()


def test_a_foreign_label_file_cannot_steer_the_terminal(capsys, tmp_path: Path) -> None:
    folder = session(tmp_path)
    label_path(folder).write_text(json.dumps({"schema": 1, "label": "a\x1b[2J\r\nb" + "x" * 500}))
    assert main(["sessions", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "a [2J bxxx" in out
    assert "\x1b" not in out
    assert len(read_label(folder)) == 200


@pytest.mark.parametrize(
    "raw", [b"", b"\xff", b"[]", b'{"schema": 9, "label": "x"}', b"[" * 4000, b" " * 9000, b"null"]
)
def test_a_damaged_label_is_reported_and_can_be_replaced(
    raw: bytes, capsys, caplog, tmp_path: Path
) -> None:
    folder = session(tmp_path)
    label_path(folder).write_bytes(raw)
    assert labels(listed(capsys, tmp_path)) == [None]
    (message,) = caplog.messages
    assert "labels.json: no label can be read" in message
    assert label(tmp_path, NAME, "better") == 0
    capsys.readouterr()
    assert labels(listed(capsys, tmp_path)) == ["better"]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("2025", "several are meant"),
        ("nothing", "no such session"),
        ("", "no such session"),
        ("season.json", "no such session"),
    ],
)
def test_an_ambiguous_session_is_refused(name, says, capsys, tmp_path: Path) -> None:
    session(tmp_path)
    session(tmp_path, START_US + DAY_US, number=2)
    listed(capsys, tmp_path)
    assert label(tmp_path, name, "x") == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert says in err


def test_a_session_is_named_by_a_prefix_or_a_path(capsys, tmp_path: Path) -> None:
    session(tmp_path)
    session(tmp_path, START_US + DAY_US, number=2)
    assert label(tmp_path, "2025-06-15", "a") == 0
    assert label(tmp_path, str(tmp_path / "2025-06-16T15-06-40Z"), "b") == 0
    capsys.readouterr()
    assert labels(listed(capsys, tmp_path)) == ["b", "a"]


def test_a_label_that_cannot_be_written_is_reported(capsys, tmp_path: Path) -> None:
    folder = session(tmp_path)
    label_path(folder).mkdir()
    assert label(tmp_path, NAME, "x") == 2
    assert "labels.json: cannot be written" in capsys.readouterr().err
    assert not list(folder.glob("*.new"))
