"""`python -m tests.craft`."""

import json
import sys
from pathlib import Path

import pytest

from tests.craft.__main__ import main
from tests.craft.telemetry_log import log_frames


def test_log_and_truth_are_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log, truth = tmp_path / "a.tlog", tmp_path / "a.json"
    command = f"craft --scenario at_anchor --seed 9 --out {log} --truth {truth}"
    monkeypatch.setattr(sys, "argv", command.split())
    main()
    figures = json.loads(truth.read_text())
    assert figures["seed"] == 9
    assert figures["messages"] == len(list(log_frames(log)))


def test_bad_speed_is_refused(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["craft", "--scenario", "at_anchor", "--speed", "0"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "expected a number above 0" in capsys.readouterr().err
