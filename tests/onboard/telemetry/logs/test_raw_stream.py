"""Raw streams: frames without stamps, timed by the clocks that their messages state."""

import random
from pathlib import Path

import numpy as np
import pymavlink.dialects.v20.all as dialect
import pytest
from pymavlink import mavutil

from onboard.block import Block
from onboard.errors import LinkError, LogError
from onboard.telemetry.link.opening import open_link
from onboard.telemetry.logs.formats import blocks_of, format_of, open_cursor, open_log
from onboard.telemetry.logs.raw_stream import RawScanner, RawStream, looks_like_raw_stream
from onboard.telemetry.logs.telemetry_log import read_log
from onboard.telemetry.messages.decoder import Decoder
from tests.craft.recording import record
from tests.craft.scenarios import SCENARIOS
from tests.craft.telemetry_log import log_bytes
from tests.small_streams import Sender, records

WRAP_S = 2**32 / 1000


def seconds(begin_s: int, end_s: int, sender: Sender | None = None) -> list[bytes]:
    sender = sender or Sender()
    return [frame for n in range(begin_s, end_s) for frame in sender.second(n, 50, 8, 2)]


def saved(tmp_path: Path, data: bytes, name: str = "ride.tlog") -> Path:
    path = tmp_path / name
    path.write_bytes(data)
    return path


def decoded(path: Path) -> tuple[list[Block], RawStream]:
    log = open_log(path)
    assert isinstance(log, RawStream)
    return list(blocks_of(log, Decoder())), log


def times_s(blocks: list[Block], channel: str = "power") -> np.ndarray:
    return np.concatenate([one.channels[channel].t_s for one in blocks if channel in one.channels])


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"".join(seconds(1, 9)), True),
        (b"".join(seconds(1, 9, Sender(version_1=True))), True),
        (b"".join(seconds(1, 9))[7:], True),
        (random.Random(5).randbytes(3000) + b"".join(seconds(1, 20)), True),
        (seconds(1, 2)[0], True),
        (records(seconds(1, 9)), False),
        (records(seconds(1, 9))[5:], False),
        (random.Random(5).randbytes(3000) + records(seconds(1, 20)), False),
        (b"Went out at nine, came back at ten.\n" * 40, False),
        (b"", False),
    ],
)
def test_it_is_recognised_by_content(data: bytes, expected: bool) -> None:
    assert looks_like_raw_stream(data) == expected


def test_the_messages_equal_the_reference_readers(tmp_path: Path) -> None:
    # pymavlink 2.4.50: a log file read without stamps.
    data = b"".join(frame.data for frame in record(SCENARIOS["at_anchor"]).frames[:6000])
    path = saved(tmp_path, data[:-3])
    reader = mavutil.mavlogfile(str(path), notimestamps=True)
    theirs = []
    while (message := reader.recv_match()) is not None:
        if message.get_type() != "BAD_DATA":
            theirs.append((message.get_msgId(), message.get_seq(), bytes(message.get_msgbuf())))
    ours = []
    for frames in read_log(path, 40_000, scanner=RawScanner()):
        whole = frames.data.tobytes()
        ours += [
            (int(number), int(sequence), whole[at : at + size])
            for number, sequence, at, size in zip(
                frames.message_id, frames.sequence, frames.marker, frames.size, strict=True
            )
        ]
    assert ours == theirs


def test_its_samples_are_those_of_the_telemetry_log(tmp_path: Path) -> None:
    made = record(SCENARIOS["at_anchor"])
    data = b"".join(frame.data for frame in made.frames)
    blocks, log = decoded(saved(tmp_path, data, "raw"))
    stamped = saved(tmp_path, log_bytes(made.frames, made.scenario.start_unix_s), "stamped")
    reference = list(blocks_of(open_log(stamped), Decoder()))
    for channel in ("power", "gps"):
        ours, theirs = times_s(blocks, channel), times_s(reference, channel)
        # Zero is the first stamped message here, and the first message there: samples before the
        # first stamp have its time.
        assert ours[1:] - ours[1] == pytest.approx(theirs[1:] - theirs[1], abs=1e-3)
    assert log.facts().messages == len(made.frames)
    assert log.facts().bad_bytes == 0
    assert log.facts().first_s is None
    assert log.facts().duration_s == pytest.approx(made.truth.duration_s, abs=1.0)


def test_the_result_does_not_depend_on_the_windows(tmp_path: Path) -> None:
    junk = random.Random(1).randbytes(500)
    path = saved(
        tmp_path, b"".join(seconds(1, 40)) + junk + b"".join(seconds(40, 80)) + b"\xfd\x40"
    )

    def stamps(window_bytes: int) -> list[int]:
        parts = read_log(path, window_bytes, scanner=RawScanner())
        return [stamp for frames in parts for stamp in frames.stamp_us.tolist()]

    assert stamps(1000) == stamps(1 << 20)
    blocks, log = decoded(path)
    assert len(times_s(blocks)) == 2 * 79
    assert log.facts().bad_bytes == len(junk) + 2


def test_whole_frames_behind_a_marker_at_the_end_count(tmp_path: Path) -> None:
    # It announces a longer frame than there are bytes.
    path = saved(tmp_path, b"".join(seconds(1, 9)) + b"\xfd\xff\x00" + b"".join(seconds(9, 10)))
    assert decoded(path)[1].facts().messages == 9 * 7


def test_time_goes_on_over_the_wrap_of_the_boot_clock(tmp_path: Path) -> None:
    sender = Sender()
    frames = []
    for n in range(-30, 30):
        frames += [
            sender.heartbeat(),
            sender.attitude((n + 0.5) % WRAP_S),
            sender.sys_status(50, 8),
        ]
    blocks, log = decoded(saved(tmp_path, b"".join(frames)))
    assert log.facts().duration_s == pytest.approx(59.0)
    assert np.diff(times_s(blocks)) == pytest.approx(1.0, abs=0.4)


def test_a_restart_is_joined(tmp_path: Path) -> None:
    sender = Sender()
    blocks, log = decoded(
        saved(tmp_path, b"".join(seconds(100, 130, sender) + seconds(2, 30, sender)))
    )
    assert log.facts().duration_s == pytest.approx(29.5 + 27.5)
    assert (np.diff(times_s(blocks)) >= 0).all()


def test_without_a_boot_clock_the_time_in_microseconds_counts(tmp_path: Path) -> None:
    sender, frames = Sender(), []
    for n in range(100):
        frames += [
            sender.heartbeat(),
            sender.sys_status(50, 8),
            sender.pack(
                dialect.MAVLink_raw_imu_message(5_000_000 + n * 500_000, 0, 0, 0, 0, 0, 0, 0, 0, 0)
            ),
        ]
    blocks, log = decoded(saved(tmp_path, b"".join(frames)))
    assert log.facts().duration_s == pytest.approx(49.5)
    assert times_s(blocks)[-1] == pytest.approx(49.5, abs=1.0)


def test_utc_is_known_only_if_stated(tmp_path: Path) -> None:
    from groundside.reports.review.summary import review
    from onboard.contract.figure import Unknown
    from onboard.contract.reasons import Reason
    from onboard.profile import Profile

    sender = Sender()
    data = b"".join(seconds(1, 60, sender))
    result = review(saved(tmp_path, data, "undated"), Profile())
    assert result.log.format == "raw"
    assert result.log.start_utc == Unknown(Reason.NO_DATE)
    stated = sender.time_of_day(1_750_000_060.0, 60.0)
    result = review(saved(tmp_path, data + stated, "dated"), Profile())
    assert str(result.log.start_utc).startswith("2025-06-15T15:06:4")


def test_another_sender_does_not_set_the_clock(tmp_path: Path) -> None:
    craft, other = Sender(), Sender(system=7)
    frames = []
    for n in range(1, 60):
        frames += [*craft.second(n, 50, 8, 2), *[other.attitude(9000.0 - n) for _ in range(2)]]
    assert decoded(saved(tmp_path, b"".join(frames)))[1].facts().duration_s == pytest.approx(58.5)


def test_a_stream_without_any_clock_is_refused_in_one_line(tmp_path: Path) -> None:
    sender = Sender()
    path = saved(tmp_path, b"".join(sender.heartbeat() for _ in range(50)))
    with pytest.raises(LogError, match=r"raw MAVLink stream of 50 frames without a clock"):
        list(open_log(path).parts())


def test_it_cannot_be_a_link(tmp_path: Path) -> None:
    path = saved(tmp_path, b"".join(seconds(1, 9)))
    with pytest.raises(LinkError, match="replay or review it"):
        open_link(f"file:{path}", 57600)


def test_a_cursor_goes_on_from_a_copy(tmp_path: Path) -> None:
    path = saved(tmp_path, b"".join(seconds(1, 60)))
    assert format_of(path).name == "raw"
    cursor, length_s = open_cursor(path)
    assert length_s == pytest.approx(58.5)
    first = sum(len(frames) for frames in cursor.upto(20.0))
    twin = cursor.copied()
    rest = [sum(map(len, one.upto(100.0))) for one in (cursor, twin)]
    assert rest[0] == rest[1] == 59 * 7 - first
