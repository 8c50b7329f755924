"""The file of a record: reopened, it contains only whole records."""

from pathlib import Path

import numpy as np
import pytest

from onboard.record import record_file
from onboard.record.record_file import FileRecords, RecordFile, behind, joined
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.logs.telemetry_log import read_log
from tests.onboard.record.faulty_card import START_US
from tests.small_streams import Sender


def some(count: int) -> FileRecords:
    sender = Sender()
    frames = [sender.attitude(n) if n % 3 else sender.heartbeat() for n in range(count)]
    found = LinkScanner().push([(START_US, b"".join(frames))])
    assert len(found) == count
    return FileRecords(found.records(), np.cumsum(found.size + 8))


@pytest.mark.parametrize("cut", [0, 1, 36, 200, 201, 1000])
@pytest.mark.parametrize("junk", [0, 7])
def test_reopened_it_ends_with_the_last_whole_record(
    tmp_path: Path, cut: int, junk: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record_file, "TAIL_BYTES", 300)
    path, records = tmp_path / "record", some(60)
    file = RecordFile(path)
    assert file.append([records]) == ([], None)
    # A card that was removed has lost the last bytes, or has garbage in their place.
    path.write_bytes(records.data[: len(records.data) - cut] + b"\xfd" * min(junk, cut))
    lost_bytes = file.reopen()
    whole = max(end for end in [0, *records.ends.tolist()] if end <= len(records.data) - cut)
    assert path.stat().st_size == file.whole_bytes == whole
    assert lost_bytes == len(records.data) - whole
    file.close()


def test_bytes_after_the_records_are_truncated(tmp_path: Path) -> None:
    path, records = tmp_path / "record", some(5)
    file = RecordFile(path)
    file.append([records])
    path.write_bytes(records.data + b"half a record")
    assert file.reopen() == 0
    assert path.read_bytes() == records.data
    file.append([records])
    assert path.read_bytes() == 2 * records.data
    file.close()
    file.close()


def test_bytes_that_form_no_record_stay_and_are_skipped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record_file, "TAIL_BYTES", 300)
    path, records = tmp_path / "record", some(30)
    file = RecordFile(path)
    file.append([records])
    path.write_bytes(records.data[:-200] + bytes(900))
    assert file.reopen() == 0
    file.append([records])
    file.close()
    kept = sum(end <= len(records.data) - 200 for end in records.ends.tolist())
    parts = list(read_log(path))
    assert sum(map(len, parts)) == kept + 30


def test_a_closed_file_refuses_writes(tmp_path: Path) -> None:
    file = RecordFile(tmp_path / "record")
    file.close()
    left, problem = file.append([some(3)])
    assert sum(len(piece.ends) for piece in left) == 3
    assert isinstance(problem, OSError)


def test_a_symbolic_link_in_its_place_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").write_bytes(b"mine")
    (tmp_path / "record").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OSError, match="exists"):
        RecordFile(tmp_path / "record")
    assert (tmp_path / "elsewhere").read_bytes() == b"mine"


@pytest.mark.parametrize("count", range(11))
def test_behind_returns_what_follows_the_first_records(count: int) -> None:
    records = some(10)
    pieces = list(behind([FileRecords(b"", records.ends[:0]), records], 0))
    assert joined(pieces).data == records.data
    ends = [0, *records.ends.tolist()]
    first = FileRecords(records.data[: ends[4]], records.ends[:4])
    second = FileRecords(records.data[ends[4] :], records.ends[4:] - ends[4])
    left = list(behind([first, second], count))
    assert b"".join(piece.data for piece in left) == records.data[ends[count] :]
    assert sum(len(piece.ends) for piece in left) == 10 - count
    assert all(len(piece.data) == piece.ends[-1] for piece in left)
