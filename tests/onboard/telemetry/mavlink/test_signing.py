"""Signatures: a published frame, those of pymavlink, and frames that must be refused."""

import dataclasses
import time

import numpy as np
import pymavlink.dialects.v20.all as dialect
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.errors import ProfileError
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.mavlink import packing, signing
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.signing import SignatureGate, Signer

# Published frame and key: the signing test of the Rust MAVLink library (public repository).
PUBLISHED_KEY = bytes.fromhex("0001f2e3d4c5b6a79800707634320016224200ccff7a0052757374004d4156b3")
PUBLISHED = bytes.fromhex("fd090100ef0102000000050000000203590303c98b00ffffffffffff2718b168ccf5")

KEY = bytes(range(32))
NOW_US = 1_764_063_600_123_456
NOW_TICKS = 34_399_320_012_345
MINUTE_TICKS = 6_000_000


def frames(*parts: bytes) -> Frames:
    return LinkScanner().push([(0, b"".join(parts))])


def signed(stamp_ticks: int, link_id: int = 0, component: int = 1, key: bytes = KEY) -> bytes:
    """Return a frame signed by pymavlink."""
    link = dialect.MAVLink(None, srcSystem=1, srcComponent=component)
    link.signing.secret_key = key
    link.signing.timestamp = stamp_ticks
    link.signing.link_id = link_id
    link.signing.sign_outgoing = True
    return dialect.MAVLink_heartbeat_message(11, 0, 128, 0, 4, 3).pack(link)


def plain(version_1: bool = False) -> bytes:
    link = dialect.MAVLink(None, srcSystem=1, srcComponent=1)
    return dialect.MAVLink_heartbeat_message(11, 0, 128, 0, 4, 3).pack(
        link, force_mavlink1=version_1
    )


def counts(gate: SignatureGate) -> tuple[int, int, int]:
    return dataclasses.astuple(gate.refused)


def test_the_published_frame() -> None:
    assert signing.signature(PUBLISHED_KEY, PUBLISHED[:-13], 0, 2**48 - 1) == PUBLISHED[-13:]
    gate = SignatureGate(PUBLISHED_KEY)
    assert len(gate.push(frames(PUBLISHED))) == 1
    assert gate.newest_ticks == 2**48 - 1
    assert len(SignatureGate(KEY).push(frames(PUBLISHED))) == 0


def test_every_flipped_bit_is_refused() -> None:
    whole = frames(PUBLISHED)
    gate = SignatureGate(PUBLISHED_KEY)
    for bit in range(8 * len(PUBLISHED)):
        broken = bytearray(whole.data.tobytes())
        broken[bit // 8] ^= 1 << bit % 8
        changed = dataclasses.replace(whole, data=np.frombuffer(bytes(broken), np.uint8))
        assert len(gate.push(changed)) == 0
    assert counts(gate) == (0, 8 * len(PUBLISHED), 0)
    # Forged frames do not lock the sender out.
    assert len(gate.push(whole)) == 1


def test_without_a_key_everything_passes() -> None:
    given_frames = frames(plain(), PUBLISHED, plain(version_1=True))
    gate = SignatureGate(None)
    assert gate.push(given_frames) is given_frames
    assert gate.refused.total == 0


def test_unsigned_frames_of_both_versions_are_refused_and_bad_bytes_kept() -> None:
    gate = SignatureGate(KEY)
    passed = gate.push(frames(plain(), b"junk", plain(version_1=True), signed(NOW_TICKS)))
    assert passed.records()[8:] == signed(NOW_TICKS)
    assert passed.bad_bytes == 4
    assert counts(gate) == (2, 0, 0)


def test_times_must_increase_for_each_sender_separately() -> None:
    # MAVLink signing guide: refused where not later than the last of the same system, component
    # and link; the guide says older, pymavlink refuses an equal one too, and so does this.
    gate = SignatureGate(KEY)

    def passes(*given_to_sign: int) -> bool:
        return len(gate.push(frames(signed(*given_to_sign)))) == 1

    assert passes(NOW_TICKS)
    assert not passes(NOW_TICKS)
    assert not passes(NOW_TICKS - 1)
    assert passes(NOW_TICKS + 1)
    assert passes(NOW_TICKS - 9, 1)
    assert passes(NOW_TICKS - 9, 0, 2)
    assert not passes(NOW_TICKS - 9, 0, 2)
    assert counts(gate) == (0, 0, 3)
    assert gate.newest_ticks == NOW_TICKS + 1


@pytest.mark.parametrize(
    ("behind_ticks", "sure", "passes"),
    [
        (MINUTE_TICKS, True, True),
        (MINUTE_TICKS + 1, True, False),
        (MINUTE_TICKS + 1, False, True),
        (NOW_TICKS, False, True),
        (-(10**9), True, True),
    ],
)
def test_an_old_first_frame_is_refused_if_the_clock_is_certain(
    behind_ticks: int, sure: bool, passes: bool
) -> None:
    # Same rule and limit in pymavlink's check_signature.
    gate = SignatureGate(KEY)
    passed = gate.push(frames(signed(NOW_TICKS - behind_ticks)), NOW_US if sure else None)
    assert len(passed) == passes
    assert counts(gate) == (0, 0, not passes)


def test_a_known_sender_may_lag_by_any_time() -> None:
    gate = SignatureGate(KEY)
    assert len(gate.push(frames(signed(NOW_TICKS)), NOW_US)) == 1
    assert len(gate.push(frames(signed(NOW_TICKS + 1)), NOW_US + 3600 * 10**6)) == 1


@given(
    st.lists(
        st.tuples(
            st.sampled_from([KEY, PUBLISHED_KEY]),
            st.integers(0, 5),
            st.integers(0, 2),
            st.integers(1, 2),
        ),
        max_size=40,
    ),
    st.data(),
)
def test_verdicts_equal_pymavlink_for_any_cut(sent, data) -> None:
    reader = dialect.MAVLink(None)
    gate, scanner = SignatureGate(KEY), LinkScanner()
    reader.signing.secret_key = KEY
    expected, got, pieces = 0, 0, b""
    for key, tick, link_id, component in sent:
        frame = signed(NOW_TICKS + tick, link_id, component, key)
        # pymavlink notes the time of a forged frame too, which lets a forger lock the sender out:
        # it is only shown the true ones.
        if key == KEY and reader.check_signature(bytearray(frame), 1, component):
            expected += 1
        pieces += frame
    cut = data.draw(st.integers(0, len(pieces)))
    for piece in (pieces[:cut], pieces[cut:]):
        got += len(gate.push(scanner.push([(0, piece)])))
    assert got == expected
    assert gate.refused.total == len(sent) - expected


def test_the_time_of_the_worked_example() -> None:
    # 2025-11-25 09:40:00.123456 GMT, computed from the guide's epoch, 2015-01-01.
    assert signing.ticks(NOW_US) == NOW_TICKS
    made = signing.signature(KEY, b"", 0, NOW_TICKS)
    assert made[1:7] == bytes.fromhex("39f63f37491f")


def test_signatures_always_have_later_times() -> None:
    now = [NOW_US]
    signer = Signer(KEY, lambda: now[0])

    def stamp() -> int:
        return int.from_bytes(signer.signature(b"x")[1:7], "little")

    assert [stamp(), stamp()] == [NOW_TICKS, NOW_TICKS + 1]
    now[0] -= 3600 * 10**6
    assert stamp() == NOW_TICKS + 2
    now[0] = 0
    assert stamp() == NOW_TICKS + 3


def test_a_clock_that_lags_follows_received_times() -> None:
    gate = SignatureGate(KEY)
    signer = Signer(KEY, lambda: 0, gate)
    assert signer.signature(b"x")[1:7] == bytes(6)
    gate.push(frames(signed(NOW_TICKS)))
    frame = packing.pack(*packing.heartbeat(), 0, 1, 191, signer=signer)
    # An autopilot that follows the guide accepts it: it is as late as its own frames.
    reader = dialect.MAVLink(None)
    reader.signing.secret_key = KEY
    reader.signing.timestamp = NOW_TICKS
    assert reader.decode(bytearray(frame)).get_signed()


def test_the_last_tick_is_not_exceeded() -> None:
    gate = SignatureGate(PUBLISHED_KEY)
    gate.push(frames(PUBLISHED))
    signer = Signer(PUBLISHED_KEY, lambda: NOW_US, gate)
    assert [signer.signature(b"x")[1:7] for _ in range(2)] == [b"\xff" * 6] * 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "found 0"),
        ("ab" * 31, "found 62"),
        ("0x" + "ab" * 31, "1 of its characters"),
        ("zz" + "ab" * 31, "2 of its characters"),
        (" " * 64, "64 of its characters"),
    ],
)
def test_an_invalid_key_is_reported_without_showing_it(text: str, said: str) -> None:
    with pytest.raises(ProfileError, match=said) as raised:
        signing.key_from_text(text)
    assert "ab" * 8 not in str(raised.value)
    assert signing.key_from_text("AB" * 32) == b"\xab" * 32


@pytest.mark.parametrize("key", [b"", bytes(31), bytes(33)])
def test_a_key_of_another_length_is_refused(key: bytes) -> None:
    with pytest.raises(ValueError, match="expected 32"):
        SignatureGate(key)
    with pytest.raises(ValueError, match="expected 32"):
        Signer(key, lambda: 0)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("[craft]\nname = 'x'\n", "[craft]\nname = 'x'\n"),
        ('[link]\nsigning_key = "KEY"\nbaud = 9600\n', "[link]\nbaud = 9600\n"),
        ("[link]\n'signing_key'='KEY'", "[link]\n"),
        ("link = {baud = 9600, signing_key = 'KEY'}", "link = {baud = 9600}"),
        ("link = {signing_key = 'KEY', baud = 9600}", "link = {baud = 9600}"),
        ("link = {signing_key = 'KEY'}\n", "link = {}\n"),
        ("link.signing_key = 'KEY' # mine\n\n[craft]\n", "\n[craft]\n"),
        ("[link]\nbaud = 9600\n# signing_key = 'KEY'\n", "[link]\nbaud = 9600\n# \n"),
        # A profile whose key cannot be removed for certain, or occurs elsewhere too, is not copied.
        ("[link]\nsigning_key = 'KEY'\n# was: KEY\n", None),
        ('[link]\nsigning_key = """KEY"""', None),
        ('[link]\n"signing\\u005fkey" = "KEY"', None),
        ("[craft]\nname = '''\nsigning_key = \"KEY\"\n'''", None),
        ("[link", None),
    ],
)
def test_a_profile_is_kept_without_its_key(text: str, kept: str | None) -> None:
    assert signing.without_key(text.replace("KEY", KEY.hex())) == kept


@pytest.mark.slow
def test_speed_of_the_gate() -> None:
    signer = Signer(KEY, lambda: NOW_US)
    stream = b"".join(
        packing.pack(*packing.heartbeat(), n % 256, 1, 1, signer=signer) for n in range(10_000)
    )
    some = frames(stream)
    best = min(_seconds(some) for _ in range(3))
    # 100,000 frames in a second.
    assert best < 0.1


def _seconds(some: Frames) -> float:
    gate = SignatureGate(KEY)
    start = time.perf_counter()
    assert len(gate.push(some)) == 10_000
    return time.perf_counter() - start
