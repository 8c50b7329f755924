"""Records against a slow implementation of the rule, on generated streams, cut anywhere."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.errors import LogError
from onboard.telemetry.logs.onboard_log.record_layouts import HEADER_BYTES
from onboard.telemetry.logs.onboard_log.records import read_records
from onboard.telemetry.logs.onboard_log.windows import windows
from tests.craft.onboard_kinds import Kind, format_record
from tests.onboard.telemetry.logs.onboard_log.made_records import streams
from tests.onboard.telemetry.logs.onboard_log.slow_reader import Read, read

AA = Kind(1, "AA", "Qhf", "TimeUS,Count,Level")


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("log") / "made.bin"


def found_in(path: Path, window_bytes: int) -> tuple[list[tuple[int, str, bytes]], int]:
    """Return place, name and bytes of each record, and the number of bad bytes."""
    found, bad, begin = [], 0, 0
    for window in windows(path, window_bytes):
        for start, number in zip(window.start.tolist(), window.number.tolist(), strict=True):
            layout = window.layouts[number]
            record = window.data[start : start + layout.length].tobytes()
            found.append((begin + start, layout.name, record))
        bad += window.bad_bytes
        begin = window.end
    return found, bad


def same(ours: Any, theirs: Any) -> bool:
    if isinstance(theirs, bytes):
        return bytes(ours) == theirs.rstrip(b"\0")
    return bool(np.array_equal(ours, theirs, equal_nan=True))


@pytest.mark.slow
@settings(max_examples=400)
@given(streams(), st.sampled_from([1, 2, 3, 7, 90, 255, 256, 257, 600, 1 << 20]))
def test_scan_equals_the_slow_implementation_for_any_window(
    log: Path, stream: bytes, size: int
) -> None:
    log.write_bytes(stream)
    expected, expected_bad = read(stream)
    if not expected:
        with pytest.raises(LogError):
            found_in(log, size)
        return
    found, bad = found_in(log, size)
    assert [(at, name) for at, name, _ in found] == [(one.at, one.name) for one in expected]
    assert all(stream[at : at + len(record)] == record for at, _, record in found)
    assert bad == expected_bad


@pytest.mark.slow
@settings(max_examples=200)
@given(streams(), st.sampled_from([256, 700, 1 << 20]))
def test_columns_equal_the_slow_implementation(log: Path, stream: bytes, size: int) -> None:
    log.write_bytes(stream)
    expected, _ = read(stream)
    if not expected:
        return
    got = read_records(log, window_bytes=size)
    names = {one.name for one in expected}
    assert set(got) == names
    for name in names:
        rows = [one.fields for one in expected if one.name == name]
        records = got[name]
        assert len(records) == len(rows)
        for field, column in records.columns.items():
            assert len(column) == len(rows)
            for ours, row in zip(column, rows, strict=True):
                compare(ours, row.get(field), rows, field)


def compare(ours: Any, theirs: Any, rows: list[dict[str, Any]], field: str) -> None:
    kinds = {type(row[field]) for row in rows if field in row}
    if len({float if kind is int else kind for kind in kinds}) > 1:
        return  # text, array and number under one name: no column can hold them all
    if theirs is not None:
        assert same(ours, theirs)
    elif kinds == {bytes}:
        assert bytes(ours) == b""
    else:
        assert np.isnan(ours).all()


def log_of(path: Path, *parts: bytes) -> Path:
    path.write_bytes(b"".join(parts))
    return path


def rows(*counts: int, kind: Kind = AA) -> bytes:
    return b"".join(kind.record(TimeUS=10 * n, Count=n, Level=n / 3) for n in counts)


def test_redefined_in_mid_file_keeps_fields_by_name(log: Path) -> None:
    other = Kind(1, "AA", "Qff", "TimeUS,Level,Extra")
    log_of(
        log,
        format_record(AA),
        rows(1, 2),
        format_record(other),
        other.record(TimeUS=30, Level=0.5, Extra=9.0),
        format_record(other),
        other.record(TimeUS=40, Level=0.25, Extra=8.0),
        format_record(AA),
        rows(5),
    )
    got = read_records(log)["AA"]
    assert got.time_us is not None
    assert got.time_us.tolist() == [10, 20, 30, 40, 50]
    np.testing.assert_array_equal(got["Count"], [1.0, 2.0, np.nan, np.nan, 5.0])
    np.testing.assert_array_equal(got["Extra"], [np.nan, np.nan, 9.0, 8.0, np.nan])
    level = np.array([1 / 3, 2 / 3, 0.5, 0.25, 5 / 3], np.float32)
    np.testing.assert_array_equal(got["Level"], level)


def test_type_number_used_again_under_another_name(log: Path) -> None:
    other = Kind(1, "BB", "QB", "TimeUS,One")
    log_of(log, format_record(AA), rows(1, 2), format_record(other), other.record(TimeUS=9, One=7))
    got = read_records(log)
    assert got["AA"]["Count"].tolist() == [1, 2]
    assert got["BB"]["One"].tolist() == [7]


def test_two_types_of_one_name_are_in_the_order_of_the_file(log: Path) -> None:
    twin = Kind(2, "AA", "Qhf", "TimeUS,Count,Level")
    parts = [rows(n, kind=(AA, twin)[n % 2]) for n in range(9)]
    log_of(log, format_record(AA), format_record(twin), *parts)
    assert read_records(log)["AA"]["Count"].tolist() == list(range(9))


def test_record_before_its_format_is_bad_bytes(log: Path) -> None:
    early = rows(1)
    log_of(log, format_record(Kind(2, "BB", "B", "One")), early, format_record(AA), rows(2, 3))
    found, bad = found_in(log, 1 << 20)
    assert [name for _, name, _ in found] == ["FMT", "FMT", "AA", "AA"]
    assert bad == len(early)


def test_every_record_but_the_one_in_front_of_junk_is_found(log: Path) -> None:
    junk = bytes(range(100))
    log_of(log, format_record(AA), rows(1, 2, 3), junk, rows(4, 5), junk[:7], rows(6))
    got = read_records(log)["AA"]
    assert got["Count"].tolist() == [1, 2, 4, 6]
    _, bad = found_in(log, 300)
    assert bad == len(junk) + 7 + 2 * AA.stored.itemsize


@pytest.mark.parametrize("pad", [b"\0", b"\xff"])
def test_padding_at_the_end_costs_no_record(log: Path, pad: bytes) -> None:
    last = AA.record(TimeUS=2**63 + 1, Count=-2, Level=-1.7)  # no byte at the end is 00 or FF
    log_of(log, format_record(AA), rows(1), last, pad * 5000)
    assert read_records(log, window_bytes=512)["AA"]["Count"].tolist() == [1, -2]


@pytest.mark.parametrize("kept", range(1, AA.stored.itemsize))
def test_cut_tail_is_never_read(log: Path, kept: int) -> None:
    log_of(log, format_record(AA), rows(1, 2), rows(3)[:kept])
    assert read_records(log)["AA"]["Count"].tolist() == [1, 2]


def test_wanted_fields_only_and_progress(log: Path) -> None:
    log_of(log, format_record(AA), rows(*range(200)))
    reached: list[int] = []
    got = read_records(
        log, {"AA": ["Count", "Nope"], "ZZ": []}, window_bytes=1000, progress=reached.append
    )
    assert set(got) == {"AA"}
    assert list(got["AA"].columns) == ["Count"]
    assert got["AA"].time_us is not None
    assert got["AA"].time_us.tolist() == [10 * n for n in range(200)]
    assert got["AA"].utc_s is None
    assert reached == sorted(reached)
    assert reached[-1] == log.stat().st_size


def test_an_unknown_letter_costs_the_fields_not_the_step(log: Path) -> None:
    odd = bytearray(format_record(AA))
    odd[9] = ord("?")
    log_of(log, bytes(odd), rows(1, 2), format_record(Kind(2, "BB", "B", "One")))
    got = read_records(log)
    assert len(got["AA"]) == 2
    assert not got["AA"].columns
    assert HEADER_BYTES == 3
    assert len(got["FMT"]) == 2


@pytest.mark.parametrize("data", [b"", bytes(3000), b"\xff" * 10, b"no log at all" * 99])
def test_data_that_is_no_log_is_refused(log: Path, data: bytes) -> None:
    with pytest.raises(LogError, match="expected an on-board log"):
        read_records(log_of(log, data))


def test_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no such file"):
        read_records(tmp_path / "none.bin")


def test_slow_implementation_reads_a_record_made_by_hand() -> None:
    record = bytes.fromhex("a39501") + (5).to_bytes(8, "little") + b"\x02\x00" + bytes(4)
    found, bad = read(format_record(AA) + record)
    assert found[1] == Read(89, "AA", {"TimeUS": 5, "Count": 2, "Level": 0.0})
    assert bad == 0
