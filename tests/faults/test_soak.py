"""The soak itself: it finds missing, duplicated and invented frames, and a short run passes."""

from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.faults import soak
from tests.faults.soak_craft import Autopilot, Craft
from tests.faults.soak_junk import OTHER, others
from tests.faults.soak_record import Ledger
from tests.faults.soak_stream import Sent


def sent_frames(ticks: int) -> Sent:
    craft, autopilot, sent = Craft(1), Autopilot(), Sent()
    for number in range(ticks):
        craft.step()
        for frame in autopilot.frames(craft, number, 10 + number * 0.2, 1.75e9 + number * 0.2):
            sent.data.append(frame)
            sent.at_s.append(number * 0.2)
            sent.run.append(1)
            sent.tick.append(number)
    return sent


def record(frames: Sequence[bytes]) -> bytes:
    return b"".join(
        (1_750_000_000_000_000 + n * 4000).to_bytes(8, "big") + frame
        for n, frame in enumerate(frames)
    )


def test_every_frame_is_unique() -> None:
    sent = sent_frames(3000)
    assert len(set(sent.data)) == len(sent.data)


def test_a_complete_record_has_every_frame(tmp_path: Path) -> None:
    sent = sent_frames(100)
    path = tmp_path / "telemetry.tlog"
    path.write_bytes(record(sent.data) + record(sent.data[:1])[:20])
    ledger = Ledger(sent, [])
    found = ledger.read(path)
    assert ledger.recorded == set(range(len(sent.data)))
    assert (found.frames, found.torn_bytes) == (len(sent.data), 20)
    assert not (found.unknown or found.disorder or found.bad_bytes or found.stamps_back)


def test_frames_left_out_of_a_record_are_missing(tmp_path: Path) -> None:
    sent, path = sent_frames(100), tmp_path / "telemetry.tlog"
    path.write_bytes(record(sent.data[:50] + sent.data[53:]))
    ledger = Ledger(sent, [])
    assert ledger.read(path).disorder == 0
    assert set(range(len(sent.data))) - ledger.recorded == {50, 51, 52}


def test_duplicate_and_disordered_frames_are_found(tmp_path: Path) -> None:
    sent, path = sent_frames(100), tmp_path / "telemetry.tlog"
    path.write_bytes(record(sent.data[:50] + sent.data[48:]))
    assert Ledger(sent, []).read(path).disorder == 2
    path.write_bytes(record([*sent.data[:9], sent.data[10], sent.data[9], *sent.data[11:]]))
    assert Ledger(sent, []).read(path).disorder == 1


def test_a_corrupted_frame_counts_as_never_sent(tmp_path: Path) -> None:
    sent, path = sent_frames(100), tmp_path / "telemetry.tlog"
    spoilt = sent.data[9][:-1] + bytes([sent.data[9][-1] ^ 1])
    path.write_bytes(record([*sent.data[:9], spoilt, *sent.data[10:]]))
    ledger = Ledger(sent, [])
    assert ledger.read(path).unknown == [spoilt]
    assert 9 not in ledger.recorded


def test_bytes_between_records_are_found_and_skipped(tmp_path: Path) -> None:
    sent, path = sent_frames(100), tmp_path / "telemetry.tlog"
    path.write_bytes(record(sent.data[:50]) + bytes(500) + record(sent.data[50:]))
    ledger = Ledger(sent, [])
    assert ledger.read(path).bad_bytes >= 500
    # The record before a hole is lost with it, as nothing sound follows.
    assert len(sent.data) - len(ledger.recorded) <= 1


def test_frames_of_a_flood_are_distinguished_from_invented_ones(tmp_path: Path) -> None:
    sent = sent_frames(10)
    theirs = list(others(5000, 3))
    path = tmp_path / "telemetry.tlog"
    path.write_bytes(record([*sent.data, *theirs]))
    found = Ledger(sent, [("other", 5000, 3, 1.0)]).read(path)
    assert (found.others, found.unknown) == (len(theirs), [])
    assert theirs[0][5] == OTHER


def test_an_unknown_fault_is_refused() -> None:
    with pytest.raises(ValueError, match="floods: no such fault"):
        soak.chosen(["floods"], [])


@pytest.mark.slow
def test_a_short_soak_passes(capfd: pytest.CaptureFixture[str]) -> None:
    faults = "--only", "term,link_unplug,viewer,mark_run"
    code = soak.main(["--seed", "11", "--minutes", "0.12", *faults])
    output = capfd.readouterr().out
    assert output.endswith("PASS\n"), output
    assert code == 0
