"""Framing against a slow implementation of the rule, on generated streams, cut anywhere."""

import contextlib
import itertools
import random

import numpy as np
import pymavlink.dialects.v20.all as dialect
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymavlink.generator.mavcrc import x25crc

from onboard.telemetry.link import link_scanner
from onboard.telemetry.link.base import Piece
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.mavlink import checksum, link_walk, sieve
from onboard.telemetry.mavlink.frames import Frames, with_room
from onboard.telemetry.mavlink.log_scanner import LogScanner
from tests.benchmarks import flood
from tests.onboard.telemetry.mavlink.slow_framing import frames as slow_frames
from tests.onboard.telemetry.mavlink.slow_framing import proven

# Published frames: the Rust MAVLink library's shared test module and its signing test (public
# repository), HEARTBEAT of system 1, component 1.
HEARTBEAT_1 = bytes.fromhex("fe09ef0102000500000002035903031f50")
HEARTBEAT_2 = bytes.fromhex("fd090000ef0102000000050000000203590303" + "2e73")
HEARTBEAT_SIGNED = bytes.fromhex(
    "fd090100ef0102000000050000000203590303c98b00ffffffffffff2718b168ccf5"
)


def test_check_value_of_the_crc() -> None:
    # CRC-16/MCRF4XX: check value 0x6F91 in the catalogue of parametrised CRC algorithms.
    assert checksum.crc(b"123456789") == 0x6F91


@pytest.mark.parametrize("frame", [HEARTBEAT_1, HEARTBEAT_2, HEARTBEAT_SIGNED])
def test_published_frames_are_found(frame: bytes) -> None:
    found = LinkScanner().push([(40, frame)])
    assert len(found) == 1
    assert found.bad_bytes == 0
    assert (found.system_id[0], found.component_id[0], found.sequence[0]) == (1, 2, 239)
    assert found.message_id[0] == 0
    assert found.records() == (40).to_bytes(8, "big") + frame


@pytest.mark.parametrize("frame", [HEARTBEAT_1, HEARTBEAT_2, HEARTBEAT_SIGNED])
def test_every_flipped_bit_before_the_signature_is_detected(frame: bytes) -> None:
    end = {HEARTBEAT_SIGNED: 21}.get(frame, len(frame))
    for bit in range(8 * end):
        broken = bytearray(frame)
        broken[bit // 8] ^= 1 << bit % 8
        assert len(LinkScanner().push([(0, bytes(broken))])) == 0


def test_unknown_incompatibility_flag_is_discarded() -> None:
    # MAVLink serialisation guide: a frame with an unknown incompatibility flag must be discarded.
    odd = bytearray(HEARTBEAT_2)
    odd[2] = 2
    crc = x25crc(bytes(odd[1:19]))
    crc.accumulate(bytes([50]))
    odd[19:21] = crc.crc.to_bytes(2, "little")
    found = LinkScanner().push([(0, bytes(odd) + HEARTBEAT_2)])
    assert len(found) == 1
    assert found.bad_bytes == len(odd)


@given(st.lists(st.binary(min_size=1, max_size=120), min_size=50, max_size=90), st.data())
def test_many_checksums_at_once_equal_one_at_a_time(bodies: list[bytes], data) -> None:
    # pymavlink's own CRC makes the stored checksums; some are corrupted.
    spoilt = data.draw(st.lists(st.booleans(), min_size=len(bodies), max_size=len(bodies)))
    stream, marker = b"", []
    for body, bad in zip(bodies, spoilt, strict=True):
        crc = x25crc(body)
        crc.accumulate(bytes([77]))
        marker.append(len(stream))
        stream += b"\xfd" + body + (crc.crc ^ bad).to_bytes(2, "little")
    passed = checksum.frames_pass(
        with_room(stream),
        np.array(marker),
        np.array([len(body) for body in bodies]),
        np.full(len(bodies), 77),
    )
    assert passed.tolist() == [not bad for bad in spoilt]


def unknown_frame(rng: random.Random, inside: bytes = b"") -> bytes:
    body = rng.randbytes(rng.randrange(1, 40)) + inside
    header = bytes([len(body), 0, 0, rng.randrange(256), 1, 1]) + (54321).to_bytes(3, "little")
    return b"\xfd" + header + body + rng.randbytes(2)


def known_frame(rng: random.Random) -> bytes:
    link = dialect.MAVLink(None, srcSystem=rng.randrange(1, 255), srcComponent=1)
    link.seq = rng.randrange(256)
    version_1 = rng.random() < 0.4
    if rng.random() < 0.2:
        link.signing.secret_key = bytes(32)
        link.signing.sign_outgoing = not version_1
    pick = rng.randrange(4)
    if pick == 0:
        message = dialect.MAVLink_heartbeat_message(11, 3, 81, rng.randrange(2**32), 4, 3)
    elif pick == 1:
        message = dialect.MAVLink_attitude_message(rng.randrange(2**32), 0.1, -0.2, 3, 0, 0, 0)
    elif pick == 2:
        # Payload bytes that look like markers.
        message = dialect.MAVLink_system_time_message(0xFEFD00FEFD000000, 0xFDFDFEFE)
    else:
        message = dialect.MAVLink_battery_status_message(
            0, 0, 1, 2000, [4000] * 10, rng.randrange(3000), 10, 20, 50
        )
    return message.pack(link, force_mavlink1=version_1)


@st.composite
def streams(draw, prefix: int) -> bytes:
    rng = random.Random(draw(st.integers(0, 2**32)))
    stream = b""
    for kind in draw(st.lists(st.sampled_from("kkkkkkuegbc"), max_size=40)):
        if kind == "g":
            junk = [0, 0, 1, 9, 0xFD, 0xFE, 200]
            stream += bytes(rng.choice(junk) for _ in range(rng.randrange(1, 60)))
            continue
        if kind == "e":
            # A forged header that reaches over good frames, into the middle of the last or behind.
            inside = bytes(prefix) + known_frame(rng) + bytes(rng.randrange(3) * prefix)
            frame = unknown_frame(rng, inside + rng.randbytes(rng.randrange(9)))
            frame = frame[: rng.choice((len(frame), len(frame) - rng.randrange(1, 30)))]
        else:
            frame = unknown_frame(rng) if kind == "u" else known_frame(rng)
        record = (rng.randrange(2**50)).to_bytes(8, "big")[8 - prefix :] if prefix else b""
        record += frame
        if kind == "b":
            broken = bytearray(record)
            broken[rng.randrange(len(broken))] ^= 1 << rng.randrange(8)
            record = bytes(broken)
        if kind == "c":
            record = record[: rng.randrange(1, len(record))]
        stream += record
    return stream


def spans(found: Frames, prefix: int) -> list[bytes]:
    places = zip(found.marker.tolist(), found.size.tolist(), strict=True)
    return [found.data[at - prefix : at + size].tobytes() for at, size in places]


@settings(max_examples=300)
@given(st.data())
def test_log_scan_equals_the_slow_implementation_for_any_cut(data) -> None:
    stream = data.draw(streams(8))
    expected, bad = slow_frames(stream, 8)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=12)))
    scanner, got, got_bad = LogScanner(), [], 0
    for first, last in itertools.pairwise([0, *cuts, len(stream)]):
        found = scanner.push(stream[first:last])
        got += spans(found, 8)
        got_bad += found.bad_bytes
    found = scanner.push(b"", final=True)
    got += spans(found, 8)
    got_bad += found.bad_bytes
    assert got == [stream[a:b] for a, b in expected]
    assert got_bad == bad


# A link never ends, so a good frame after the stream settles undecided bytes.
TAIL = bytes(300) + HEARTBEAT_2


@contextlib.contextmanager
def sieving(tried: int, least: int, most: int):
    """Patch the size from which to sieve, and the bytes sieved at a time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(link_walk, "TRIED_MOST", tried)
        patch.setattr(link_walk, "SIEVED_LEAST_BYTES", least)
        patch.setattr(link_walk, "SIEVED_MOST_BYTES", most)
        patch.setattr(link_scanner, "JUNK_MOST_BYTES", most)
        yield


SIEVES = [(16, 256, 1 << 16), (0, 1, 100), (2, 1, 1 << 16)]


@pytest.mark.parametrize("sieve", SIEVES)
@settings(max_examples=200)
@given(st.data())
def test_link_scan_equals_the_slow_implementation_for_any_cut(
    sieve: tuple[int, int, int], data
) -> None:
    stream = data.draw(streams(0)) + TAIL
    expected, bad = slow_frames(stream, 0)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=12)))
    scanner, got, got_bad = LinkScanner(), [], 0
    with sieving(*sieve):
        for number, (first, last) in enumerate(itertools.pairwise([0, *cuts, len(stream)])):
            found = scanner.push([Piece(4 * number, stream[first:last])])
            got += spans(found, 0)
            got_bad += found.bad_bytes
    assert got == [stream[a:b] for a, b in expected]
    assert got_bad == bad


@settings(max_examples=30)
@given(st.integers(0, 2**32))
def test_the_sieve_finds_all_frames_that_pass_and_no_others(seed: int) -> None:
    rng = random.Random(seed)
    junk = rng.choice([b"\xfe", b"\xfd\x00\x00", b"\xfd\xfe\x00\x1e"])
    stream = b""
    while len(stream) < 900:
        stream += bytes(rng.choices(junk, k=rng.randrange(200)))
        stream += rng.choice([known_frame(rng), HEARTBEAT_1, HEARTBEAT_SIGNED, unknown_frame(rng)])
    begin, end = rng.randrange(300), len(stream)
    stream += bytes(sieve.LONGEST)
    found = sieve.passing(stream, stream.translate(checksum.MIRRORED), begin, end)
    assert found == [place for place in range(begin, end) if proven(stream, place, 0)]
    assert found


@pytest.mark.parametrize("sieve", SIEVES[:2])
@settings(max_examples=100)
@given(streams(0), streams(0), st.integers(0, 2**32))
def test_bytes_of_other_senders_do_not_break_the_crafts_frames(
    sieve, ours, theirs, seed: int
) -> None:
    craft, others = ("192.0.2.1", 1), [("192.0.2.1", 2), ("192.0.2.2", 1)]
    rng, ours, theirs = random.Random(seed), ours + TAIL, theirs + TAIL
    left = {True: ours, False: theirs}
    scanner, got, stamps = LinkScanner(), {True: [], False: []}, []
    number = 0
    with sieving(*sieve):
        while any(left.values()):
            pieces = []
            for _ in range(rng.randrange(1, 6)):
                mine = rng.random() < 0.5 if all(left.values()) else bool(left[True])
                size = rng.randrange(200)
                source = craft if mine else rng.choice(others)
                pieces.append(Piece(4 * number, left[mine][:size], source))
                left[mine] = left[mine][size:]
                number += 1
            found = scanner.push(pieces, craft)
            stamps += found.stamp_us.tolist()
            for n, span in enumerate(spans(found, 0)):
                source = scanner.source(found.where(slice(n, n + 1)))
                # Each piece has its own stamp.
                assert source == pieces[(int(found.stamp_us[n]) - pieces[0].stamp_us) // 4].source
                got[source == craft].append(span)
    assert got[True] == [ours[a:b] for a, b in slow_frames(ours, 0)[0]]
    assert got[False] == [theirs[a:b] for a, b in slow_frames(theirs, 0)[0]]
    assert stamps == sorted(stamps)


def test_a_craft_chosen_or_moved_in_mid_frame_keeps_the_frame() -> None:
    first, second = ("192.0.2.1", 1), ("192.0.2.1", 2)
    scanner, halves = LinkScanner(), (HEARTBEAT_2[:9], HEARTBEAT_2[9:])
    for own, source in ((None, first), (first, second)):
        assert len(scanner.push([Piece(4, halves[0], source)], own)) == 0
        found = scanner.push([Piece(4, halves[1], source)], source)
        assert spans(found, 0) == [HEARTBEAT_2]


def test_a_frame_split_over_two_sources_belongs_to_the_last() -> None:
    one, other = ("192.0.2.1", 1), ("192.0.2.2", 1)
    scanner = LinkScanner()
    pieces = [Piece(4, HEARTBEAT_1 + HEARTBEAT_2[:5], one), Piece(4, HEARTBEAT_2[5:], other)]
    found = scanner.push(pieces)
    assert [scanner.source(found.where(slice(n, n + 1))) for n in range(2)] == [one, other]


@pytest.mark.slow
@pytest.mark.parametrize("name", list(flood.floods(1)))
def test_a_megabyte_of_junk_costs_no_more_than_a_few_of_frames(name: str) -> None:
    # It used to be 30 times as much and more, growing with the square of the bytes at once.
    size = 1_000_000
    frames = flood.us_per_byte(flood.plain(size), size)
    allowed = 20 if name.startswith("no junk") else 5
    assert flood.us_per_byte(flood.floods(size)[name], size) < allowed * frames


def test_frames_from_a_flood_do_not_keep_its_bytes() -> None:
    junk = b"\xfe" * 500_000
    found = LinkScanner().push([Piece(4, junk + HEARTBEAT_2 + junk)])
    assert found.records() == (4).to_bytes(8, "big") + HEARTBEAT_2
    assert found.bad_bytes > 900_000
    assert found.data.size < 1000


def test_a_frame_in_single_bytes_is_stamped_when_its_last_byte_came() -> None:
    scanner = LinkScanner()
    found = [scanner.push([(n, bytes([byte]))]) for n, byte in enumerate(HEARTBEAT_2)]
    assert [len(frames) for frames in found] == [0] * 20 + [1]
    assert found[-1].stamp_us.tolist() == [20]
    several = LinkScanner().push(
        [(4, HEARTBEAT_1 + HEARTBEAT_2[:5]), (8, HEARTBEAT_2[5:]), (12, HEARTBEAT_1)]
    )
    assert several.stamp_us.tolist() == [4, 8, 12]


@pytest.mark.parametrize("prefix", [0, 8])
def test_a_forged_frame_ending_inside_a_good_one_waits_for_it(prefix: int) -> None:
    # Payload bytes of the good frame look like the beginning of another, right where the forged
    # one ends.
    message = dialect.MAVLink_system_time_message(0xFEFD00FEFD000000, 0xFDFDFEFE)
    good = message.pack(dialect.MAVLink(None, srcSystem=1, srcComponent=1))
    at = 10 if prefix else good.index(b"\xfe", 10)
    stamp = bytes(prefix)
    header = b"\xfd" + bytes([prefix + at - 2, 0, 0, 7, 1, 1]) + b"\x31\xd4\x00"
    stream = stamp + HEARTBEAT_2 + stamp + header + stamp + good + stamp + HEARTBEAT_2
    tail = bytes(300) + stamp + HEARTBEAT_2
    expected, bad = slow_frames(stream + tail, prefix)
    assert len(expected) == 4
    for cut in range(len(stream)):
        parts = [stream[:cut], stream[cut:] + tail]
        if prefix:
            log = LogScanner()
            found = [log.push(parts[0]), log.push(parts[1]), log.push(b"", final=True)]
        else:
            link = LinkScanner()
            found = [link.push([(n, part)]) for n, part in enumerate(parts)]
        got = [span for one in found for span in spans(one, prefix)]
        assert got == [(stream + tail)[a:b] for a, b in expected], cut
        assert sum(one.bad_bytes for one in found) == bad
