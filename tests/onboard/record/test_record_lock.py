"""One daemon at a time records into a folder; it is free again once that has ended."""

from pathlib import Path

import pytest

from onboard.errors import UsageError
from onboard.record.record_lock import FILE_NAME, record_lock


def test_a_second_daemon_is_refused_until_the_first_has_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("onboard.record.record_lock.WAIT_S", 0.0)
    with record_lock(tmp_path / "all"):
        assert (tmp_path / "all" / FILE_NAME).stat().st_mode & 0o777 == 0o600
        with pytest.raises(UsageError), record_lock(tmp_path / "all"):
            pass
        # The refused daemon has not released the lock of the first.
        with pytest.raises(UsageError), record_lock(tmp_path / "all"):
            pass
        with record_lock(tmp_path / "elsewhere"), record_lock(None):
            pass
    with record_lock(tmp_path / "all"):
        pass


def test_without_a_lock_file_the_daemon_still_runs(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    ran = False
    with record_lock(tmp_path / "file"):
        ran = True
    assert ran
