"""Raw columns against pymavlink on clean logs, and against the truth on damaged ones."""

import random
from pathlib import Path

import numpy as np
import pymavlink.dialects.v20.all as dialect
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymavlink import mavutil

from onboard.errors import LogError, UsageError
from onboard.telemetry.logs.raw_columns import Messages, read_messages
from tests.onboard.telemetry.made_messages import frame
from tests.onboard.telemetry.mavlink.slow_framing import frame_at
from tests.onboard.telemetry.mavlink.slow_framing import frames as slow_frames
from tests.onboard.telemetry.mavlink.test_framing import streams

REPLAY_LOGS = Path(__file__).parents[4] / "replay_logs"
NAMES = {0: "HEARTBEAT", 2: "SYSTEM_TIME", 30: "ATTITUDE"}
START_US = 1_750_000_000_123_456


def same(ours, theirs) -> bool:
    """Return whether a value equals pymavlink's bit for bit, except for a NaN's bits."""
    if isinstance(theirs, str):
        return ours.split(b"\0")[0].decode("ascii") == theirs
    if isinstance(theirs, list | tuple):
        return all(same(a, b) for a, b in zip(ours.tolist(), theirs, strict=True))
    return bool(ours == theirs) or bool(np.isnan(ours) and np.isnan(theirs))


def assert_equal_to_pymavlink(path: Path, log: dict[str, Messages]) -> int:
    """Compare each field, stamp, system and component; return the number of messages."""
    link = mavutil.mavlink_connection(str(path), dialect="all")
    count = dict.fromkeys(log, 0)
    while (message := link.recv_match()) is not None:
        name = message.get_type()
        if name.startswith("UNKNOWN"):
            continue
        mine, n = log[name], count[name]
        assert mine.stamp_s[n] == message._timestamp, (name, n)
        assert mine.system_id[n] == message.get_srcSystem()
        assert mine.component_id[n] == message.get_srcComponent()
        for field in message.get_fieldnames():
            assert same(mine.rows[field][n], getattr(message, field)), (name, n, field)
        count[name] += 1
    link.close()
    assert count == {name: len(mine) for name, mine in log.items()}
    return sum(count.values())


@pytest.mark.parametrize("name", ["harbour_loop", "board_sprints", "at_anchor"])
def test_sample_logs_equal_pymavlink(name: str) -> None:
    path = REPLAY_LOGS / f"{name}.tlog"
    assert assert_equal_to_pymavlink(path, read_messages(path)) > 1000


def test_every_message_equals_pymavlink(tmp_path: Path) -> None:
    rng = random.Random(4)
    ids = [number for number in dialect.mavlink_map if number >= 0] * 3
    rng.shuffle(ids)
    path = tmp_path / "all.tlog"
    stamp_us, data = START_US, b""
    for number in ids:
        stamp_us += rng.randrange(1, 400_000)
        data += (stamp_us & ~3).to_bytes(8, "big")
        data += frame(rng, number)
    path.write_bytes(data)
    assert assert_equal_to_pymavlink(path, read_messages(path)) == len(ids)


@settings(max_examples=200)
@given(st.data())
def test_messages_depend_neither_on_others_wanted_nor_on_the_window(tmp_path_factory, data) -> None:
    stream = data.draw(streams(8))
    expected, _ = slow_frames(stream, 8)
    names = data.draw(st.sets(st.sampled_from(list(NAMES.values())), min_size=1))
    window = data.draw(st.integers(20, 600))
    path = tmp_path_factory.mktemp("log") / "wanted.tlog"
    path.write_bytes(stream)
    ids = [frame_at(stream, first + 8)[1] for first, _ in expected]
    truth = {NAMES[n]: ids.count(n) for n in NAMES if n in ids and NAMES[n] in names}
    try:
        log = read_messages(path, names, window_bytes=window)
    except LogError:
        assert not truth
        return
    assert {name: len(one) for name, one in log.items()} == truth


def test_a_frame_inside_an_unwanted_broken_one_is_found(tmp_path: Path) -> None:
    # A broken length makes an unwanted frame reach over a wanted one, to the marker behind it.
    rng = random.Random(1)
    stamp = START_US.to_bytes(8, "big")
    inner, unwanted = frame(rng, 30), bytearray(frame(rng, 74))
    unwanted[1] += len(stamp) + len(inner)
    path = tmp_path / "one.tlog"
    path.write_bytes(stamp + bytes(unwanted) + stamp + inner + stamp + frame(rng, 0))
    assert len(read_messages(path, ["ATTITUDE"])["ATTITUDE"]) == 1


def test_wanted_messages_that_are_not_there(tmp_path: Path) -> None:
    path = tmp_path / "one.tlog"
    path.write_bytes(START_US.to_bytes(8, "big") + frame(random.Random(2), 30))
    assert read_messages(path, ["HEARTBEAT"]) == {}
    with pytest.raises(UsageError, match="no MAVLink message is called GPS"):
        read_messages(path, ["GPS"])
    path.write_bytes(bytes(100))
    with pytest.raises(LogError, match="no MAVLink frame"):
        read_messages(path, ["HEARTBEAT"])


def test_progress_reaches_the_files_size(tmp_path: Path) -> None:
    path = REPLAY_LOGS / "at_anchor.tlog"
    reported: list[int] = []
    read_messages(path, ["ATTITUDE"], window_bytes=10_000, progress=reported.append)
    assert reported == sorted(reported)
    assert reported[-1] == path.stat().st_size
    assert len(reported) > 5


def test_columns_are_as_long_as_their_messages() -> None:
    log = read_messages(REPLAY_LOGS / "at_anchor.tlog")
    for name, one in log.items():
        assert len(one.stamp_us) == len(one.system_id) == len(one.rows) == len(one), name
        assert np.all(np.diff(one.stamp_us) >= 0)
    assert sum(one.nbytes for one in log.values()) > 0
