"""The decoder: frames of one craft to channels, the same for any cut."""

import numpy as np
import pymavlink.dialects.v20.all as dialect
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.messages.decoder import Decoder
from onboard.telemetry.messages.followed_craft import LOOSE_MOST, WAITING_MOST_FRAMES
from tests.deep_size import deep_size
from tests.small_streams import GROUND_STATION, INVALID, Sender


def decode(frames: list[bytes], cuts=(), system_id=None):
    decoder, scanner = Decoder(system_id), LinkScanner()
    blocks = []
    for first, last in zip([0, *cuts], [*cuts, len(frames)], strict=True):
        pieces = [(1_000_000 * n // 10, frames[n]) for n in range(first, last)]
        blocks.append(decoder.push(scanner.push(pieces)))
    blocks.append(decoder.finish())
    channels: dict[str, dict[str, np.ndarray]] = {}
    for name in sorted({name for block in blocks for name in block.channels}):
        parts = [block.channels[name] for block in blocks if name in block.channels]
        channels[name] = {
            key: np.concatenate([part[key] for part in parts]) for key in parts[0].columns
        } | {"t_s": np.concatenate([part.t_s for part in parts])}
    return channels, decoder


def ride(seconds: int, sender: Sender | None = None) -> list[bytes]:
    sender = sender or Sender()
    return [
        frame for n in range(seconds) for frame in sender.second(100 + n, 50 + n % 10, n, 0.1 * n)
    ]


def test_samples_have_the_time_of_the_stamps_around_them() -> None:
    channels, decoder = decode(ride(4))
    assert channels["power"]["t_s"][:3] == pytest.approx([0.27, 0.77, 1.23], abs=0.05)
    assert channels["power"]["volts_v"][:4] == pytest.approx([50, 50, 51, 51])
    assert decoder.lost == 0
    assert decoder.time.waiting == 0


@given(st.lists(st.integers(0, 70), max_size=12).map(sorted))
def test_channels_do_not_depend_on_the_cut(cuts) -> None:
    frames = ride(10)
    whole, _ = decode(frames)
    pieces, _ = decode(frames, cuts)
    assert whole.keys() == pieces.keys()
    for name, columns in whole.items():
        for key in columns:
            np.testing.assert_allclose(pieces[name][key], columns[key], rtol=0, atol=1e-9)


def test_the_autopilot_is_followed_not_a_ground_station_or_another_craft() -> None:
    station = Sender(255, 190)
    other = Sender(7, 1)
    companion = Sender(1, 191)
    mine = ride(5)
    frames = [station.heartbeat(GROUND_STATION, INVALID), companion.heartbeat(18, INVALID)]
    for n, frame in enumerate(mine):
        frames.append(frame)
        if n % 7 == 3:
            frames += [other.heartbeat(), other.sys_status(10.0, 99.0), companion.gps(9.0)]
    channels, decoder = decode(frames)
    assert decoder.craft.system_id == 1
    assert decoder.craft.others == {7}
    assert decoder.messages == len(mine)
    assert channels["power"]["amps_a"].max() == pytest.approx(4.0)
    chosen, decoder = decode(frames, system_id=7)
    assert decoder.craft.system_id == 7
    assert set(chosen["power"]["amps_a"]) == {99.0}


def test_of_two_craft_the_one_that_sends_most_is_followed_even_if_seen_later() -> None:
    other = Sender(7)
    frames = [other.heartbeat(), other.sys_status(10.0, 99.0), *ride(5)]
    for cuts in ((), (1, 2, 9, 20)):
        channels, decoder = decode(frames, cuts)
        assert decoder.craft.system_id == 1
        assert len(channels["power"]["t_s"]) == 10
    # In one burst, with no time of receipt to go by, the number of frames decides.
    burst = Decoder()
    burst.push(LinkScanner().push([(0, b"".join([other.heartbeat(), *ride(40)]))]))
    assert burst.craft.system_id == 1


def test_waiting_for_an_absent_system_fills_no_memory() -> None:
    decoder, scanner, sender = Decoder(9), LinkScanner(), Sender(7)
    second = b"".join(sender.second(1, 50, 8, 2))
    for n in range(4000):
        decoder.push(scanner.push([(n, second)]))
    assert WAITING_MOST_FRAMES == 20_000
    assert 20_000 <= sum(map(len, decoder.craft.waiting)) <= 20_000 + 7 * LOOSE_MOST
    silent = Decoder()
    for _ in range(100):
        silent.push(scanner.push([]))
    assert silent.craft.waiting == []


@pytest.mark.slow
def test_single_frames_are_kept_whole_in_little_memory() -> None:
    sender = Sender()
    frames = [frame for n in range(1500) for frame in sender.second(100 + n, 50, n % 9, 2)[1:]]
    decoder, scanner = Decoder(), LinkScanner()
    for n, frame in enumerate(frames):
        decoder.push(scanner.push([(100_000 * n, frame), (100_000 * n, bytes(3000))]))
    assert deep_size(decoder.craft) < 2 * sum(map(len, frames)) + 100 * len(frames)
    at_last = [sender.heartbeat(), *sender.second(1600, 50, 0, 2)]
    block = decoder.push(
        scanner.push([(100_000 * (len(frames) + n), f) for n, f in enumerate(at_last)])
    )
    block = decoder.finish() if not block.channels else block
    whole, _ = decode([*frames, *at_last])
    amps = block.channels["power"]["amps_a"]
    np.testing.assert_array_equal(amps, whole["power"]["amps_a"][: len(amps)])
    assert len(amps) >= 3000


def test_a_lone_heartbeat_is_followed_once_nothing_else_comes() -> None:
    decoder = Decoder()
    decoder.push(LinkScanner().push([(0, Sender(7).heartbeat())]))
    decoder.silence(2_900_000)
    assert decoder.craft.system_id is None
    decoder.silence(3_000_000)
    assert decoder.craft.system_id == 7


def test_frames_before_the_first_heartbeat_are_kept() -> None:
    sender = Sender()
    frames = [sender.attitude(10.0), sender.sys_status(40.0, 1.0), *sender.second(11, 50, 2, 1)]
    channels, _ = decode(frames)
    assert channels["power"]["volts_v"].tolist() == [40.0, 50.0, 50.0]


def test_lost_messages_are_counted_by_their_numbers() -> None:
    frames = ride(60)
    kept = [frame for n, frame in enumerate(frames) if n not in (5, 6, 7, 300)]
    _, decoder = decode(kept)
    assert decoder.lost == 4
    _, decoder = decode([*frames[:9], frames[8], *frames[9:]])
    assert decoder.lost == 0


def test_rpm_fills_the_drive_and_an_absent_sensor_does_not() -> None:
    mav = dialect.MAVLink(None, 1, 1)
    readings = [dialect.MAVLink_rpm_message(rpm, -1.0).pack(mav) for rpm in (-1.0, 1234.5, 0.0)]
    channels, _ = decode([*ride(2), *readings])
    assert channels["drive"]["rpm"].tolist() == [1234.5, 0.0]
    assert channels["drive"]["motor"].tolist() == [0.0, 0.0]
