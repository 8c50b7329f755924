"""Clean logs against pymavlink's reader (2.4.50, DFReader.py): every field of every record."""

import array
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pymavlink import DFReader

from onboard.telemetry.logs.onboard_log.record_layouts import text
from onboard.telemetry.logs.onboard_log.records import LogRecords, read_records
from tests.craft.onboard_kinds import FMT, GPS, KINDS, Kind, descriptions, format_record
from tests.craft.onboard_log import RATES_HZ, onboard_log_bytes
from tests.craft.recording import record
from tests.craft.scenarios import SCENARIOS
from tests.onboard.telemetry.logs.onboard_log.made_records import made_letters_log


def assert_equal(path: Path) -> dict[str, LogRecords]:
    """Compare everything with `==`, NaN equal to NaN; return what was read."""
    ours = read_records(path)
    seen: dict[str, int] = {}
    reader = DFReader.DFReader_binary(str(path))
    while (message := reader.recv_msg()) is not None:
        name = message.get_type()
        n = seen.get(name, 0)
        seen[name] = n + 1
        for field in message.get_fieldnames():
            theirs = getattr(message, field)
            theirs = theirs.tolist() if isinstance(theirs, array.array) else theirs
            mine = plain(ours[name][field][n])
            assert mine == theirs or both_nan(mine, theirs), (name, n, field)
        if ours[name].time_us is not None and ours[name].base_s is not None:
            utc_s = ours[name].utc_s
            assert utc_s is not None
            if n % 50 == 0:
                assert utc_s[n] == message._timestamp
        assert ours[name].instance == message.fmt.instance_field
    reader.close()
    assert seen == {name: len(records) for name, records in ours.items()}
    return ours


def both_nan(mine: Any, theirs: Any) -> bool:
    return isinstance(theirs, float) and math.isnan(theirs) and math.isnan(mine)


def plain(value: Any) -> Any:
    if isinstance(value, bytes):
        return text(value)
    return value.tolist() if isinstance(value, np.ndarray) else value.item()


@pytest.mark.slow
@pytest.mark.parametrize("name", ["at_anchor", "board_sprints"])
def test_simulated_logs(name: str, tmp_path: Path) -> None:
    path = tmp_path / "ride.bin"
    # A prime number of bytes more, so that the tail is cut in mid-record.
    path.write_bytes(onboard_log_bytes(record(SCENARIOS[name]), RATES_HZ)[:-17])
    ours = assert_equal(path)
    assert ours["BAT"].base_s is not None
    assert ours["BAT"].instance == "Inst"


def test_every_format_letter(tmp_path: Path) -> None:
    path = tmp_path / "letters.bin"
    path.write_bytes(made_letters_log(seed=4, count=60))
    ours = assert_equal(path)
    assert set("".join(ours["FMT"]["Format"].astype(str))) >= set("abBcCdeEfghHiILMnNqQZ")


def test_float_operations_equal_the_reference(tmp_path: Path) -> None:
    # A product with 1e-7 or 0.01 would differ from the reference's quotient in the last bit.
    kind = Kind(1, "AA", "QLcCeE", "TimeUS,A,B,C,D,E")
    path = tmp_path / "scaled.bin"
    rng = np.random.default_rng(1)
    rows = np.zeros(300, kind.stored)
    rows["mark 1"], rows["mark 2"], rows["type"] = 0xA3, 0x95, kind.number
    for name in "ABCDE":
        rows[name] = rng.integers(0, 30000, 300)
    path.write_bytes(format_record(FMT) + format_record(kind) + rows.tobytes())
    assert_equal(path)


@pytest.mark.parametrize(
    ("week", "first_with_week"), [([0, 0, 0, 2345, 2346], 3), ([2345, 0, 1, 2, 3], 0)]
)
def test_time_base_is_that_of_the_first_week(
    tmp_path: Path, week: list[int], first_with_week: int
) -> None:
    path = tmp_path / "weeks.bin"
    gps = b"".join(
        GPS.record(TimeUS=1_000_003 * n + 17, Status=n, GWk=number, GMS=200 * n + 123_456_789)
        for n, number in enumerate(week)
    )
    path.write_bytes(descriptions(KINDS, 5) + gps)
    ours = assert_equal(path)["GPS"]
    assert ours.utc_s is not None
    known = 315_964_800 + 604_800 * week[first_with_week] - 18
    assert ours.utc_s[first_with_week] == pytest.approx(
        known + 123_456.789 + 0.2 * first_with_week, abs=1e-6
    )


def test_without_a_week_utc_is_unknown(tmp_path: Path) -> None:
    path = tmp_path / "none.bin"
    path.write_bytes(descriptions(KINDS, 5) + GPS.record(TimeUS=9, GWk=0, GMS=5) * 3)
    ours = assert_equal(path)["GPS"]
    assert ours.base_s is None
    assert ours.utc_s is None


def test_a_second_receiver_gives_the_time_if_it_is_the_only_one(tmp_path: Path) -> None:
    second = Kind(90, "GPS2", GPS.letters, GPS.columns)
    rows = [second.record(TimeUS=at, GWk=week, GMS=77) for at, week in ((0, 9), (8, 0), (9, 2000))]
    path = tmp_path / "second.bin"
    path.write_bytes(format_record(FMT) + format_record(second) + b"".join(rows))
    assert assert_equal(path)["GPS2"].base_s is not None
