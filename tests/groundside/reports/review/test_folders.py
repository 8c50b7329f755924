"""A folder of logs: what is meant by it, and a bad log in it costs one line."""

import json
import shutil
from pathlib import Path

import pytest

from groundside.reports.review.folders import logs_in
from onboard.errors import UsageError
from tests.groundside.reports.run_command import ROOT, refusal, run

LOGS = ROOT / "replay_logs"


def names(folder: Path) -> list[str]:
    return [path.name for path in logs_in([folder])]


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """A folder as people keep them: logs, a session, profiles, notes, what is no log."""
    whole = (LOGS / "board_sprints.tlog").read_bytes()
    (tmp_path / "b.tlog").write_bytes(whole)
    (tmp_path / "a.tlog").write_bytes(whole[: len(whole) // 2 + 3])
    (tmp_path / "c.tlog").write_bytes(b"")
    (tmp_path / "d").write_bytes(b"\x89PNG and more that is no log" * 40)
    for name in ("b.toml", "notes.txt", ".hidden"):
        (tmp_path / name).write_text("")
    (tmp_path / "empty").mkdir()
    (tmp_path / "session").mkdir()
    shutil.copy(LOGS / "at_anchor.tlog", tmp_path / "session" / "telemetry.tlog")
    return tmp_path


def test_a_folder_stands_for_its_logs_and_sessions_by_name(season: Path) -> None:
    assert names(season) == ["a.tlog", "b.tlog", "c.tlog", "d", "session"]


def test_a_session_and_a_file_stand_for_themselves(season: Path) -> None:
    given = [season / "session", season / "b.tlog", season / "missing.tlog"]
    assert logs_in(given) == given


def test_a_folder_without_a_log_is_refused(season: Path, capsys) -> None:
    with pytest.raises(UsageError, match="no log and no session in this folder"):
        logs_in([season / "empty"])
    assert refusal(capsys, "review", season / "empty").count("\n") == 1


@pytest.mark.slow
def test_bad_logs_cost_a_line_each_and_the_others_are_reviewed(season: Path, capsys) -> None:
    code, out, err = run(capsys, "review", season, "--json")
    reviews = {Path(one["path"]).name: one for one in json.loads(out)["reviews"]}
    assert code == 2
    assert err.count("\n") == 2
    assert {name for name, one in reviews.items() if "problem" in one} == {"c.tlog", "d"}
    assert reviews["b.tlog"]["trip"]["elapsed_s"] > reviews["a.tlog"]["trip"]["elapsed_s"] > 30
