"""A folder of records is kept by one daemon at a time, and free again once that has ended."""

from pathlib import Path

import pytest

from onboard.errors import UsageError
from onboard.record import record_lock
from onboard.record.record_lock import FILE_NAME, RecordLock


def test_a_second_daemon_is_refused_until_the_first_has_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record_lock, "WAIT_S", 0.0)
    with RecordLock(tmp_path / "all"):
        assert (tmp_path / "all" / FILE_NAME).stat().st_mode & 0o777 == 0o600
        with pytest.raises(UsageError), RecordLock(tmp_path / "all"):
            pass
        # The one that was refused has not let go of the first one's.
        with pytest.raises(UsageError), RecordLock(tmp_path / "all"):
            pass
        with RecordLock(tmp_path / "elsewhere"), RecordLock(None):
            pass
    with RecordLock(tmp_path / "all"):
        pass


def test_where_there_can_be_no_lock_the_daemon_runs_without(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    ran = False
    with RecordLock(tmp_path / "file"):
        ran = True
    assert ran
